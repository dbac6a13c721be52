"""The page and its line to the daemon: cut and back, a daemon that hangs, sleep and wake, two pages on one bench, slow readers.
Data invented."""
import base64
import os
import signal
import socket
import sys
import time
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
import states  # noqa: E402
from bench import Shop  # noqa: E402
from browser import Page, StillDesk, needs_browser  # noqa: E402
from small_shop import good_value, small_shop  # noqa: E402
from terminals import push_line  # noqa: E402

# Before the page's own scripts: its sockets can be reached, and none can be opened while `window.no_line` is set.
REACH = """window.sockets = []; const Real = WebSocket;
  window.WebSocket = class extends Real { constructor(address) { super(window.no_line ? address.replace('/live?', '/none?') : address); window.sockets.push(this); } };"""
PATIENCE_S = 12  # of the page, link.js


def value(number):
    return f"32.{number:04d}"


@needs_browser
class Line(unittest.TestCase):
    def setUp(self):
        self.desk = StillDesk(states.views())
        self.addCleanup(self.desk.close)
        self.page = Page()
        self.addCleanup(self.page.__exit__)
        self.page.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": REACH})
        self.page.open(self.desk.bench("accept"))
        self.page.wait_for_text("#page-value", "32.038")

    def show(self, number):
        self.desk.show("accept", last=states.last(value=value(number), key=f"a1/{1000 + number}"))

    def cut_is_shown(self):
        return "Not connected" in self.page.text("#page-cut")

    def test_a_socket_that_is_cut_comes_back_by_itself_with_what_is_new(self):
        self.page.run("window.no_line = true; window.sockets.at(-1).close()")
        self.page.wait_for(self.cut_is_shown, "the cut")
        self.show(1)
        time.sleep(1.2)
        self.assertNotIn(value(1), self.page.text("#page-value"))
        self.page.keys("n")  # nothing that is pressed now is taken
        time.sleep(.3)
        self.assertEqual(self.desk.commands, [])
        self.page.run("window.no_line = false")
        self.page.wait_for_text("#page-value", value(1), 8)
        self.assertFalse(self.cut_is_shown())
        opened = self.page.run("return window.sockets.length")
        time.sleep(2)
        self.assertEqual(self.page.run("return window.sockets.length"), opened)  # and there it stays

    def test_a_daemon_that_says_nothing_is_no_connection(self):
        os.kill(self.desk.process.pid, signal.SIGSTOP)
        try:
            time.sleep(PATIENCE_S / 2)
            self.assertFalse(self.cut_is_shown())
            self.page.wait_for(self.cut_is_shown, "the cut", PATIENCE_S)
            self.assertRegex(self.page.text("#page-cut"), r"1\d s old")
        finally:
            os.kill(self.desk.process.pid, signal.SIGCONT)
        self.show(2)
        self.page.wait_for_text("#page-value", value(2), 15)
        self.page.wait_for(lambda: not self.cut_is_shown(), "the connection")

    def test_a_machine_that_slept_shows_the_present_or_says_that_it_does_not(self):
        # The page stands still as on a machine that sleeps; its line is dead when it wakes.
        self.page.driver.execute_cdp_cmd("Page.setWebLifecycleState", {"state": "frozen"})
        self.desk.stop()
        time.sleep(PATIENCE_S + 3)
        self.desk.start(self.desk.port)
        self.show(3)
        self.page.driver.execute_cdp_cmd("Page.setWebLifecycleState", {"state": "active"})
        end = time.monotonic() + 10
        time.sleep(1.2)  # its first second
        while True:
            seen = self.page.text("#page-value")
            if value(3) in seen:
                break
            self.assertTrue(self.cut_is_shown(), seen)  # what is old is never shown as if it were new
            self.assertLess(time.monotonic(), end)
            time.sleep(.05)
        self.page.wait_for(lambda: not self.cut_is_shown(), "the connection")

    def test_only_the_wall_clock_went_on(self):
        # A machine may stop the steady clock while it sleeps: the page looks at both.
        self.page.run("const now = Date.now; Date.now = () => now() + 3600000;")
        before = self.page.run("return window.sockets.length")
        self.page.wait_for(lambda: self.page.run("return window.sockets.length") > before, "a new socket", 8)
        self.show(4)
        self.page.wait_for_text("#page-value", value(4), 8)

    def test_a_page_that_is_slow_and_one_that_never_reads_hold_nobody_up(self):
        # One display takes its line and never reads from it.
        stuck = socket.create_connection(("127.0.0.1", self.desk.port))
        self.addCleanup(stuck.close)
        stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        stuck.sendall((f"GET /api/v1/benches/accept/live?display=stuck HTTP/1.1\r\nHost: 127.0.0.1:{self.desk.port}\r\nUpgrade: websocket\r\n"
                       f"Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: {base64.b64encode(b'0123456789abcdef').decode()}\r\n\r\n").encode())
        with Page() as slow:
            slow.open(self.desk.bench("accept"))
            slow.wait_for_text("#page-value", "32.038")
            slow.driver.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 6})
            begun = time.monotonic()
            for number in range(10, 310):
                self.show(number)
            sent = time.monotonic() - begun
            self.page.wait_for_text("#page-value", value(309), 3)
            self.assertLess(sent, 30)
            slow.driver.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 1})
            slow.wait_for_text("#page-value", value(309), 30)
            self.assertEqual(slow.complaints(), [])
        # The page's memory does not grow with what came: one value stands, one ruler is drawn.
        self.assertLess(self.page.run("return document.querySelectorAll('*').length"), 400)


@needs_browser
class TwoPages(unittest.TestCase):
    def test_both_show_the_same_and_the_second_answer_is_refused(self):
        with Shop(small_shop()) as shop, Page() as one, Page() as other:
            shop.begin("FB-25", 1, 3)
            for page in (one, other):
                page.open(f"http://{shop.address}/bench/bench-1?theme=light")
                page.wait_for_text("#page-do", "Overall length")
            shop.take("height-gauge", push_line("30.012"))
            for page in (one, other):
                page.wait_for_text("#page-value", "30.012")
                page.wait_for_text("#page-do", "Seat length")
                page.keys("a")
                page.wait_for_text("dialog", "Why?")
            one.keys("1")  # retakes the length
            for page in (one, other):
                page.wait_for_text("#page-do", "Overall length")
            other.keys("1")  # answers what is asked for no more
            other.wait_for_text("#page-toast", "moved on")
            time.sleep(.3)
            self.assertEqual(len(shop.entries("act")) + len(shop.entries("retake")), 1, {kind for _, _, kind, _, _ in shop.entries()})
            gauge = shop.view()["step"]["gauges"][0]["id"]
            shop.take(gauge, push_line(good_value("length")))
            for page in (one, other):
                page.wait_for_text("#page-do", "Seat length")
            # One goes: the other is enough.
            one.driver.get("about:blank")
            shop.take("height-gauge", push_line(good_value("seat-length")))
            other.wait_for_text("#page-value", good_value("seat-length"))
            self.assertEqual([each for each in other.complaints() if "409" not in each], [])


if __name__ == "__main__":
    unittest.main()
