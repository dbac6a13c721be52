"""The bench page against the real daemon: driven by gauge bytes, also where nobody ever touched it. All data invented."""
import sys
import time
import unittest
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
from bench import Shop  # noqa: E402
from browser import Page, needs_browser  # noqa: E402
from inspector import Inspector, good_size  # noqa: E402
from small_shop import good_value, small_shop  # noqa: E402
from terminals import push_line  # noqa: E402

FEATURES = 12
# Runs before the page's own scripts: every event of a hand on the page is counted.
COUNT_TOUCHES = """window.touches = 0; for (const kind of ['keydown', 'pointerdown', 'mousedown', 'touchstart', 'click'])
  addEventListener(kind, () => { ++window.touches; }, true);"""


def open_page(page, shop, bench="bench-1"):
    page.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": COUNT_TOUCHES})
    page.open(f"http://{shop.address}/bench/{bench}?theme=light")
    page.wait_for(lambda: page.run("return document.body.dataset.state"), "the view")
    return page


@needs_browser
class RealPage(unittest.TestCase):
    def test_a_page_that_nobody_touched_is_enough_to_measure_by(self):
        with Shop(small_shop()) as shop, Page() as page:
            open_page(page, shop)
            self.assertIn("Begin a walk", page.text("#page-do"))
            lot, _ = shop.begin("FB-25", 1, 2)
            page.wait_for_text("#page-head", "part 1")
            # From here on this page is the only display: what counts was told by it alone.
            shop.displays.pop("bench-1").close()
            sent = []
            for press in range(2 * FEATURES):
                gauge, feature = self.what_the_page_asks_for(page)
                value = good_value(feature)[:-1] + str(press % 10)
                shop.press(gauge, push_line(value))
                page.wait_for_text("#page-value", value)
                self.assertIn("accept", page.text("#page-value"))
                sent.append(value)
            page.wait_for_text("#page-do", "No part is left")
            self.assertEqual(page.run("return window.touches"), 0)
            self.assertEqual(page.complaints(), [])
            rows, _, _ = shop.export_csv(lot=lot)
            results = [row for row in rows if row["kind"] == "result"]
            self.assertEqual([Decimal(row["value"]) for row in results], [Decimal(value) for value in sent])

    def what_the_page_asks_for(self, page):
        """(gauge, feature) by the words on the page: what a person at the bench knows."""
        how, title = page.text("#page-how"), page.text("#page-do")
        gauge = how.split(":")[0].lower()
        names = {"Overall length": "length", "Outside diameter": "outside-diameter", "Bore": "bore", "Flange diameter": "flange-diameter",
                 "Flange thickness": "flange-thickness", "Seat length under the flange": "seat-length", "Grease groove, width": "groove-width",
                 "Grease groove, depth": "groove-depth"}
        feature = names.get(title) or "bolt-hole-" + title.split()[2]
        return gauge, feature

    def test_a_reject_is_said_and_once_more_it_stands(self):
        with Shop(small_shop()) as shop, Page() as page:
            open_page(page, shop)
            shop.begin("FB-25", 1, 2)
            page.wait_for_text("#page-do", "Overall length")
            shop.take("height-gauge", push_line("30.112"))
            page.wait_for_text("#page-value", "reject")
            self.assertIn("30.112", page.text("#page-value"))
            self.assertIn("0.012 mm too large \u00b7 material left", page.text("#page-value"))
            self.assertIn("press once more", page.text("#page-how"))
            shop.take("height-gauge", push_line("30.112"))
            page.wait_for_text("#page-value", "reject, stands")
            page.wait_for_text("#page-head", "part held")
            self.assertNotIn("Overall length", page.text("#page-do"))

    def test_a_part_of_another_size_in_the_hand(self):
        with Shop(small_shop()) as shop, Page() as page:
            open_page(page, shop)
            shop.begin("FB-25", 1, 2)
            page.wait_for_text("#page-do", "Overall length")
            shop.take("height-gauge", push_line("32.003"), "held")
            page.wait_for_text("#page-do", "This fits FB-25L")
            self.assertIn("31.9 to 32.1", page.text("#page-value"))
            shop.take("height-gauge", push_line("30.012"))
            page.wait_for_text("#page-value", "accept")

    def test_a_gauge_that_is_pulled_out_and_put_in_again(self):
        with Shop(small_shop()) as shop, Page() as page:
            open_page(page, shop)
            shop.begin("FB-25", 1, 2)
            page.wait_for_text("#page-do", "Overall length")
            shop.terminals.all["height-gauge"].unplug()
            page.wait_for_text("#page-gauges", "height-gauge: lost since")
            self.assertIn("is lost since", page.text("#page-how"))
            shop.terminals.all["height-gauge"].plug()
            page.wait_for(lambda: "lost" not in page.text("#page-gauges"), "the gauge's return")
            page.wait_for_text("#page-do", "Overall length")

    def test_the_daemon_is_killed_and_the_page_comes_back_by_itself(self):
        with Shop(small_shop()) as shop, Page() as page:
            # The same port again, as an installed daemon has it.
            open_page(page, shop)
            port = shop.address.rsplit(":", 1)[1]
            shop.begin("FB-25", 1, 2)
            shop.take("height-gauge", push_line("30.012"))
            page.wait_for_text("#page-value", "30.012")
            shop.kill()
            page.wait_for_text("#page-cut", "Not connected")
            config = shop.config.read_text(encoding="utf-8").replace("port = 0", f"port = {port}", 1)
            shop.config.write_text(config, encoding="utf-8")
            shop.start()
            page.wait_for(lambda: page.text("#page-cut") == "", "the connection")
            page.wait_for_text("#page-head", "part 1")
            if page.run("return document.body.dataset.state") == "resumed":
                self.assertIn("30.012", page.text("#page-do"))
                page.keys("\ue007")
            page.wait_for_text("#page-how", "press its button")
            gauge, feature = self.what_the_page_asks_for(page)
            page.wait_for(lambda: shop.view().get("state") == "step", "the step")
            shop.take(gauge, push_line(good_value(feature)))
            page.wait_for_text("#page-value", good_value(feature))

    def test_a_walk_of_the_demo_shop_begun_at_the_page(self):
        with Inspector() as hands, Page() as page:
            shop = hands.shop
            shop.publish()
            open_page(page, shop)
            page.picture("real-idle")
            page.wait_for_text("#page-do", "press")  # gauges are due on their masters, and no walk is active
            self.assertIn("ring", page.text("#page-gauges"))
            hands.set_gauges()
            page.wait_for_text("#page-value", "set: good")
            page.wait_for(lambda: "set on" not in page.text("#page-gauges"), "the settings' end")
            page.picture("real-set")
            page.keys("\ue007")
            page.wait_for_text("dialog", "Begin a walk")
            page.run("""const s = document.querySelector('dialog [name=size]');
                        s.value = [...s.options].find((o) => o.value.includes('/FB-25/')).value; s.dispatchEvent(new Event('change'))""")
            for name, text in (("lot_name", "26-118"), ("last", "60"), ("heat", "H-2261"), ("machine", "lathe 3"), ("program", "P 118")):
                field = page.find(f"dialog [name={name}]")
                field.clear()
                field.send_keys(text)
            page.picture("real-start")
            page.find("dialog .main-button").click()
            page.wait_for_text("#page-head", "lot 26-118")
            page.wait_for(lambda: page.run("return !!document.querySelector('#page-drawing svg')"), "the drawing")
            hands.tools()
            page.wait_for(lambda: page.text("dialog") == "", "the question for plugs to go")
            lots = shop.get("/api/v1/lots")
            self.assertEqual([(lot["lot_name"], lot["size"], lot["heat"], lot["machine"]) for lot in lots], [("26-118", "FB-25", "H-2261", "lathe 3")])
            # One part, as the page shows it: every edge that a step names is in the drawing.
            edges = set()
            for number in range(40):
                view = shop.view()
                if view["state"] not in ("step", "setting") or view["walk"]["serial"] != 1:
                    break
                edge = view["step"].get("edge")
                if edge:
                    page.wait_for(lambda: page.run("return document.querySelector('#page-drawing .now')?.id") in (f"drawn-{edge}", f"drawn-edge-{edge}"),
                                  f"the strong edge {edge}")
                    edges.add(edge)
                page.picture(f"real-step-{number}")
                last = hands.step()["last"]
                if last["kind"] == "reading" and last["what"] == "counted" and shop.view()["state"] in ("step", "setting"):
                    page.wait_for_text("#page-value", last["sent"]["value"].lstrip("+") if last["sent"]["unit"] == last["unit"] and not last["gauge"].startswith("bore") else "mm")
            self.assertGreaterEqual(len(edges), 8, edges)
            self.assertEqual(shop.view()["walk"]["done"], 1)
            self.assertEqual(page.complaints(), [])

    def test_the_page_shows_a_verdict_soon_after_the_press(self):
        # The figure is the page's own part of the way, on a machine that does other things too: a bound against
        # mistakes (a poll, a wait), not a measurement.
        with Shop(small_shop()) as shop, Page() as page:
            open_page(page, shop)
            shop.begin("FB-25", 1, 5)
            page.wait_for_text("#page-do", "Overall length")
            times = []
            for _ in range(10):
                gauge, feature = self.what_the_page_asks_for(page)
                before = page.text("#page-do")
                page.run("""window.seen = 0; const place = document.querySelector('#page-value');
                            new MutationObserver((_, me) => { window.seen ||= Date.now(); me.disconnect(); }).observe(place, { childList: true, subtree: true, characterData: true });""")
                begun = time.time() * 1000
                shop.press(gauge, push_line(good_value(feature)))
                page.wait_for(lambda: page.run("return window.seen"), "the value")
                times.append(page.run("return window.seen") - begun)
                page.wait_for(lambda: page.text("#page-do") != before, "the next step")
            self.assertLess(sorted(times)[len(times) // 2], 500, times)


if __name__ == "__main__":
    unittest.main()
