"""A new gauge at the running daemon: its line is listened to, the dialect that reads it is named or learned, and its lines come
into the configuration, which stays as it was otherwise. All data invented."""
import json
import re
import subprocess
import sys
import time
import unittest
from pathlib import Path

from bench import BIN, Shop, wait_until
from small_shop import small_shop
from terminals import Terminal, push_line

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
from browser import Page, needs_browser  # noqa: E402

CARD = {"id": "new-gauge", "name": "new gauge", "kind": "thread-depth-gauge", "bench": "bench-1", "unit": "mm", "range_lower": "0",
        "range_upper": "25", "resolution": "0.001", "reads": "size", "speaks": "pushed"}


def own_dialects():
    """A shop whose dialects lie in its own folder, so that one can be added."""
    files = small_shop()
    folder = re.search(r'dialect_folders = \["([^"]+)"\]', files["tallystick.toml"])[1]
    for path in Path(folder).glob("*.dialect.toml"):
        files[f"dialects/{path.name}"] = path.read_text(encoding="utf-8")
    files["tallystick.toml"] = files["tallystick.toml"].replace(f'["{folder}"]', '["dialects"]')
    return files


class NewGauge:
    """A shop, and a line that no port of it has."""

    def __init__(self):
        self.shop = Shop(own_dialects())
        self.line = Terminal(str(self.shop.folder / "a-new-line"))
        self.line.plug()
        self.shop.terminals.all["a-new-line"] = self.line

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.shop.close()

    def do(self, what, **more):
        return self.shop.request("POST", "/api/v1/learning", {"do": what, **more})

    def state(self):
        return self.shop.get("/api/v1/learning")

    def listen(self):
        status, _, body = self.do("listen", path=self.line.link)
        assert status == 200, body
        time.sleep(0.05)

    def press(self, data, wants="shown"):
        """Presses the button, and waits until the daemon heard the whole of it."""
        count = len(self.state()["presses"])
        self.line.send(data)
        wait_until(lambda: (now := self.state())["wants"] == wants and len(now["presses"]) > count, what=f"the press {data!r}")
        return self.state()

    def code(self, *arguments, **more):
        status, _, body = self.do(*arguments, **more)
        return status, json.loads(body).get("code")


def column_frame(value):
    return f"L{value:>10} mm\r\n".encode()


class Learning(unittest.TestCase):
    def test_plugged_in_pressed_and_named(self):
        with NewGauge() as new:
            new.listen()
            state = new.press(push_line("12.345"))
            self.assertEqual([(each["dialect"], each["read"]) for each in state["known"] if not each["other_settings"]],
                             [("push-line", ["12.345 mm"])])
            self.assertEqual(state["heard"]["readable"], "+012.345<0D>")
            self.assertEqual(new.do("shown", shown="12.345 mm")[0], 200)
            self.assertEqual(new.state()["wants"], "ready")
            before, dialects = new.shop.config.read_bytes(), sorted(path.name for path in (new.shop.folder / "dialects").iterdir())
            wanted = {"dialect": "push-line", "learned": False, "gauge": CARD}
            status, _, body = new.shop.request("POST", "/api/v1/learning/gauge", {**wanted, "write": False})
            lines = json.loads(body)["lines"]
            self.assertEqual((status, new.shop.config.read_bytes()), (200, before))  # shown is not written
            # Faults: nothing is changed, and each is named.
            status, _, body = new.shop.request("POST", "/api/v1/learning/gauge", {**wanted, "write": True, "gauge": {**CARD, "bench": "bench-9"}})
            self.assertEqual((status, json.loads(body)["code"]), (422, "configuration_faults"))
            self.assertIn("bench-9", str(json.loads(body)["faults"]))
            self.assertEqual(new.shop.config.read_bytes(), before)
            status, _, body = new.shop.request("POST", "/api/v1/learning/gauge", {**wanted, "write": True})
            self.assertEqual((status, json.loads(body)["taken"]), (200, True), body)
            self.assertEqual(new.shop.config.read_bytes(), before + lines.encode())  # what stood there stays, byte for byte
            self.assertEqual(sorted(path.name for path in (new.shop.folder / "dialects").iterdir()), dialects)
            self.assertEqual((new.state()["listening"], new.state()["ended"]), (False, "written"))
            # The gauge is one of the shop's from now on.
            wait_until(lambda: any(port["port"] == "new-gauge" and port["state"] == "open" for port in new.shop.get("/api/v1/ports")), what="the new port")
            time.sleep(0.05)
            new.line.send(push_line("7.001"))
            wait_until(lambda: any(each["gauge"] == "new-gauge" and each["frame"]["value"] == "7.001" for each in new.shop.get("/api/v1/ports/unasked")), what="its reading")
            self.assertEqual(bytes(new.line.received), b"")
            self.assertEqual([path.name for path in new.shop.folder.iterdir() if path.name.startswith(".")], [])  # nothing is left behind

    def test_no_dialect_fits_so_one_is_learned(self):
        with NewGauge() as new:
            new.listen()
            for value in ("12.345", "-3.070"):
                state = new.press(column_frame(value))
                self.assertEqual(state["known"], [])
                self.assertEqual(new.do("shown", shown=f"{value} mm")[0], 200)
            [proposal] = new.state()["proposals"]
            self.assertEqual(proposal["read"], ["12.345 mm", "-3.070 mm"])
            wanted = {"dialect": "column-gauge", "learned": True, "gauge": CARD}
            file = new.shop.folder / "dialects" / "column-gauge.dialect.toml"
            self.assertEqual(new.shop.request("POST", "/api/v1/learning/gauge", {**wanted, "write": False})[0], 200)
            self.assertFalse(file.exists())
            status, _, body = new.shop.request("POST", "/api/v1/learning/gauge", {**wanted, "dialect": "push-line", "write": True})
            self.assertEqual((status, json.loads(body)["code"]), (409, "dialect_exists"))
            status, _, body = new.shop.request("POST", "/api/v1/learning/gauge", {**wanted, "write": True})
            self.assertEqual((status, json.loads(body)["taken"]), (200, True), body)
            self.assertIn('name = "column-gauge"', file.read_text(encoding="utf-8"))
            wait_until(lambda: any(port["port"] == "new-gauge" and port["state"] == "open" for port in new.shop.get("/api/v1/ports")), what="the new port")
            time.sleep(0.05)
            new.line.send(column_frame("-0.001"))  # a value that it never saw
            wait_until(lambda: any(each["gauge"] == "new-gauge" and each["frame"]["value"] == "-0.001" for each in new.shop.get("/api/v1/ports/unasked")), what="its reading")

    def test_one_line_at_a_time_and_none_of_the_daemons_own(self):
        with NewGauge() as new:
            own = str(new.shop.folder / "ports" / "micrometer")
            self.assertEqual(new.code("listen", path=own), (409, "port_in_use"))
            self.assertEqual(new.code("shown", shown="1 mm"), (409, "not_now"))
            self.assertEqual(new.code("listen", path=str(new.shop.folder / "none")), (422, "port_absent"))
            self.assertFalse(new.state()["listening"])
            new.listen()
            self.assertEqual(new.code("listen", path=str(new.shop.folder / "none")), (409, "not_now"))
            self.assertEqual(new.code("shown", shown="1 mm"), (422, "nothing_heard"))
            new.press(push_line("1.000"))
            self.assertEqual(new.code("shown", shown="one"), (422, "not_shown"))
            self.assertEqual(new.code("dance"), (422, "wrong_shape"))
            # The command line is told who has the line: the daemon, by name and number.
            for path in (new.line.link, own):
                done = subprocess.run([BIN / "tallystick", "gauge", "learn", path], capture_output=True, text=True, timeout=20, stdin=subprocess.DEVNULL)
                self.assertEqual(done.returncode, 3)
                self.assertIn(str(new.shop.process.pid), done.stderr)
            self.assertEqual(new.do("stop")[0], 200)
            done = subprocess.run([BIN / "tallystick", "gauge", "learn", new.line.link, "--wait", "0.2"], capture_output=True, text=True, timeout=20, stdin=subprocess.DEVNULL)
            self.assertEqual((done.returncode, "Nothing was heard" in done.stdout), (1, True), done.stderr)

    def test_a_cable_pulled_is_said_and_a_walk_goes_on_meanwhile(self):
        with NewGauge() as new:
            new.shop.begin("FB-25", 1, 3)
            new.listen()
            before = new.shop.view()["sequence"]
            new.press(push_line("12.345"))  # of a gauge that is nobody's: no walk hears of it
            self.assertEqual(new.shop.view()["sequence"], before)
            new.shop.take("height-gauge", push_line("30.012"))
            new.line.unplug()
            wait_until(lambda: new.state().get("trouble"), what="the trouble")
            self.assertEqual(new.state()["trouble"]["code"], "port_lost")
            new.line.plug()
            self.assertEqual(new.do("shown", shown="12.345 mm")[0], 200)  # what was heard is not lost, and the line is opened anew
            self.assertTrue(new.state()["open"])


@needs_browser
class LearningPage(unittest.TestCase):
    """The same path by hand on the gauges page."""

    def test_by_hand(self):
        for dark, language, size in ((False, "en", (1024, 768)), (True, "de", (1024, 768)), (False, "es", (390, 844))):
            with self.subTest(language=language), NewGauge() as new, Page(*size, dark=dark) as page:
                self.walk_through(new, page, language, f"learning-{language}-{'dark' if dark else 'light'}")

    def walk_through(self, new, page, language, name):
        page.open(f"http://{new.shop.address}/gauges?theme={'dark' if 'dark' in name else 'light'}&language={language}")
        page.wait_for(lambda: page.run("return document.body.dataset.ready"), "the gauges")
        # None of the daemon's own ports is offered for listening, and nothing is open before a person says so.
        self.assertFalse(new.state()["listening"])
        page.find("#learn-begin").click()
        page.find("#learn-path").send_keys(new.line.link)
        page.find("#learn-other button").click()
        page.wait_for(lambda: new.state()["listening"], "listening")
        page.wait_for(lambda: "9600 8N1" in page.text("#learn-where"), "the settings")
        time.sleep(0.05)
        for value in ("12.345", "-3.070"):
            new.line.send(column_frame(value))
            page.wait_for(lambda: page.run("return !document.querySelector('#learn-answer').hidden"), "the question")
            self.assertIn(value, page.text("#learn-state"))
            page.find("#learn-shown").send_keys(f"{value} mm\ue007")
            page.wait_for(lambda: page.run("return document.querySelector('#learn-answer').hidden"), "the answer")
        page.wait_for(lambda: page.run("return !!document.querySelector('[data-learned]')"), "the new dialect")
        page.picture(f"{name}-found")
        page.find("[data-learned]").click()
        page.wait_for(lambda: page.run("return !document.querySelector('#learn-card').hidden"), "the card")
        self.assertEqual(page.run("return document.querySelector('#learn-resolution').value"), "0.001")
        for field, text in (("id", "new-gauge"), ("title", "new gauge"), ("kind", "thread-depth-gauge"), ("lower", "0"), ("upper", "25")):
            page.find(f"#learn-{field}").send_keys(text)
        page.find("#learn-card button:not([type])").click()
        page.wait_for(lambda: page.run("return !document.querySelector('#learn-written').hidden"), "the lines")
        self.assertIn('dialect = "learned-gauge"', page.text("#learn-lines-text"))
        page.picture(f"{name}-lines")
        # Nothing hangs over the side, and nothing was complained of.
        self.assertLessEqual(page.run("return document.documentElement.scrollWidth - document.documentElement.clientWidth"), 0)
        page.find("#learn-write").click()
        page.wait_for(lambda: page.run("return !!document.querySelector('[data-gauge=new-gauge]')"), "the gauge's card above")
        self.assertEqual(page.complaints(), [])


if __name__ == "__main__":
    unittest.main()
