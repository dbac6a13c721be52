"""Whole walks at the page with one kind of hand only: a keyboard, a pedal, few touches; and what is read aloud on the way. The real
daemon, gauges on pseudo-terminals; all data invented."""
import re
import sys
import time
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
from bench import Shop  # noqa: E402
from browser import Page, needs_browser  # noqa: E402
from inspector import Inspector  # noqa: E402
from small_shop import good_value, small_shop  # noqa: E402
from terminals import push_line  # noqa: E402

ENTER, TAB, DOWN = "\ue007", "\ue004", "\ue015"
# Before the page's own scripts: every pointer that comes down is counted, and every key is written down.
WATCH = """window.pointers = 0; window.pressed = [];
  addEventListener('pointerdown', () => { ++window.pointers; }, true);
  addEventListener('keydown', (e) => { window.pressed.push(e.key); }, true);"""
# All that is read aloud, one entry a change; and how many places of the page there are that are read aloud.
LISTEN = """window.said = []; const place = document.getElementById('page-heard');
  new MutationObserver(() => { if (place.textContent.trim()) window.said.push(place.textContent.trim()); }).observe(place, { childList: true, characterData: true, subtree: true });"""


class Hands(Inspector):
    """An inspector whose answers go through the page: `good`, `not_good`, `again` are keys."""

    def __init__(self, page, keys, **windows):
        super().__init__(**windows)
        self.page, self.of_keys = page, keys
        self.shop.act = self.act
        self.events = 0

    def act(self, action, bench="bench-1", reason=None):
        if self.page.text("dialog"):  # which plug or mating part is used: the first
            self.page.keys(self.of_keys["choose"])
            self.page.wait_for(lambda: self.page.text("dialog") == "", "the question's end")
            self.page.wait_for(lambda: not [each for each in self.view()["tools_wanted"] if each["tool"] == self.view()["step"]["tool"]], "the plug is known")
            self.events += 1
            time.sleep(.9)  # a member takes no answer in its first 0.8 s
        self.events += 1
        self.tell()
        self.page.keys(self.of_keys[action])

    def tell(self):
        """The page shows what is asked for now: who answers has seen it."""
        self.page.wait_for(lambda: self.page.run("return document.body.dataset.ask") == self.view()["ask"], "what is asked for now")

    def press(self, gauge, size, what="counted"):
        self.events += 1
        return super().press(gauge, size, what)


def open_bench(page, shop):
    page.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
    page.open(f"http://{shop.address}/bench/bench-1?theme=light")
    page.wait_for(lambda: page.run("return document.body.dataset.state"), "the view")
    page.run(LISTEN)


@needs_browser
class OneKindOfHand(unittest.TestCase):
    def test_a_keyboard_is_enough(self):
        with Page() as page, Hands(page, {"good": ENTER, "not_good": "n", "again": "a", "choose": "1"}) as hands:
            shop = hands.shop
            shop.publish()
            open_bench(page, shop)
            # The form: fields in turn by Tab, choices by arrow, Enter sends.
            page.keys(ENTER)
            page.wait_for_text("dialog", "Begin a walk")
            focused = lambda: page.run("return document.activeElement.name || document.activeElement.innerText")
            for _ in range(12):
                if "/FB-25/" in page.run("return document.querySelector('dialog [name=size]').value"):
                    break
                self.assertEqual(focused(), "size")
                page.keys(DOWN)
            for name, text in (("lot", ""), ("lot_name", "26-118"), ("first", ""), ("last", "2"), ("heat", "H2261")):
                page.keys(TAB)
                self.assertEqual(focused(), name)
                page.keys(*text)
            self.assertEqual(page.run("return document.querySelector('dialog [name=last]').value"), "2")  # Tab marks what stands there
            page.keys(ENTER)
            page.wait_for_text("#page-head", "lot 26-118")
            self.assertEqual(shop.wait_for(lambda view: view["walk"])["walk"]["stage"], "first part")
            hands.part()
            # The first part is good; a second person releases the run, by the menu.
            shop.wait_for(lambda view: view["state"] == "hard_hold")
            self.choose(page, "Run release")
            page.wait_for_text("dialog", "second person")
            for _ in range(4):
                if page.run("return document.querySelector('dialog [name=person]').value") == "J. Okoro":
                    break
                page.keys(DOWN)
            for _ in range(4):
                page.keys(TAB)
                if focused() == "Send":
                    break
            page.keys(ENTER)
            shop.wait_for(lambda view: view["state"] in ("step", "setting"), 10, "the release")
            page.wait_for(lambda: page.text("dialog") == "", "the form's end")
            # A note; the walk is parked, taken up, gone on with, and ended.
            self.choose(page, "Note")
            page.wait_for_text("dialog", "Text")
            page.keys(*"chips", ENTER)
            page.wait_for(lambda: page.text("dialog") == "", "the note is kept")
            hands.step()
            self.choose(page, "Park the walk")
            page.wait_for_text("#page-choices", "Take up FB-25")
            self.assertIn("just now", page.text("#page-choices"))  # its age
            page.keys(ENTER)
            shop.wait_for(lambda view: view["state"] == "resumed")
            hands.tell()
            page.keys(ENTER)
            shop.wait_for(lambda view: view["state"] in ("step", "setting"))
            hands.part()
            shop.wait_for(lambda view: view["state"] == "done")
            hands.tell()
            page.keys(ENTER)
            shop.wait_for(lambda view: view["state"] == "idle")
            page.wait_for_text("#page-actions", "begin a walk")
            self.assertEqual(page.run("return window.pointers"), 0)
            self.assertEqual(page.complaints(), [])
            kinds = [kind for _, _, kind, _, _ in shop.entries()]
            for kind in ("note", "run_release", "park", "take_up"):
                self.assertEqual(len([each for each in kinds if each.startswith(kind) or kind.split("_")[0] in each]) > 0, True, (kind, set(kinds)))

    def choose(self, page, entry):
        """The menu's entry by its digit, or by the arrow-free way of Tab where it has none."""
        page.keys("m")
        page.wait_for_text("dialog", entry)
        digit = page.run("return [...document.querySelectorAll('dialog li button')].find((b) => b.innerText.includes(arguments[0])).querySelector('kbd')?.innerText", entry)
        self.assertTrue(digit, entry)
        page.keys(digit)

    def test_a_pedal_is_enough(self):
        with Page() as page, Hands(page, {"good": "F13", "not_good": "F14", "again": "F15", "choose": "F13"}) as hands:
            shop = hands.shop
            page.keys = lambda *keys, gap=.12: [self.tread(page, key, gap) for key in keys]
            shop.begin("FB-25", 1, 2, stage="in process", machine="lathe 3")
            open_bench(page, shop)
            page.wait_for_text("#page-head", "part 1")
            shop.command("park", touch=False)
            shop.wait_for(lambda view: view["state"] == "idle")
            page.wait_for_text("#page-choices", "Take up")
            page.keys("F13")
            shop.wait_for(lambda view: view["state"] != "idle")
            if hands.view()["state"] == "resumed":
                hands.tell()
                page.keys("F13")
            shop.wait_for(lambda view: view["state"] in ("step", "setting"))
            # A value that was taken is retaken: again, the first of the reasons, and measured once more.
            while hands.view()["state"] == "setting":
                hands.step()
            taken = hands.step()["last"]
            hands.tell()
            page.keys("F15")
            page.wait_for_text("dialog", "Why?")
            page.keys("F13")
            shop.wait_for(lambda view: view["last"]["what"] == "retake")
            shop.wait_for(lambda view: view["step"]["feature"] == taken["feature"])
            hands.part()
            view = shop.wait_for(lambda view: view["state"] in ("hard_hold", "step", "setting", "between_parts", "done"))
            if view["state"] == "hard_hold":  # a second person's word is no matter of pedals
                shop.command("run_release", touch=False, person="J. Okoro", lot=view["walk"]["lot"])
                shop.wait_for(lambda view: view["state"] in ("step", "setting"))
            hands.part()
            shop.wait_for(lambda view: view["state"] == "done")
            hands.tell()
            page.keys("F13")
            shop.wait_for(lambda view: view["state"] == "idle")
            self.assertEqual(page.run("return window.pointers"), 0)
            self.assertLessEqual(set(page.run("return window.pressed")), {"F13", "F14", "F15"})
            self.assertGreater(len(page.run("return window.pressed")), 12)
            self.assertEqual(page.complaints(), [])

    def tread(self, page, key, gap):
        """A pedal is a keyboard of three keys."""
        code = {"F13": 124, "F14": 125, "F15": 126}[key]
        for kind in ("rawKeyDown", "keyUp"):
            page.driver.execute_cdp_cmd("Input.dispatchKeyEvent", {"type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code})
        time.sleep(gap)


@needs_browser
class ReadAloud(unittest.TestCase):
    def test_each_press_is_told_once_and_nothing_else_is(self):
        with Shop(small_shop()) as shop, Page() as page:
            shop.begin("FB-25", 1, 2)
            open_bench(page, shop)
            page.wait_for_text("#page-do", "Overall length")
            time.sleep(.5)
            page.run("window.said.length = 0")
            presses, verdicts = 0, []
            while True:
                view = shop.view()
                if view["state"] != "step":
                    break
                value = good_value(view["step"]["feature"])[:-1] + str(presses % 10)
                shop.take(view["step"]["gauges"][0]["id"], push_line(value))
                page.wait_for_text("#page-value", value)
                presses += 1
                page.wait_for(lambda: page.run("return window.said.length") >= presses, "the value read aloud")
                verdicts.append(value)
            said = page.run("return window.said")
            self.assertEqual(presses, 24)
            # One announcement a press, with value, verdict and what to do next; none besides.
            self.assertEqual(len(said), presses, said)
            for value, text in zip(verdicts, said):
                self.assertRegex(text, rf"^{re.escape(value)} mm accept")
            self.assertIn("Seat length", said[0])
            time.sleep(4)  # ages count up, signs of life come: silence
            self.assertEqual(len(page.run("return window.said")), presses)
            regions = page.run("return [...document.querySelectorAll('[aria-live], [role=alert], [role=status], [role=log], [role=timer], output')].map((e) => e.id)")
            self.assertEqual(regions, ["page-heard"])


@needs_browser
class FewTouches(unittest.TestCase):
    """Each in at most two touches, and what the page counts is what a finger does."""

    def setUp(self):
        self.shop = Shop(small_shop())
        self.addCleanup(self.shop.close)
        self.page = Page()
        self.addCleanup(self.page.__exit__)
        self.page.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
        self.shop.begin("FB-25", 1, 3)
        open_bench(self.page, self.shop)
        self.page.wait_for_text("#page-do", "Overall length")
        self.shop.take("height-gauge", push_line("30.012"))
        self.page.wait_for_text("#page-value", "30.012")

    def touch(self, text, within="body"):
        """A finger on the button with that text."""
        at = self.page.wait_for(lambda: self.page.run("""
          const b = [...document.querySelectorAll(arguments[0] + ' button')].find((b) => b.checkVisibility() && b.innerText.includes(arguments[1]));
          if (!b) return null;
          b.scrollIntoView({ block: 'center' });
          const box = b.getBoundingClientRect(); return [box.left + box.width / 2, box.top + box.height / 2];""", within, text), f"a button {text!r}")
        self.page.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": round(at[0]), "y": round(at[1])}]})
        self.page.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def touches(self):
        return self.page.run("return window.pointers")

    def test_change_of_person(self):
        self.touch("person", "#page-actions")
        self.touch("J. Okoro", "dialog")
        self.shop.wait_for(lambda view: view["person"] == "J. Okoro")
        self.page.wait_for_text("#page-head", "J. Okoro")
        self.assertEqual(self.touches(), 2)

    def test_a_reading_set_aside(self):
        self.touch("set aside", "#page-value")
        self.touch("Set aside:", "dialog")
        self.shop.wait_for(lambda view: view["last"]["what"] == "set_aside")
        self.page.wait_for_text("#page-do", "Overall length")
        self.assertEqual(self.touches(), 2)

    def test_a_note(self):
        self.touch("note", "#page-value")
        self.touch("Note", "dialog")
        self.page.wait_for_text("dialog", "Text")
        self.page.keys(*"burr", ENTER)  # what is typed is no touch
        self.page.wait_for(lambda: self.page.text("dialog") == "", "the note is kept")
        self.assertEqual(len(self.shop.entries("note")), 1)
        self.assertEqual(self.touches(), 2)

    def test_a_parked_walk_with_its_age(self):
        self.shop.command("park", touch=False)
        self.page.wait_for_text("#page-choices", "parked just now")
        # Its age counts up by itself: here by a page's clock that is a day ahead.
        self.page.run("const now = Date.now; Date.now = () => now() + 86400000;")
        self.page.wait_for_text("#page-choices", "parked 24 h ago (yesterday")
        self.page.run("location.reload()")
        self.page.wait_for_text("#page-choices", "parked")
        self.touch("Take up FB-25", "#page-choices")
        self.page.wait_for(lambda: self.page.run("return document.body.dataset.state") == "resumed", "the walk")
        self.assertIn("30.012", self.page.text("#page-do"))
        self.touch("good", "#page-actions")
        self.shop.wait_for(lambda view: view["state"] == "step")
        self.assertEqual(self.touches(), 2)

    def test_an_interrupted_walk(self):
        port = self.shop.address.rsplit(":", 1)[1]
        self.shop.kill()
        self.page.wait_for_text("#page-cut", "Not connected")
        self.shop.config.write_text(self.shop.config.read_text(encoding="utf-8").replace("port = 0", f"port = {port}", 1), encoding="utf-8")
        self.shop.start()
        self.page.wait_for(lambda: self.page.text("#page-cut") == "", "the connection")
        if self.shop.wait_for(lambda view: view["state"] in ("resumed", "step"))["state"] == "resumed":
            self.page.wait_for_text("#page-do", "30.012")
            self.touch("good", "#page-actions")
        self.shop.wait_for(lambda view: view["state"] == "step")
        self.assertLessEqual(self.touches(), 2)


if __name__ == "__main__":
    unittest.main()
