"""The companion command line against the running daemon: lists, ports raw and decoded, commands, suspects. Invented data."""
import json
import subprocess
import time
import unittest
from decimal import Decimal

from bench import BIN, ROOT, Shop
from inspector import Inspector
from small_shop import measure, small_shop
from terminals import push_line


class CommandLine(unittest.TestCase):
    def daemon(self, shop):
        return ["--daemon", f"http://{shop.address}"]

    def test_an_unknown_name_says_which_one_was_meant(self):
        with Shop(small_shop()) as shop:
            there = self.daemon(shop)
            for arguments in (("view", "bnech-1"), ("act", "bench-11", "good"), ("command", "bench1", "park")):
                self.assertIn('did you mean "bench-1"?', shop.tool(*arguments, *there, status=1)[1])
            self.assertIn('did you mean "micrometer"?', shop.tool("ports", "--watch", "micromter", *there, status=1)[1])
            self.assertNotIn("did you mean", shop.tool("view", "quite-another-place", *there, status=1)[1])

    def test_lists_and_views(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 2)
            there = self.daemon(shop)
            self.assertEqual([bench["bench"] for bench in json.loads(shop.tool("benches", *there, "--json")[0])], ["bench-1"])
            gauges = json.loads(shop.tool("gauges", *there, "--json")[0])
            self.assertEqual(len(gauges), 6)
            self.assertIn("bore-gauge", shop.tool("gauges", *there)[0])
            self.assertEqual([lot["lot_name"] for lot in json.loads(shop.tool("lots", *there, "--json")[0])], ["L-1"])
            self.assertEqual(len(json.loads(shop.tool("walks", *there, "--json")[0])), 1)
            self.assertEqual({e["size"] for e in json.loads(shop.tool("checklists", *there, "--json")[0])}, {"FB-25", "FB-25L"})
            view = json.loads(shop.tool("view", "bench-1", *there, "--json")[0])
            self.assertEqual((view["state"], view["step"]["feature"]), ("step", "length"))
            self.assertIn("unknown_bench", shop.tool("view", "bench-9", *there, "--json", status=1)[0])
            # The same over the daemon's Unix socket.
            over = shop.tool("benches", "--daemon", shop.folder / "data" / "tallystick.sock", "--json")[0]
            self.assertEqual(json.loads(over)[0]["bench"], "bench-1")

    def test_ports_are_listed_and_watched_raw_and_decoded(self):
        with Shop(small_shop()) as shop:
            there = self.daemon(shop)
            ports = json.loads(shop.tool("ports", *there, "--json")[0])
            self.assertEqual({port["port"]: port["state"] for port in ports}["micrometer"], "open")
            shop.press("micrometer", push_line("32.034"))
            shop.press("micrometer", b"rubbish\r")
            out, _ = shop.tool("ports", "--watch", "micrometer", "--seconds", "0.5", *there, "--json")
            frames = [json.loads(line) for line in out.splitlines()]
            self.assertEqual([(frame["value"], frame["unit"], bytes.fromhex(frame["bytes_hex"])) for frame in frames[:1]],
                             [("32.034", "mm", b"+032.034\r")])
            self.assertEqual((frames[1]["refusal"], bytes.fromhex(frames[1]["bytes_hex"])), ("not_mine", b"rubbish\r"))
            text, _ = shop.tool("ports", "--watch", "micrometer", "--seconds", "0.3", *there)
            self.assertIn("32.034 mm", text)
            self.assertIn("refused not_mine", text)
            shop.tool("ports", "--watch", "nothing", *there, status=1)

    def test_a_port_is_watched_without_a_daemon_and_is_the_daemons_while_it_runs(self):
        with Shop(small_shop(), start=False) as shop:
            watching = subprocess.Popen([BIN / "tallystick", "ports", "--watch", "micrometer", "--seconds", "1.5", "--config",
                                         shop.config], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
            time.sleep(0.5)
            shop.press("micrometer", push_line("32.034"))
            out, said = watching.communicate(timeout=20)
            self.assertEqual(watching.returncode, 0, said)
            self.assertIn(b"pushed 32.034 mm ok  2b3033322e3033340d", out)
            self.assertIn(b"port micrometer: open", said)
            self.assertFalse((shop.folder / "data" / "journal.sqlite3").exists())   # nothing is kept
            shop.start()
            _, said = shop.tool("ports", "--watch", "micrometer", "--seconds", "0.4", "--config", shop.config)
            self.assertIn("backing_off", said)

    def test_a_lot_is_opened_walked_and_answered_from_the_command_line(self):
        with Shop(small_shop()) as shop:
            there = self.daemon(shop)
            published, _ = shop.tool("publish", "fb", "--person", "J. Okoro", "--reason", "new size", *there, "--json")
            self.assertEqual(len(json.loads(published)["published"]), 2)
            again, _ = shop.tool("publish", "fb", "--person", "J. Okoro", "--reason", "new size", *there, "--json")
            self.assertEqual((len(json.loads(again)["published"]), len(json.loads(again)["unchanged"])), (0, 2))
            lot = json.loads(shop.tool("lot", "open", "L-7", "--family", "fb", "--size", "FB-25", "--first", 1, "--last", 3,
                                       *there, "--json")[0])["lot"]
            shop.tool("command", "bench-1", "state_person", "person=R. Field", *there)
            key = ["--idempotency-key", "walk-1"]
            walk = json.loads(shop.tool("command", "bench-1", "begin_walk", f"lot={lot}", "stage=final", "first:=2", *key,
                                        *there, "--json")[0])["walk"]
            same = json.loads(shop.tool("command", "bench-1", "begin_walk", f"lot={lot}", "stage=final", "first:=2", *key,
                                        *there, "--json")[0])["walk"]
            self.assertEqual(walk, same)
            shop.wait_for(lambda view: view["walk"] and view["walk"]["serial"] == 2)
            measure(shop, 1)
            shop.tool("act", "bench-1", "not_good", "--reason", "gauge not available", *there)
            shop.wait_for(lambda view: view["last"]["what"] == "passed_over")
            shop.tool("act", "bench-1", "good", *there, status=1)            # nothing to be good here
            shop.tool("command", "bench-1", "dance", *there, status=1)
            shop.tool("command", "bench-1", "act", "rubbish", *there, status=2)

    def test_without_a_daemon_it_says_so(self):
        done = subprocess.run([BIN / "tallystick", "benches", "--daemon", "http://127.0.0.1:9"], capture_output=True, timeout=30)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"start tallystickd", done.stderr)
        done = subprocess.run([BIN / "tallystick", "benches", "--daemon", "nowhere"], capture_output=True, timeout=30)
        self.assertEqual(done.returncode, 2)

    def test_suspects_are_the_results_since_the_last_good_setting_and_no_others(self):
        with Inspector("FB-25", void_on=["power", "person"]) as hands:
            hands.shop.command("state_person", touch=False, person="R. Field")
            hands.set_gauges()
            _, walk = hands.shop.begin("FB-25", 1, 3, "after finish")
            hands.part()
            hands.shop.command("give_up", touch=False, reason="wrong part")
            out, said = hands.shop.tool("suspects", "--config", hands.shop.config)
            self.assertEqual((out, said), ("", "0 results are suspect\n"))
            bores = [row for row in hands.shop.export_csv(walk=walk)[0] if row["gauge"] == "bore-gauge-20-30"]
            # As 11:05: the ring reads 25.006, wiped, again. No walk is active, the gauge is checked all the same.
            fails_on_its_ring(hands)
            listed, _ = hands.shop.tool("suspects", "--config", hands.shop.config, "--json", status=1)
            marks = [json.loads(line) for line in listed.splitlines()]
            self.assertEqual({mark["result"] for mark in marks}, {f"{row['journal']}-{row['seq']}/{row['n']}" for row in bores})
            self.assertEqual({mark["feature"] for mark in marks}, {"bore"})
            self.assertEqual(len(hands.shop.get("/api/v1/suspects")), len(marks))
            now = hands.shop.export_csv(walk=walk, as_of_now="true", kind="result")[0]
            self.assertFalse({row["feature"] for row in now} & {"bore"})

    def test_simulate_hands_on_to_the_simulated_bench(self):
        shown = subprocess.run([BIN / "tallystick", "simulate", "--help"], capture_output=True, timeout=30,
                               env={"TALLYSTICK_TOOLS": str(ROOT / "tools"), "PATH": "/usr/bin:/bin"})
        self.assertEqual(shown.returncode, 0, shown.stderr)
        self.assertIn(b"unplug", shown.stdout)


def fails_on_its_ring(hands):
    """Makes the bore gauge due (a new person voids it), and presses it twice outside its limit."""
    hands.shop.command("state_person", touch=False, person="M. Lind")
    due = [entry["gauge"] for entry in hands.shop.wait_for(lambda view: view["person"] == "M. Lind")["settings_due"]]
    assert "bore-gauge-20-30" in due, due
    for _ in range(2):
        hands.press("bore-gauge-20-30", Decimal("25.006"), "setting")


if __name__ == "__main__":
    unittest.main()
