"""The checklists page against the real daemon: what publishing would do, what changed between two editions, a dry run that
leaves nothing in the record. All data invented."""
import json
import sys
import time
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
from bench import Shop  # noqa: E402
from browser import Page, needs_browser  # noqa: E402
from small_shop import good_value, small_shop  # noqa: E402


def kept(shop):
    """(events, facts, files, bytes of the journal with what is not yet moved into it)"""
    counts = shop.journal("SELECT (SELECT count(*) FROM entry), (SELECT count(*) FROM fact), (SELECT count(*) FROM blob)")[0]
    return counts, sum((shop.folder / "data" / f"journal.sqlite3{end}").stat().st_size for end in ("", "-wal"))


@needs_browser
class ChecklistsPage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.shop = Shop(small_shop())
        cls.addClassCleanup(cls.shop.close)
        cls.page = Page(1024, 768)
        cls.addClassCleanup(cls.page.__exit__)
        # Edition 1, then the method and a limit of one feature change, and a size table row.
        cls.shop.publish()
        family = next(cls.shop.folder.glob("*.family.toml"))
        text = family.read_text(encoding="utf-8")
        changed = text.replace('plus_minus = "0.05 mm"', 'plus_minus = "0.04 mm"', 1).replace("Flange face down on the plate.", "Flange face down on the clean plate.")
        assert changed != text
        family.write_text(changed, encoding="utf-8")
        cls.shop.request("POST", "/api/v1/reload", {})
        cls.family = family

    def open(self, query="theme=light"):
        self.page.open(f"http://{self.shop.address}/checklists?{query}")
        self.page.wait_for(lambda: self.page.run("return document.body.dataset.ready"), "the checklists")

    def test_1_what_publishing_would_change(self):
        self.open()
        worked = self.page.text("#page-worked")
        self.assertIn("changed: ", worked)
        self.assertIn("edition 1", worked)
        # The first that changed is compared at once.
        self.page.wait_for_text("#page-differences", "differ in")
        thickness = self.page.text("tr[data-feature='flange-thickness'][data-member='lower']")
        self.assertIn("lower limit", thickness)
        self.assertIn("5.95", thickness)
        self.assertIn("5.96", thickness)
        self.assertIn("clean plate", self.page.text("tr[data-feature='length'][data-member='method']"))
        self.page.picture("checklists-1024")

    def test_2_the_command_line_says_the_same(self):
        [row] = [each for each in self.shop.get("/api/v1/checklists/worked-out") if each["size"] == "FB-25"]
        told = self.shop.get(f"/api/v1/checklists/compare?before={row['published']}&after={row['name'].replace('/', '%2F')}")["differences"]
        self.assertTrue(told)
        before = self.shop.folder / "before.json"
        before.write_bytes(self.shop.request("GET", f"/api/v1/checklists/{row['published']}")[2])
        out, _ = self.shop.tool("checklist", "compare", before, self.family, "--json", status=1)
        [line] = [each for each in map(json.loads, out.splitlines()) if each["size"] == "FB-25"]
        self.assertEqual([{name: each.get(name, "") for name in ("feature", "member", "before", "after")} for each in line["differences"]], told)

    def test_3_a_dry_run_leaves_nothing_in_the_record(self):
        self.open()
        before, since = kept(self.shop), time.monotonic()
        while time.monotonic() < since + 2:  # what was kept before comes to rest: the WAL is moved in quiet moments
            time.sleep(0.1)
            if (now := kept(self.shop)) != before:
                before, since = now, time.monotonic()
        self.page.find("tr[data-name='fb/FB-25/C'] td:last-child button:last-of-type").click()
        self.page.wait_for(lambda: self.page.run("return !!document.querySelector('.dry [name=\"length/\"]')"), "the form")
        for feature in ("length", "outside-diameter", "bore", "flange-diameter", "flange-thickness", "seat-length", "groove-width", "groove-depth"):
            value = {"length": "32.003 30.012", "bore": "25.030"}.get(feature, good_value(feature))
            self.page.find(f".dry [name='{feature}/']").send_keys(value)
        self.page.find(".dry [name='bore/']").send_keys("\ue007")  # Enter: no mouse needed
        self.page.wait_for_text("#page-answer", "Nothing of this was kept")
        answer = self.page.text("#page-answer")
        held, right = (self.page.text(f"#page-answer tbody tr:nth-child({row})") for row in (1, 2))
        self.assertIn("held", held)                          # 32.003 fits FB-25L: the rule of the wrong part, too
        self.assertIn("fits FB-25L", held)
        self.assertIn("accept", right)
        self.assertIn("would be rejected", answer)
        self.assertIn("+0.009", self.page.text("#page-answer tr[data-feature='bore']"))
        self.assertIn("passed over", self.page.text("#page-answer tr[data-feature^='bolt-hole']"))
        self.page.picture("checklists-dry")
        self.assertEqual(kept(self.shop), before)
        self.assertEqual(self.page.complaints(), [])

    def test_4_what_cannot_be_read_is_said(self):
        self.open()
        self.page.find("tr[data-name='fb/FB-25/C'] td:last-child button:last-of-type").click()
        self.page.wait_for(lambda: self.page.run("return !!document.querySelector('.dry [name=\"length/\"]')"), "the form")
        self.page.find(".dry [name='length/']").send_keys("30,0x\ue007")
        self.page.wait_for(lambda: "length" in self.page.text("#page-say"), "the fault")
        self.page.driver.get_log("browser")

    def test_5_nothing_is_cut_off(self):
        for width, height, theme in ((320, 640, "light"), (1024, 768, "dark"), (1920, 1080, "light")):
            self.page.size(width, height)
            self.open(f"theme={theme}&language=de")
            self.page.find("tr[data-name='fb/FB-25/C'] td:last-child button:last-of-type").click()
            self.page.wait_for(lambda: self.page.run("return !!document.querySelector('.dry [name=\"length/\"]')"), "the form")
            self.page.picture(f"checklists-{width}-{theme}")
            self.assertLessEqual(self.page.run("return document.documentElement.scrollWidth"), width)
        self.page.size(1024, 768)

    def test_6_published_from_the_page(self):
        self.open()
        self.page.find("#page-worked [name=person]").send_keys("J. Okoro\ue007")
        self.page.wait_for_text("#page-say", "Published")
        self.assertNotIn("changed: ", self.page.text("#page-worked"))
        self.assertIn("edition 2", self.page.text("#page-worked"))


if __name__ == "__main__":
    unittest.main()
