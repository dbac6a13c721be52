"""The bench page and a pedal that the daemon reads: what there is to choose is opened by the page. All data invented."""
import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
from browser import Page, needs_browser  # noqa: E402
from test_page_real import open_page  # noqa: E402
from test_typing import PlayedShop, typing_shop  # noqa: E402


@needs_browser
class Pedal(unittest.TestCase):
    def test_what_a_pedal_cannot_do_is_said_and_what_it_asks_is_opened(self):
        with PlayedShop(typing_shop()) as shop, Page() as page:
            open_page(page, shop)
            shop.begin("FB-25", 1, 2)
            page.wait_for_text("#page-do", "Overall length")
            shop.displays.pop("bench-1").close()  # the page is the only display
            shop.settle()
            shop.devices.type("event3", "30.012")
            page.wait_for_text("#page-value", "30.012")

            shop.pedal("f13")  # good means nothing where a gauge pushes
            page.wait_for_text("#page-toast", "no meaning now")

            shop.pedal("f15")  # again: two reasons, the page asks
            page.wait_for(lambda: page.run("return [...document.querySelectorAll('dialog[open] button')].length >= 2"), "the reasons")
            shop.devices.type("event3", "24.020")  # the gauge goes on meanwhile
            page.wait_for_text("#page-value", "24.020")
            self.assertEqual(page.run("return window.touches"), 0)
            self.assertEqual(page.complaints(), [])

    def test_a_pedal_alone_chooses_the_reason_of_a_retake(self):
        with PlayedShop(typing_shop()) as shop, Page() as page:
            open_page(page, shop)
            shop.begin("FB-25", 1, 2)
            page.wait_for_text("#page-do", "Overall length")
            shop.displays.pop("bench-1").close()
            shop.settle()
            shop.devices.type("event3", "30.012")
            page.wait_for_text("#page-value", "30.012")
            shop.pedal("f15")
            page.wait_for(lambda: page.run("return [...document.querySelectorAll('dialog[open] button')].length >= 2"), "the reasons")
            shop.pedal("f13")
            page.wait_for_text("#page-do", "Overall length")
            page.wait_for(lambda: [body.get("reason") for body, _ in shop.acts()] == ["part or gauge was not clean"], "the retake")

    def test_good_without_a_walk_opens_what_there_is_to_begin(self):
        with PlayedShop(typing_shop()) as shop, Page() as page:
            open_page(page, shop)
            page.wait_for_text("#page-do", "Begin a walk")
            shop.settle("pedal")
            shop.pedal("f13")
            page.wait_for(lambda: page.run("return !!document.querySelector('dialog[open]')"), "the choice of a walk")


if __name__ == "__main__":
    unittest.main()
