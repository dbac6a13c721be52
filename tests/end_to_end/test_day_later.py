"""The day at the bench from 07:30 on, line by line: real daemon, real bytes, the demo shop. All data invented."""
import shutil
import sqlite3
import subprocess
import sys
import time
import unittest
from decimal import Decimal

from bench import ROOT, Refused, Shop, wait_until
from inspector import Inspector
from small_shop import good_value, measure, small_shop
from terminals import push_line

VERIFIER = ROOT / "tests" / "record" / "verifier.py"


class WrongPartAndUnit(unittest.TestCase):
    def test_0730_a_part_of_the_size_alike_to_the_eye_is_held_and_the_right_one_clears_it(self):
        with Inspector("FB-25") as hands:
            hands.set_gauges()
            hands.shop.begin("FB-25", 15, 20, "final", lot_name="L-25")
            hands.tools()
            view = hands.shop.view()
            self.assertEqual((view["walk"]["serial"], view["step"]["feature"]), (15, "length"))
            told = hands.pedal("+32.0030", "held")
            hold = told["hold"]
            self.assertEqual((told["state"], hold["kind"], hold["fits_size"]), ("hold", "size", "FB-25L"))
            self.assertEqual(told["actions"]["not_good"]["does"], "it_is_so")
            self.assertEqual(told["actions"]["again"]["does"], "part_anew")
            rows, _, _ = hands.shop.export_csv()
            self.assertEqual(rows, [])       # nothing was judged
            # The stray is put away; the next press of the right part clears the hold by itself.
            told = hands.pedal("+30.0120")
            self.assertIsNone(told["hold"])
            self.assertEqual(told["last"]["verdict"], "accept")
            rows, _, _ = hands.shop.export_csv()
            self.assertEqual([(row["serial"], row["feature"], Decimal(row["value"]), row["verdict"]) for row in rows],
                             [("15", "length", Decimal("30.012"), "accept")])

    def test_0810_a_gauge_switched_to_inches_is_held_with_what_it_would_be(self):
        with Inspector("FB-25") as hands:
            hands.set_gauges()
            hands.shop.begin("FB-25", 1, 3, "final")
            hands.tools()
            told = hands.pedal("+1.1811", "held")
            self.assertEqual((told["state"], told["hold"]["kind"]), ("hold", "unit"))
            # 1.1811 in is exactly 29.99994 mm: one inch is 25.4 mm (international yard and pound agreement, 1959).
            self.assertEqual(told["hold"]["would_be"], "29.99994")
            self.assertIsNone(told["actions"]["not_good"])   # no way to wave it through
            told = hands.pedal("+30.0120")                   # set to mm, pedal
            self.assertEqual((told["last"]["verdict"], told["hold"]), ("accept", None))
            self.assertEqual(len(hands.shop.export_csv()[0]), 1)


class PortsAndPlugs(unittest.TestCase):
    def test_0900_a_lost_port_is_named_and_back_in_under_a_second_as_itself(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 3)
            shop.take("height-gauge", push_line("30.012"))
            before = shop.view()
            line = shop.terminals.all["micrometer"]

            def gauge(view, name="micrometer"):
                return next(entry for entry in view["gauges"] if entry["id"] == name)
            line.unplug()
            view = shop.wait_for(lambda view: gauge(view)["port_state"] in ("lost", "absent"))
            self.assertIsNotNone(gauge(view)["since_utc"])
            self.assertEqual(gauge(view, "bore-gauge")["port_state"], "open")
            self.assertEqual((view["state"], view["walk"]["part"], view["step"]["index"]),
                             (before["state"], before["walk"]["part"], before["step"]["index"]))
            shop.take("bore-gauge", push_line("25.011"), None)       # the others go on
            time.sleep(1.5)                                          # long enough that tries are seconds apart
            line.plug()
            plugged = time.monotonic()
            shop.wait_for(lambda view: gauge(view)["port_state"] == "open", 5)
            self.assertLess(time.monotonic() - plugged, 1.0)
            time.sleep(0.05)                                         # a hand is not faster than an idle gap
            told = self.until_counted(shop, "micrometer", {"outside-diameter": "32.034", "flange-diameter": "43.985",
                                                           "flange-thickness": "6.008"})
            self.assertEqual(told["last"]["gauge"], "micrometer")
            shop.take("bore-gauge", push_line("25.011"), None)

    def until_counted(self, shop, gauge, values):
        """A press of a gauge that the present step does not want moves there first."""
        for _ in range(3):
            feature = shop.view()["step"]["feature"]
            told = shop.take(gauge, push_line(values.get(feature, next(iter(values.values())))), None)
            if told["last"]["what"] == "counted":
                return told
        self.fail("it never counted")

    def test_0920_go_and_no_go_by_a_plug_chosen_from_a_list(self):
        with Inspector("FB-25") as hands:
            hands.set_gauges()
            _, walk = hands.shop.begin("FB-25", 1, 2, "final")
            wanted = {entry["tool"]: entry["choices"] for entry in hands.view()["tools_wanted"]}
            self.assertEqual(wanted["thread-plug-m6"], ["plug-m6-1", "plug-m6-2"])
            with self.assertRaises(Refused):
                hands.shop.command("state_tool", touch=False, tool="thread-plug-m6", id="plug-m8-1")
            hands.shop.command("state_tool", touch=False, tool="thread-plug-m6", id="plug-m6-2")
            while hands.shop.wait_for(lambda view: view["state"] == "step")["step"]["feature"] != "grease-thread":
                hands.step()
            step = hands.view()["step"]
            self.assertEqual((step["kind"], step["tool_id"]), ("go", "plug-m6-2"))
            self.assertIn("GO enters fully", step["question"])
            # No answer in the first 0.8 s after it was told.
            try:
                early = hands.shop.act("good")
                self.assertNotIn("counted", early.get("what", ""))
            except Refused as refused:
                self.assertIn(refused.status, (409, 422))
            hands.answer()
            step = hands.shop.wait_for(lambda view: view["step"]["kind"] == "no_go")["step"]
            self.assertIn("NO-GO stops", step["question"])
            hands.answer()
            hands.shop.wait_for(lambda view: view["step"]["feature"] != "grease-thread")
            rows = [row for row in hands.shop.export_csv(walk=walk)[0] if row["feature"] == "grease-thread"]
            self.assertEqual([(row["verdict"], row["gauge"], row["value"]) for row in rows], [("accept", "plug-m6-2", "")])


class PowerAndPulls(unittest.TestCase):
    def test_1230_after_a_power_cut_every_value_told_is_there_and_the_last_is_repeated(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 3)
            for _ in range(7):
                step = shop.view()["step"]
                told = shop.take(step["gauges"][0]["id"], push_line(good_value(step["feature"])))
            before = shop.view()
            said = shop.displays["bench-1"].said()
            shop.restart()
            view = shop.wait_for(lambda view: view["state"] == "resumed")
            kept = {f"{journal}-{seq}" for journal, seq, *_ in shop.entries()}
            self.assertLessEqual(set(said), kept)
            self.assertTrue(view["last"]["repeated"])
            self.assertEqual(view["last"]["key"], told["last"]["key"])
            # A press of the same gauge before the pedal is kept, and does not count.
            gauge = told["last"]["gauge"]
            shop.press(gauge, push_line("3.020"))
            wait_until(lambda: len(shop.entries("reading")) == 8, what="the early press in the journal")
            self.assertEqual(shop.view()["state"], "resumed")
            shop.touches = 0
            shop.act("good")
            view = shop.wait_for(lambda view: view["state"] == "step")
            self.assertEqual(shop.touches, 1)
            for name in ("key", "part", "serial", "lot", "edition"):
                self.assertEqual(view["walk"][name], before["walk"][name])
            self.assertEqual((view["step"]["feature"], view["step"]["index"]), (before["step"]["feature"], before["step"]["index"]))
            whats = [outcome.get("what") for *_, outcome in shop.entries("reading")]
            self.assertEqual(whats, ["counted"] * 7 + ["not_counted"])

    def test_1500_it_pulls_the_same_facts_as_csv_and_json_lines_and_a_page_of_python_recomputes_the_chain(self):
        with Shop(small_shop()) as shop:
            lot, _ = shop.begin("FB-25", 1, 4)
            measure(shop, 12)
            first, cursor, once = shop.export_csv()
            self.assertEqual(len(first), 12)
            measure(shop, 24)
            second, cursor_two, _ = shop.export_csv(after=cursor)
            self.assertEqual(len(second), 24)
            self.assertEqual(shop.export_csv(after=cursor_two)[0], [])
            self.assertEqual(shop.export_csv(until=cursor)[2], once)         # the same bytes again
            facts, cursor_three = shop.export_jsonl()
            self.assertEqual(cursor_three, cursor_two)
            self.assertEqual([(fact["journal"], str(fact["seq"]), str(fact["n"]), fact["value"]) for fact in facts],
                             [(row["journal"], row["seq"], row["n"], row["value"]) for row in first + second])
            # The night job's tool, beside the running daemon; its cursor file; filters by lot, part and time.
            kept = shop.folder / "cursor"
            out, _ = shop.tool("export", "--config", shop.config, "--cursor-file", kept)
            self.assertEqual(out.encode(), shop.export_csv()[2])
            self.assertEqual(kept.read_text().strip(), cursor_two)
            self.assertEqual(len(shop.export_csv(lot=lot, part="2")[0]), 12)
            middle = second[0]["measured_utc"]
            self.assertEqual(len(shop.export_csv(to=middle)[0]), 12)
            self.assertEqual(len(shop.export_csv(**{"from": middle})[0]), 24)
            # A colleague recomputes the hash chain with a page of Python and a copy of the backup.
            copy = shop.folder / "backup.sqlite3"
            shop.tool("backup", "--config", shop.config, copy)
            done = subprocess.run([sys.executable, VERIFIER, copy], capture_output=True, text=True, timeout=60)
            self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
            broken = break_one_byte(copy)
            done = subprocess.run([sys.executable, VERIFIER, broken], capture_output=True, text=True, timeout=60)
            self.assertNotEqual(done.returncode, 0, "the verifier cannot fail")


def break_one_byte(journal):
    """A copy whose tenth event's outcome says something else."""
    broken = journal.with_name("broken.sqlite3")
    shutil.copy(journal, broken)
    connection = sqlite3.connect(broken)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f'DROP TRIGGER "{name}"')
    changed = connection.execute("UPDATE entry SET outcome = replace(outcome, 'accept', 'reject') WHERE seq = "
                                 "(SELECT max(seq) FROM entry WHERE kind = 'reading')").rowcount
    connection.commit()
    connection.close()
    assert changed == 1
    return broken


if __name__ == "__main__":
    unittest.main()
