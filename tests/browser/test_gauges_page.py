"""The gauges page against the real daemon and the demo shop: what a line sent stands there with what was made of it; a
tried reading is shown and leaves nothing in the record."""
import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
from bore_shop import GAUGE, BoreShop  # noqa: E402
from browser import Page, needs_browser  # noqa: E402
from inspector import Inspector  # noqa: E402
from terminals import push_line, status_columns  # noqa: E402

MICROMETER = "micrometer-25-50"


def card(gauge):
    return f"[data-gauge='{gauge}']"


def open_gauges(page, shop, query="theme=light"):
    page.open(f"http://{shop.address}/gauges?{query}")
    page.wait_for(lambda: page.run("return document.body.dataset.ready"), "the gauges")


def journal_size(shop):
    """(events, facts, bytes of what is kept)"""
    return shop.journal("SELECT (SELECT count(*) FROM entry), (SELECT count(*) FROM fact), "
                        "(SELECT total(length(input) + length(outcome)) FROM entry)")[0]


@needs_browser
class GaugesPage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.hands = Inspector()
        cls.addClassCleanup(cls.hands.__exit__)
        cls.shop = cls.hands.shop
        cls.page = Page(1024, 768)
        cls.addClassCleanup(cls.page.__exit__)
        cls.hands.set_gauges()

    def test_1_a_frame_stands_beside_its_decoding(self):
        open_gauges(self.page, self.shop)
        self.shop.press(MICROMETER, push_line("32.034"))
        self.page.wait_for_text(card(MICROMETER), "32.034 mm")
        text = self.page.text(card(MICROMETER))
        sent = push_line("32.034")
        self.assertIn(" ".join(f"{byte:02x}" for byte in sent), text)
        self.assertIn("".join(chr(byte) if 32 <= byte < 127 else "\u00b7" for byte in sent), text)
        self.assertIn("open", text)
        self.page.wait_for_text("#page-unasked", "32.034 mm")  # no walk is active: nobody asked for it
        self.page.wait_for(lambda: "just now" in self.page.text(card(MICROMETER)) or "s ago" in self.page.text(card(MICROMETER)), "last heard")
        self.page.picture("gauges-1024")

    def test_2_refusals_are_counted_by_reason(self):
        open_gauges(self.page, self.shop)
        bad = bytearray(push_line("32.034"))
        bad[3] = ord("x")
        self.shop.press(MICROMETER, bytes(bad))
        self.page.wait_for(lambda: "refused: none" not in self.page.text(card(MICROMETER)).replace("\n", " ") and ": 1" in self.page.text(card(MICROMETER)), "the refusal")
        [recent] = [each for each in self.shop.get("/api/v1/ports/recent") if each["gauge"] == MICROMETER]
        [reason] = recent["refusals"]
        self.assertIn(self.page.run("return fetch('/pages/en.json').then((r) => r.json())")[f"frame.{reason}"], self.page.text(card(MICROMETER)))

    def test_3_a_tried_reading_is_shown_and_not_kept(self):
        open_gauges(self.page, self.shop)
        self.shop.terminals.all["bore-gauge-20-30"].send(status_columns("0.0010"))  # wakes nothing: it is set already
        self.page.wait_for_text(card("bore-gauge-20-30"), "0.001")
        before = journal_size(self.shop)
        self.page.find(f"[data-try='{MICROMETER}']").send_keys("\ue007")  # by the keyboard
        self.page.wait_for_text(card(MICROMETER), "Press the gauge")
        self.shop.press(MICROMETER, push_line("31.234"))
        self.page.wait_for_text(f"{card(MICROMETER)} .trial", "31.234 mm")
        self.assertIn("kept nowhere", self.page.text(f"{card(MICROMETER)} .trial"))
        self.page.picture("gauges-tried")
        self.assertNotIn("31.234", str(self.shop.get("/api/v1/ports/unasked")))
        self.assertEqual(journal_size(self.shop), before)
        self.assertEqual(self.page.complaints(), [])

    def test_4_an_asked_gauge_is_asked(self):
        open_gauges(self.page, self.shop)
        before = journal_size(self.shop)
        self.hands.asked = "+12.3450"
        self.page.find("[data-try='height-gauge']").click()
        self.page.wait_for_text(f"{card('height-gauge')} .trial", "12.345")
        self.shop.terminals.all["height-gauge"].answer = lambda request: b""
        self.page.find("[data-try='height-gauge']").click()
        self.page.wait_for_text(f"{card('height-gauge')} .trial", "did not answer")
        self.assertEqual(journal_size(self.shop), before)

    def test_5_a_walk_keeps_its_readings(self):
        open_gauges(self.page, self.shop)
        self.page.find(f"[data-try='{MICROMETER}']").click()
        self.page.wait_for_text(card(MICROMETER), "Press the gauge")
        self.shop.begin("FB-25", 1, 2)
        self.hands.tools()
        self.shop.wait_for(lambda view: view["state"] == "step")
        before = len(self.shop.entries("reading"))
        self.shop.press(MICROMETER, push_line("32.034"))
        self.page.wait_for_text(f"{card(MICROMETER)} .trial", "A walk has begun")
        self.page.wait_for(lambda: len(self.shop.entries("reading")) == before + 1, "the reading in the record")
        self.page.find(f"[data-try='{MICROMETER}']").click()
        self.page.wait_for_text("#page-say", "A walk is active")

    def test_6_a_gauge_pulled_out(self):
        open_gauges(self.page, self.shop)
        self.shop.terminals.all[MICROMETER].unplug()
        self.page.wait_for(lambda: "not there" in self.page.text(card(MICROMETER)) or "lost" in self.page.text(card(MICROMETER)), "the loss")
        self.shop.terminals.all[MICROMETER].plug()
        self.page.wait_for(lambda: self.page.text(f"{card(MICROMETER)} .state") == "open", "its return")

    def test_7_nothing_is_cut_off(self):
        for width, height, theme, language in ((320, 640, "light", "de"), (1024, 768, "dark", "es"), (1920, 1080, "light", "en")):
            self.page.size(width, height)
            open_gauges(self.page, self.shop, f"theme={theme}&language={language}")
            self.page.find(f"[data-more='{MICROMETER}']").click()
            self.page.wait_for(lambda: self.page.run("return !!document.querySelector('article table')"), "the frames")
            self.page.picture(f"gauges-{width}-{theme}")
            self.assertLessEqual(self.page.run("return document.documentElement.scrollWidth"), width)
        self.page.size(1024, 768)


@needs_browser
class TwoMasters(unittest.TestCase):
    """A gauge that is set on two rings: the pages name both in turn, with their calibration, and what the setting showed."""

    SETTING = 'master = "ring-25"\nlimit = "0.002"\nsecond_master = "ring-29"\nsecond_limit = "0.0030"\ngain_limit = "0.0005"\n'

    def test_both_masters_the_zero_and_the_gain_stand_on_the_pages(self):
        with BoreShop(setting=self.SETTING) as shop, Page(1024, 768) as bench, Page(1024, 768) as page:
            bench.open(f"http://{shop.address}/bench/bench-1?theme=light&language=en")
            bench.wait_for_text("body", "master 1 of 2")
            open_gauges(page, shop)
            for said in ("ring 25.002: 25.002 \u00b1 0.002 mm", "ring 29.000: 29.000 \u00b1 0.0030 mm", "its uncertainty 0.001 mm, taken off the limit", "calibration due 2099-12-31"):
                self.assertIn(said, page.text(card(GAUGE)))
            self.assertNotIn("gain", page.text(card(GAUGE)))
            shop.set_gauge("25.003")
            bench.wait_for_text("body", "master 2 of 2")
            self.assertIn("Ring 29.000", bench.text("body"))
            bench.picture("two-masters-second")
            shop.set_gauge("29.002")
            page.wait_for_text(card(GAUGE), "gain 1.000250125, within 1 \u00b1 0.0005; no reading is changed by it")
            self.assertIn("off by 0.001 mm on the master", page.text(card(GAUGE)))
            bench.wait_for_text("body", "gain 1.000250125")
            bench.picture("two-masters-set")
            page.picture("gauges-two-masters")
            for width, height in ((390, 844), (1920, 1080)):
                page.size(width, height)
                self.assertLessEqual(page.run("return document.documentElement.scrollWidth"), width)
            self.assertEqual(page.complaints() + bench.complaints(), [])

    def test_an_overdue_master_is_said_on_both_pages(self):
        with BoreShop(setting='master = "ring-old"\nlimit = "0.002"\n') as shop, Page(1024, 768) as page:
            open_gauges(page, shop)
            self.assertIn("calibration was due 2020-01-31: it may not be used", page.text(card(GAUGE)))
            page.open(f"http://{shop.address}/bench/bench-1?theme=light&language=en")
            page.wait_for_text("body", "Its calibration was due on 2020-01-31")
            shop.bore("25.000", "not_counted")
            page.wait_for_text("body", "the master's calibration is overdue")
            page.picture("master-overdue")


if __name__ == "__main__":
    unittest.main()
