"""The records page against the real daemon: lists, filters, a part's whole history, and a download that holds exactly what is
shown. All data invented."""
import csv
import io
import sys
import time
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
from bench import Refused, Shop  # noqa: E402
from browser import Page, needs_browser  # noqa: E402
from inspector import Inspector  # noqa: E402
from small_shop import good_value, small_shop  # noqa: E402
from terminals import push_line  # noqa: E402

REASON = "gauge slipped"


def rows(page):
    return page.run("return [...document.querySelectorAll('#page-rows tr')].map((row) => row.dataset.key)")


def fact_keys(data):
    return [f"{row['journal']}-{row['seq']}/{row['n']}" for row in csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""))]


def one_part(shop, size_of=good_value):
    """Every step of the part in hand."""
    serial = shop.wait_for(lambda view: view["state"] == "step")["walk"]["serial"]
    while True:
        view = shop.view()
        if view["state"] != "step" or view["walk"]["serial"] != serial:
            return
        shop.take(view["step"]["gauges"][0]["id"], push_line(size_of(view["step"]["feature"])))


@needs_browser
class RecordsPage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.shop = Shop(small_shop())
        cls.addClassCleanup(cls.shop.close)
        cls.page = Page(1024, 768)
        cls.addClassCleanup(cls.page.__exit__)
        shop = cls.shop
        shop.begin("FB-25", 1, 3, lot_name="L-1")
        shop.take("height-gauge", push_line("32.003"), "held")        # a stray FB-25L
        shop.take("height-gauge", push_line("30.112"))                # reject
        shop.take("height-gauge", push_line("30.113"))                # stands
        one_part(shop)
        shop.take("height-gauge", push_line("30.010"))
        shop.act("again", reason=REASON)                              # retake
        shop.wait_for(lambda view: view["last"]["what"] == "retake")
        one_part(shop)
        shop.command("park")
        shop.wait_for(lambda view: not view.get("walk"))
        shop.open_lot("FB-25L", 2, lot_name="L-2")
        [lot] = [each["key"] for each in shop.get("/api/v1/lots") if each["lot_name"] == "L-2"]
        shop.begin_walk(lot)
        one_part(shop, lambda feature: {"length": "32.012", "seat-length": "26.010"}.get(feature) or good_value(feature))

    def open(self, query="", ready="return document.body.dataset.ready"):
        self.page.open(f"http://{self.shop.address}/records?theme=light{query}")
        self.page.wait_for(lambda: self.page.run(ready), "the records")

    def download(self, form):
        href = self.page.run(f"return document.querySelector('#page-{form}').getAttribute('href')")
        status, _, data = self.shop.request("GET", href)
        self.assertEqual(status, 200, data)
        return data

    def test_walks_newest_first(self):
        self.open()
        table = self.page.text("#page-list")
        self.assertEqual(len(rows(self.page)), 2)
        self.assertLess(table.index("L-2"), table.index("L-1"))
        self.page.picture("records-walks")
        self.open("&lot=L-1")
        self.assertEqual(len(rows(self.page)), 1)
        self.assertIn("1\u20133", self.page.text("#page-rows"))
        self.open("&verdict=reject")
        self.assertEqual(len(rows(self.page)), 1)

    def test_parts_by_verdict(self):
        self.open("&view=parts")
        self.assertEqual(len(rows(self.page)), 3)
        self.open("&view=parts&verdict=reject")
        self.assertEqual(len(rows(self.page)), 1)
        self.assertIn("part 1", self.page.text("#page-rows"))

    def test_filters_are_set_by_the_keyboard(self):
        self.open("&view=facts")
        before = len(rows(self.page))
        self.page.run("document.body.dataset.ready = ''")
        self.page.find("[name=lot]").send_keys("L-2\ue007")
        self.page.wait_for(lambda: "lot=L-2" in self.page.driver.current_url and self.page.run("return document.body.dataset.ready"), "the filtered list")
        self.assertLess(len(rows(self.page)), before)
        self.assertEqual({row[0] for row in self.shop.journal("SELECT DISTINCT lot_name FROM fact WHERE seq IN (" + ",".join(
            key.rsplit("-", 1)[1].split("/")[0] for key in rows(self.page)) + ")")}, {"L-2"})

    def test_the_download_is_what_is_shown(self):
        for query in ("", "&lot=L-1", "&verdict=reject", "&feature=length&as_of_now=1", "&from=2020-01-01T00:00", "&serial=2"):
            with self.subTest(query):
                self.open("&view=facts" + query)
                shown = rows(self.page)
                self.assertTrue(shown)
                self.assertEqual(fact_keys(self.download("csv")), shown[::-1])
                self.assertEqual(len(self.download("jsonl").splitlines()), len(shown))
        self.open("&view=facts&to=2020-01-01T00:00")
        self.assertEqual(rows(self.page), [])
        self.assertEqual(fact_keys(self.download("csv")), [])

    def test_what_comes_meanwhile_is_not_in_the_download(self):
        self.open("&view=facts")
        shown = rows(self.page)
        gauge = self.shop.wait_for(lambda view: view["state"] == "step")["step"]
        values = {"length": "32.012", "seat-length": "26.010"}
        self.shop.take(gauge["gauges"][0]["id"], push_line(values.get(gauge["feature"]) or good_value(gauge["feature"])))
        self.assertEqual(fact_keys(self.download("csv")), shown[::-1])
        self.open("&view=facts")
        self.assertEqual(len(rows(self.page)), len(shown) + 1)

    def test_a_parts_history_leaves_nothing_out(self):
        [part] = {row[0] for row in self.shop.journal("SELECT DISTINCT part FROM fact WHERE lot_name = 'L-1' AND serial = '1'")}
        self.open(f"&view=history&part={part}")
        text = self.page.text("#page-list")
        for said in ("held hold: fits another size fits FB-25L", "32.003 mm", "sent 24.020 mm", "30.112 mm", "+0.012", "stands", "reject", "edition 1", "29.9 \u2026 30.1"):
            self.assertIn(said, text)
        # Every reading that the journal has of this part's time, in order.
        events = [f"{journal}-{seq}" for journal, seq, kind, _, _ in self.shop.entries("reading")][:3 + 11]
        shown = self.page.run("return [...document.querySelectorAll('tr[data-what]')].map((row) => row.dataset.key)")
        self.assertEqual([key for key in events if key not in shown], [])
        self.page.picture("records-part")
        self.assertEqual(self.page.complaints(), [])

    def test_a_retake_and_what_it_overrules(self):
        [part] = {row[0] for row in self.shop.journal("SELECT DISTINCT part FROM fact WHERE lot_name = 'L-1' AND serial = '2'")}
        self.open(f"&view=history&part={part}")
        text = self.page.text("#page-list")
        self.assertIn("retake: open again", text)
        self.assertIn(REASON, text)
        self.assertIn("overruled by", text)
        self.assertIn("overrules", text)

    def test_a_walks_history(self):
        self.open("&lot=L-1")
        self.page.find("#page-rows a").click()
        self.page.wait_for(lambda: "view=history" in self.page.driver.current_url and self.page.run("return document.body.dataset.ready"), "the history")
        self.assertIn("walk parked", self.page.text("#page-list"))
        self.assertIn("part 2", self.page.text("#page-list"))

    def test_what_is_not_there_is_said(self):
        self.open("&view=history&part=nonsense")
        self.assertIn("no such part", self.page.text("#page-say"))
        self.page.driver.get_log("browser")  # the refused request stands in the console

    def test_nothing_is_cut_off(self):
        [part] = {row[0] for row in self.shop.journal("SELECT DISTINCT part FROM fact WHERE lot_name = 'L-1' AND serial = '1'")}
        for width, height, theme in ((320, 640, "light"), (1024, 768, "dark"), (1920, 1080, "light")):
            self.page.size(width, height)
            for name, query in (("walks", ""), ("facts", "&view=facts"), ("history", f"&view=history&part={part}")):
                self.page.open(f"http://{self.shop.address}/records?theme={theme}&language=de{query}")
                self.page.wait_for(lambda: self.page.run("return document.body.dataset.ready"), "the records")
                self.page.picture(f"records-{name}-{width}-{theme}")
                self.assertLessEqual(self.page.run("return document.documentElement.scrollWidth"), width, (name, width))
        self.page.size(1024, 768)


@needs_browser
def set_aside(shop, reading):
    """The view that the command names may be one event behind the one before: then it is refused, and said again."""
    for _ in range(50):
        try:
            return shop.command("set_aside", reading=reading, reason=REASON)
        except Refused as refused:
            if refused.code != "moved_on":
                raise
            time.sleep(0.1)
    raise AssertionError("the walk moves on and on")


class Suspects(unittest.TestCase):
    def test_a_suspect_and_what_cleared_it_stand_in_the_history(self):
        with Inspector(void_on=["power", "person"]) as hands, Page(1024, 768) as page:
            shop, gauge = hands.shop, "bore-gauge-20-30"
            shop.command("state_person", touch=False, person="R. Field")
            hands.set_gauges()
            shop.begin("FB-25", 1, 2, "after finish")
            hands.tools()
            while not shop.journal("SELECT 1 FROM fact WHERE feature = 'bore' AND kind = 'result'"):
                hands.step()
            [(part, readings, own)] = shop.journal("SELECT part, readings, branch.journal || '-' || seq FROM fact JOIN branch ON branch.number = fact.branch "
                                                   "WHERE feature = 'bore' AND kind = 'result'")
            # A new person: the gauge is due, and its ring reads 25.006 twice. Set again, the bore is measured anew.
            # (Parked: in the middle of a part the gauges at it go on within their grace.)
            [walk] = [row[0] for row in shop.journal("SELECT DISTINCT walk FROM fact WHERE feature = 'bore'")]
            shop.command("park")
            shop.wait_for(lambda view: not view.get("walk"))
            shop.command("state_person", touch=False, person="M. Lind")
            shop.wait_for(lambda view: any(due["gauge"] == gauge for due in view["settings_due"]))
            for shown in ("25.006", "25.006", "25.002"):
                hands.press(gauge, shown, "setting")
            self.assertEqual(len(shop.get("/api/v1/suspects")), 1)
            hands.set_gauges()
            shop.command("take_up", walk=walk)
            shop.wait_for(lambda view: view["state"] == "resumed")
            shop.act("good")
            shop.wait_for(lambda view: view["state"] == "step")
            for reading in readings.replace("this", own).split():  # `this`: the event that gave the fact
                set_aside(shop, reading)
            while shop.get("/api/v1/suspects"):
                hands.step()
            page.open(f"http://{shop.address}/records?view=history&part={part}&theme=light")
            page.wait_for(lambda: page.run("return document.body.dataset.ready"), "the history")
            text = page.text("#page-list")
            for said in ("suspect", "cleared", "marked by", "overruled by", "reading on the master", "walk parked", "set aside"):
                self.assertIn(said, text)
            result, suspect, again, cleared = shop.journal("SELECT seq, n FROM fact WHERE feature = 'bore' ORDER BY seq, n")
            row = page.text(f"#fact-{suspect[0]}-{suspect[1]}")
            self.assertIn(f"marks {result[0]}/{result[1]}", row)
            self.assertIn(f"overruled by {cleared[0]}/{cleared[1]}", row)
            self.assertIn(f"overruled by {again[0]}/{again[1]}", page.text(f"#fact-{result[0]}-{result[1]}"))
            page.picture("records-suspect")
            self.assertEqual(page.complaints(), [])


if __name__ == "__main__":
    unittest.main()
