"""The suspects page against the real daemon, after a gauge has failed on its master: what it lists, how it is decided by mouse
and by the keyboard alone, what it refuses. All data invented."""
import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
import axe  # noqa: E402
from bore_shop import REASON, BoreShop  # noqa: E402
from browser import Page, needs_browser  # noqa: E402

SIZES = ((390, 844, "light", "de"), (1024, 768, "dark", "es"), (1920, 1080, "light", "en"))


def rows(page):
    return page.run("return [...document.querySelectorAll('[data-fact]')].map((row) => row.dataset.fact)")


@needs_browser
class SuspectsPage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.shop = BoreShop()
        cls.addClassCleanup(cls.shop.close)
        cls.page = Page(1920, 1080)
        cls.addClassCleanup(cls.page.__exit__)
        cls.old, cls.lot = cls.shop.the_day()

    def open(self, query="", theme="light", language="en"):
        self.page.open(f"http://{self.shop.address}/suspects?theme={theme}&language={language}{query}")
        self.page.wait_for(lambda: self.page.run("return document.body.dataset.ready"), "the suspects")

    def pick(self, lot_name, *serials):
        for row in self.shop.suspects(lot_name=lot_name):
            if row["serial"] in serials and row["stage"] == "final":
                self.page.run("document.querySelector(`[data-pick='${arguments[0]}']`).click()", row["fact"])

    def fill(self, person="J. Okoro", reason=REASON, note="", customer=None):
        for name, text in (("person", person), ("note", note), ("customer", customer)):
            if text is not None:
                field = self.page.find(f"#decide-{name}")
                field.clear()
                field.send_keys(text)
        self.page.run("const s = document.getElementById('decide-reason'); s.value = arguments[0]", reason)

    def looks_right(self, name):
        script, absent = axe.source()
        for width, height, theme, language in SIZES:
            self.page.size(width, height)
            self.open(theme=theme, language=language)
            if rows(self.page):
                self.page.run("document.querySelector('[data-all]').click()")
                self.page.wait_for(lambda: self.page.text("#page-decide"), "the decision")
            self.page.picture(f"suspects-{name}-{width}-{theme}")
            self.assertLessEqual(self.page.run("return document.documentElement.scrollWidth"), width, (name, width))
            if script:
                self.assertEqual(axe.findings(self.page, script), [], (name, width))
        self.page.size(1920, 1080)
        if absent:
            self.skipTest(absent)

    def test_1_where_nothing_is_suspect_it_says_so(self):
        self.open()
        self.assertEqual(self.page.text("#page-count"), "No result stands suspect.")
        self.assertEqual((rows(self.page), self.page.text("#page-decide")), ([], ""))
        self.assertEqual(self.page.text(".menu [aria-current=page]"), "Suspects")
        self.looks_right("none")

    def test_2_a_failure_is_listed_by_part_with_what_became_of_it(self):
        self.open()
        self.shop.fail_gauge()
        self.page.wait_for(lambda: len(rows(self.page)) == 22, "the 22 results")   # by itself
        self.assertEqual(len(self.page.run("return [...document.querySelectorAll('[data-failure]')]")), 1)
        self.assertIn("22 results are suspect", self.page.text("#page-count"))
        section = self.page.text("[data-failure]")
        for said in ("bore-gauge: outside its limit on its master", "results: 22, of parts: 20", "master: ring 25.002"):
            self.assertIn(said, section)
        [fact] = [row["fact"] for row in self.shop.suspects(lot=self.old, serial=1)]
        text = self.page.text(f"[data-fact='{fact}']")
        for said in ("part 1", "L-24", "FB-25L", "final", "2 bore", "25.011 mm", "accept", "25 \u2026 25.021 mm", "bench 1", "released", "order 117", "lot closed", "telling the customer"):
            self.assertIn(said, text)
        self.assertEqual(self.page.complaints(), [])

    def test_3_it_looks_right_with_dozens(self):
        self.looks_right("list")

    def test_4_it_filters_by_lot_and_gauge(self):
        self.open()
        self.page.run("const s = document.querySelector('[name=lot]'); s.value = arguments[0]; s.form.requestSubmit()", self.old)
        self.page.wait_for(lambda: "lot=" in self.page.driver.current_url and self.page.run("return document.body.dataset.ready"), "the filtered list")
        self.assertEqual(set(rows(self.page)), {row["fact"] for row in self.shop.suspects(lot=self.old)})
        self.open("&gauge=bore-gauge")
        self.assertEqual(len(rows(self.page)), 22)
        self.open("&gauge=another")
        self.assertEqual(rows(self.page), [])
        self.assertIn("Others stand", self.page.text("#page-count"))

    def test_5_a_released_part_is_not_cleared_without_a_word_to_the_customer(self):
        self.open(f"&lot={self.old}")
        self.pick("L-24", 1)
        self.page.find("#decide-use_as_is").click()
        self.assertIn("what the customer was told", self.page.text("#page-decide"))
        self.fill(note="4 um of 21")
        self.page.find("#decide-send").click()                     # the browser asks for the note, nothing is sent
        self.assertEqual(len(self.shop.suspects()), 22)
        self.page.run("document.getElementById('page-decide').noValidate = true")   # the daemon asks for it too
        self.page.find("#decide-send").click()
        self.page.wait_for_text("#decide-say", "say what the customer was told")
        self.assertEqual(len(self.shop.suspects()), 22)
        self.page.picture("suspects-refused")
        self.page.driver.get_log("browser")                        # the refused request stands in the console
        self.fill(note="4 um of 21", customer="told by letter, J. Okoro")
        self.page.find("#decide-send").click()
        self.page.wait_for_text("#page-say", "Used as they are: 1.")
        self.assertEqual(len(self.shop.suspects()), 21)

    def test_6_by_the_keyboard_alone(self):
        self.open(f"&lot={self.lot}")
        [fact] = [row["fact"] for row in self.shop.suspects(lot=self.lot, serial=3)]
        for _ in range(60):
            self.page.keys("\ue004", gap=0.02)                     # Tab
            if self.page.run("return document.activeElement.dataset.pick === arguments[0]", fact):
                break
        self.page.keys(" ")
        self.page.wait_for(lambda: self.page.text("#page-decide"), "the decision")
        for _ in range(120):
            self.page.keys("\ue004", gap=0.02)
            if self.page.run("return document.activeElement.name === 'decision'"):
                break
        self.page.keys("\ue015")                                   # arrow down: the second of the three
        self.assertTrue(self.page.run("return document.getElementById('decide-measure_again').checked"))
        self.page.keys("\ue004", *"J. Okoro", "\ue004", *REASON[:8], gap=0.02)
        self.assertEqual(self.page.run("return document.getElementById('decide-reason').value"), REASON)
        self.page.keys("\ue004", *"at hand", "\ue007", gap=0.02)
        self.page.wait_for_text("#page-say", "To be measured again: 1.")
        self.page.wait_for_text(f"[data-fact='{fact}']", "waits to be measured again: J. Okoro")
        self.assertEqual([row["serial"] for row in self.shop.suspects(decision="measure_again")], [3])

    def test_7_the_record_says_it_beside_the_result(self):
        self.page.open(f"http://{self.shop.address}/records?view=facts&suspect=1&theme=light")
        self.page.wait_for(lambda: self.page.run("return document.body.dataset.ready"), "the records")
        keys = self.page.run("return [...document.querySelectorAll('#page-rows tr')].map((row) => row.dataset.key)")
        self.assertEqual(set(keys), {row["fact"] for row in self.shop.suspects()})
        self.assertEqual(self.page.text("#page-rows .mark-suspect"), "suspect")
        [part] = {row["part"] for row in self.shop.suspects(lot=self.lot, serial=3)}
        self.page.open(f"http://{self.shop.address}/records?view=history&part={part}&theme=light")
        self.page.wait_for(lambda: self.page.run("return document.body.dataset.ready"), "the history")
        for said in ("suspect decided", "to be measured again", "J. Okoro", "at hand"):
            self.assertIn(said, self.page.text("#page-list"))
        self.page.picture("suspects-history")


if __name__ == "__main__":
    unittest.main()
