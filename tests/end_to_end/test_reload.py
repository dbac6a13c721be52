"""The configuration is read anew while gauges are pressed: whole, or not at all. All data invented."""
import json
import re
import signal
import sys
import threading
import time
import unittest

from pathlib import Path

from bench import Refused, Shop, wait_until
from small_shop import good_value, small_shop
from terminals import push_line

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
from browser import Page, needs_browser  # noqa: E402


def ports_of(shop):
    return {port["port"]: port for port in shop.get("/api/v1/ports")}


def dialect(shop, name):
    return (shop.folder / "dialects" / f"{name}.dialect.toml")


class Reload(unittest.TestCase):
    def own_dialects(self):
        """A shop whose dialects lie in its own folder, so that a test may change them."""
        files = small_shop()
        toml = files["tallystick.toml"]
        folder = re.search(r'dialect_folders = \["([^"]+)"\]', toml)[1]
        for path in Path(folder).glob("*.dialect.toml"):
            files[f"dialects/{path.name}"] = path.read_text(encoding="utf-8")
        files["tallystick.toml"] = toml.replace(f'["{folder}"]', '["dialects"]')
        return files

    def test_a_gauge_that_is_pressed_through_reloads_loses_no_byte(self):
        with Shop(self.own_dialects()) as shop:
            ports = sorted(ports_of(shop))
            port = ports[0]
            before = ports_of(shop)[port]
            sent, stop = [0], threading.Event()
            frame = push_line("25.011")

            def press():
                while not stop.is_set():
                    # Byte by byte with pauses: every reload falls into the middle of a frame.
                    for byte in frame:
                        shop.press(port, bytes([byte]))
                        time.sleep(0.002)
                    sent[0] += len(frame)

            hands = threading.Thread(target=press)
            hands.start()
            try:
                for turn in range(8):
                    time.sleep(0.07)  # some frames between two
                    toml = shop.config.read_text(encoding="utf-8")
                    shop.config.write_text(re.sub(r'(?m)^name = "[^"]*"', f'name = "Example shop {turn} (invented data)"', toml, count=1),
                                           encoding="utf-8")
                    if turn % 2:
                        shop.process.send_signal(signal.SIGHUP)
                        wait_until(lambda: shop.get("/api/v1/page")["shop"].startswith(f"Example shop {turn} "), 10, "the new name")
                    else:
                        shop.tool("reload", "--config", shop.config)
                        self.assertTrue(shop.get("/api/v1/page")["shop"].startswith(f"Example shop {turn} "))
            finally:
                stop.set()
                hands.join()
            self.assertGreater(sent[0], 10 * len(frame))
            wait_until(lambda: ports_of(shop)[port]["bytes"] - before["bytes"] == sent[0], 10,
                       f"every one of {sent[0]} bytes (there: {ports_of(shop)[port]['bytes'] - before['bytes']})")
            after = ports_of(shop)[port]
            self.assertEqual((after["losses"], after["attempts"]), (before["losses"], before["attempts"]))
            self.assertAlmostEqual(after["since_utc_us"], before["since_utc_us"], delta=1000)  # never opened anew
            recent = [r for r in shop.get("/api/v1/ports/recent") if r["port"] == port and r["gauge"]][0]
            self.assertEqual(recent["readings"], sent[0] // len(frame))
            self.assertEqual(recent["refusals"], {})

    def test_a_changed_dialect_of_another_port_takes_effect_and_the_first_goes_on(self):
        with Shop(self.own_dialects()) as shop:
            port, other = "height-gauge", "bore-gauge"
            since = ports_of(shop)[port]["since_utc_us"]
            # The other port gets a dialect of its own: the same gauge family, but lines that begin with a letter.
            shop_text = shop.config.read_text(encoding="utf-8")
            card = re.search(rf'\[\[port\]\]\nid = "{other}"\npath = "[^"]+"\ndialect = "([^"]+)"', shop_text)
            own = dialect(shop, card[1]).read_text(encoding="utf-8").replace(f'name = "{card[1]}"', 'name = "own-line"', 1)
            dialect(shop, "own-line").write_text(own, encoding="utf-8")
            shop.config.write_text(shop_text.replace(card[0], card[0].replace(f'dialect = "{card[1]}"', 'dialect = "own-line"')),
                                   encoding="utf-8")
            out, _ = shop.tool("reload", "--config", shop.config)
            self.assertIn(f"port {other}: opened anew", out)
            self.assertNotIn(f"port {port}:", out)
            self.assertEqual(ports_of(shop)[other]["dialect"], "own-line")
            # The text of the dialect itself changes: what came before as a value is refused from now on.
            def opened():
                wait_until(lambda: ports_of(shop)[other]["state"] in ("open", "silent"), 5, "the port with its new dialect")
                time.sleep(0.4)  # what comes in the first moments after opening does not count

            def last_value():
                return ([frame["value"] for r in shop.get("/api/v1/ports/recent") if r["gauge"] == other for frame in r["frames"]] or [None])[-1]

            opened()
            shop.press(other, b"+012.345\r")
            wait_until(lambda: last_value() == "12.345", 5, "a value that ends as the dialect had it")
            ends_otherwise = own.replace('terminator = "\\r"', 'terminator = "\\n"')
            self.assertNotEqual(ends_otherwise, own)
            dialect(shop, "own-line").write_text(ends_otherwise, encoding="utf-8")
            out, _ = shop.tool("reload", "--config", shop.config)
            self.assertIn(f"port {other}: opened anew", out)
            self.assertNotIn(f"port {port}:", out)
            opened()
            shop.press(other, b"+012.346\n")
            wait_until(lambda: last_value() == "12.346", 5, "a value that ends as the dialect has it now")
            self.assertAlmostEqual(ports_of(shop)[port]["since_utc_us"], since, delta=1000)
            shop.begin("FB-25", 1, 5)
            step = shop.view()["step"]
            self.assertEqual(step["gauges"][0]["id"], port)
            shop.take(port, push_line(good_value(step["feature"])))

    def test_a_refused_reload_keeps_the_old_and_says_why_in_the_page_and_in_the_cli(self):
        with Shop(self.own_dialects()) as shop:
            shop.begin("FB-25", 1, 5)
            sound = shop.config.read_text(encoding="utf-8")
            shop.config.write_text(sound.replace('dialect = "push-line"', 'dialect = "push-lime"', 1), encoding="utf-8")
            out, error = shop.tool("reload", "--config", shop.config, status=1)
            self.assertEqual(out, "")
            self.assertIn("not taken", error)
            self.assertIn('did you mean "push-line"', error)
            self.assertRegex(error, r"tallystick\.toml:\d+")
            faults = shop.get("/api/v1/faults")
            self.assertEqual(faults[0]["code"], "reload_refused")
            self.assertIn("unknown_dialect", [fault["code"] for fault in faults])
            answer = json.loads(shop.tool("reload", "--config", shop.config, "--json", status=1)[0])
            self.assertEqual(answer["error"]["code"], "reload_refused")
            # All goes on as before.
            step = shop.view()["step"]
            shop.take(step["gauges"][0]["id"], push_line(good_value(step["feature"])))
            # No TOML at all, and what only a new start can change.
            shop.config.write_text(sound + "\n[[gauge\n", encoding="utf-8")
            self.assertIn("tallystick.toml", shop.tool("reload", "--config", shop.config, status=1)[1])
            shop.config.write_text(re.sub(r"(?m)^data = .*$", 'data = "elsewhere"', sound), encoding="utf-8")
            self.assertIn("restart the daemon", shop.tool("reload", "--daemon", shop.address, status=1)[1])
            self.assertFalse((shop.folder / "elsewhere").exists())
            # Mended: the fault is gone from the page.
            shop.config.write_text(sound, encoding="utf-8")
            self.assertIn("nothing changed", shop.tool("reload", "--config", shop.config)[0])
            self.assertNotIn("reload_refused", [fault["code"] for fault in shop.get("/api/v1/faults")])

    @needs_browser
    def test_the_page_says_that_a_reload_was_refused_and_why(self):
        with Shop(small_shop()) as shop, Page(1024, 768) as page:
            page.open(f"http://{shop.address}/faults?language=en")
            page.wait_for_text("main", "ault")   # none, or that this machine's clock is not synchronised
            self.assertNotIn("was not taken", page.text("main"))
            sound = shop.config.read_text(encoding="utf-8")
            shop.config.write_text(sound + "\n[[gauge\n", encoding="utf-8")
            shop.tool("reload", "--config", shop.config, status=1)
            page.open(f"http://{shop.address}/?language=en")
            page.wait_for_text("#page-faults", "faults")
            page.find("#page-faults a").click()
            page.wait_for_text("main", "was not taken")
            page.wait_for_text("main", "tallystick.toml:")
            shop.config.write_text(sound, encoding="utf-8")
            shop.tool("reload", "--config", shop.config)
            page.open(f"http://{shop.address}/faults?language=en")
            page.wait_for(lambda: "was not taken" not in page.text("main"), "the fault's end")

    def test_a_bench_and_a_person_that_are_added_are_there_without_a_new_start(self):
        with Shop(small_shop()) as shop:
            toml = shop.config.read_text(encoding="utf-8")
            shop.config.write_text(toml + '\n[[bench]]\nid = "bench-9"\nname = "bench 9"\n\n[[person]]\nname = "N. Ewcomer"\nrole = "inspector"\n',
                                   encoding="utf-8")
            with self.assertRaises(Refused):
                shop.get("/api/v1/benches/bench-9")
            out, _ = shop.tool("reload", "--config", shop.config)
            self.assertIn("bench bench-9: added", out)
            self.assertEqual(shop.get("/api/v1/benches/bench-9")["bench"], "bench-9")
            self.assertIn("N. Ewcomer", [person["name"] for person in shop.get("/api/v1/page")["people"]])

    def test_without_a_daemon_the_exit_status_says_so(self):
        with Shop(small_shop()) as shop:
            shop.stop()
            shop.tool("reload", "--daemon", shop.folder / "data" / "tallystick.sock", status=3)
            shop.start()


if __name__ == "__main__":
    unittest.main()
