"""The faults page against the real daemon: a warning stays until a person clears it with the name, and returns when it
recurs, over a restart too. All data invented."""
import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
from bench import Shop, wait_until  # noqa: E402
from browser import Page, needs_browser  # noqa: E402
from small_shop import small_shop  # noqa: E402

PORT = "port height-gauge"


def notice(shop, where=PORT):
    """The port's: one that nobody cleared before one that somebody did."""
    found = sorted((each for each in shop.get("/api/v1/notices") if each["where"] == where), key=lambda each: each["cleared_by"] != "")
    return found[0] if found else None


@needs_browser
class FaultsPage(unittest.TestCase):
    def open(self, page, shop, query="theme=light"):
        page.open(f"http://{shop.address}/faults?{query}")
        page.wait_for(lambda: page.run("return document.body.dataset.ready"), "the notices")

    def test_a_warning_stays_until_it_is_cleared_and_returns(self):
        with Shop(small_shop()) as shop, Page(1024, 768) as page:
            self.open(page, shop)
            # What the small shop's own configuration is warned of is cleared first.
            page.wait_for(lambda: shop.get("/api/v1/notices"), "the notices")
            for each in shop.get("/api/v1/notices"):
                self.assertEqual(shop.request("POST", f"/api/v1/notices/{each['id']}/clear", {"person": "J. Okoro"})[0], 200)
            page.wait_for_text("#page-lead", "Nothing is wrong")
            already = len(shop.entries("notice_cleared"))
            gauge = shop.terminals.all["height-gauge"]
            gauge.unplug()
            page.wait_for_text("#page-list", PORT)
            self.assertIn("and still so", page.text("#page-list"))
            self.assertTrue(page.text("#page-list .remedy"))
            gauge.plug()
            page.wait_for_text("#page-list", "over now")          # it has ended, and stays
            self.assertIn(PORT, page.text("#page-list"))
            page.picture("faults-1024")
            # No name, no clearing.
            page.find("#page-list [data-clear]").send_keys("\ue007")
            page.wait_for_text("#page-say", "Say your name first")
            self.assertEqual(notice(shop)["cleared_by"], "")
            page.find("#page-person").send_keys("R. Field")
            page.find("#page-list [data-clear]").send_keys("\ue007")
            page.wait_for_text("#page-cleared", "cleared by R. Field")
            # A look in the moment of unplugging finds two: that its end closed, and that it is not there.
            page.wait_for(lambda: page.text("#page-list") == "" or page.run("return !!document.querySelector('#page-list [data-clear]')"), "the rest")
            if page.text("#page-list"):
                page.find("#page-list [data-clear]").send_keys("\ue007")
            page.wait_for(lambda: page.text("#page-list") == "", "the cleared one to go")
            cleared = [row[0] for row in shop.journal("SELECT person FROM entry WHERE kind = 'notice_cleared' ORDER BY seq")[already:]]
            self.assertEqual(set(cleared), {"R. Field"})
            self.assertLessEqual(len(cleared), 2)
            # It recurs.
            gauge.unplug()
            page.wait_for_text("#page-list", "came 2 times")
            self.assertEqual(page.complaints(), [])
            # Over a kill: what stood is still there, what nobody cleared stays.
            wait_until(lambda: PORT in (shop.folder / "data" / "notices.json").read_text(encoding="utf-8"), 5)
            shop.kill()
            gauge.plug()
            shop.start()
            self.assertEqual((notice(shop)["cleared_by"], notice(shop)["standing"]), ("", False))

    def test_a_warning_of_the_configuration_names_file_and_remedy(self):
        with Shop(small_shop(), start=False) as shop, Page(320, 640) as page:
            config = shop.config.read_text(encoding="utf-8")
            shop.config.write_text(config + '\n[unheard_of]\nx = 1\n', encoding="utf-8")
            shop.start()
            for theme in ("light", "dark"):
                self.open(page, shop, f"theme={theme}&language=de")
                page.wait_for_text("#page-list", "tallystick.toml:")
                self.assertTrue(page.text("#page-list .remedy"))
                page.picture(f"faults-320-{theme}")
                self.assertLessEqual(page.run("return document.documentElement.scrollWidth"), 320)


if __name__ == "__main__":
    unittest.main()
