"""What eyes of every kind get from the pages: no colour, another language, a checker of pages, both themes. Data invented."""
import json
import re
import shutil
import sys
import tempfile
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
import axe  # noqa: E402
import states  # noqa: E402
from browser import ROOT, Page, StillDesk, needs_browser, page_addresses  # noqa: E402
from bench import Shop  # noqa: E402
from inspector import Inspector  # noqa: E402
from small_shop import small_shop  # noqa: E402
from terminals import push_line  # noqa: E402

PAGES = ROOT / "daemon" / "pages"


@needs_browser
class GreyScale(unittest.TestCase):
    """The meaning survives without any colour: by word, by shape, by lightness."""

    @classmethod
    def setUpClass(cls):
        cls.desk = StillDesk(states.views())
        cls.addClassCleanup(cls.desk.close)
        cls.page = Page()
        cls.addClassCleanup(cls.page.__exit__)

    def shape(self, state, theme):
        """The verdict's sign as a person without colour vision sees it: a picture of dark and light on its ground."""
        self.page.driver.execute_cdp_cmd("Emulation.setEmulatedVisionDeficiency", {"type": "achromatopsia"})
        self.page.open(self.desk.bench(state, f"theme={theme}"))
        self.page.wait_for_text("#page-value", "")
        self.page.wait_for(lambda: self.page.run("return !!document.querySelector('#page-value .shape')"), "the sign")
        self.page.run("document.querySelector('#page-value').classList.remove('fresh')")
        self.page.frames()
        self.page.picture(f"grey-{state}-{theme}")
        width, height, rows = self.page.pixels("#page-value .shape")
        for row in rows:
            for red, green, blue in row:
                self.assertLessEqual(max(red, green, blue) - min(red, green, blue), 2, "grey")
        ground = rows[0][0][0]
        lit = {(x, y) for y, row in enumerate(rows) for x, pixel in enumerate(row) if abs(pixel[0] - ground) > 60}
        return width, height, lit

    def test_signs_differ_in_shape(self):
        for theme in ("light", "dark"):
            seen = {state: self.shape(state, theme) for state in ("accept", "reject", "size")}
            for state, (width, height, lit) in seen.items():
                self.assertGreater(len(lit), .15 * width * height, (state, theme, "can be seen"))
            names = list(seen)
            for number, one in enumerate(names):
                for other in names[number + 1:]:
                    a, b = seen[one][2], seen[other][2]
                    # Laid on each other, less than 60 in 100 of what either shows is shown by both.
                    self.assertLess(len(a & b) / len(a | b), .6, (one, other, theme))
            # The disc is full in its middle; the square is hollow beside its bar.
            width, height, disc = seen["accept"]
            self.assertIn((width // 2, height // 3), disc)
            self.assertNotIn((width // 2, height // 3), seen["reject"][2])

    def test_words_stand_beside_the_signs(self):
        words = set()
        for language in ("en", "de", "es"):
            for state in ("accept", "reject", "stands", "size"):
                page = self.page.open(self.desk.bench(state, f"language={language}"))
                page.wait_for(lambda: page.text("#page-value .word"), "the verdict's word")
                words.add((language, page.text("#page-value .word")))
        self.assertEqual(len(words), 12)

    def test_marks_on_the_ruler_are_told_apart_by_where_they_stand(self):
        # A rejected value's mark lies outside the limits, an accepted one's inside: test_page_states.py. Here: lightness apart
        # from the paper, in grey.
        for state in ("accept", "reject"):
            self.shape(state, "light")
            colour = self.page.run("return getComputedStyle(document.querySelector('#page-overlay .mark')).stroke")
            self.assertTrue(re.match(r"rgb\(", colour), colour)


@needs_browser
class Languages(unittest.TestCase):
    def test_no_text_comes_from_elsewhere_than_the_language_files(self):
        # A language in which every text is marked: what is shown unmarked must be data of the view.
        folder = tempfile.mkdtemp(prefix="tallystick-pages-")
        self.addCleanup(shutil.rmtree, folder)
        pages = Path(folder) / "pages"
        shutil.copytree(PAGES, pages)
        texts = json.loads((PAGES / "en.json").read_text(encoding="utf-8"))
        marked = {key: "\u27e6" + re.sub(r"\{\w+\}", lambda found: f"\u27e7{found[0]}\u27e6", text) + "\u27e7" if text else "" for key, text in texts.items()}
        (pages / "en.json").write_text(json.dumps(marked), encoding="utf-8")
        views = states.views()
        data = set(re.findall(r"[^\W\d_]{2,}", json.dumps(views, ensure_ascii=False)))
        data |= {"Enter"} | {name.capitalize() for name in data}
        seen = 0
        with StillDeskOf(pages, views) as desk, Page() as page:
            for state in states.STATES:
                page.open(desk.bench(state, "language=en"))
                page.wait_for(lambda: page.run("return document.body.dataset.state"), "the view")
                for opened in ("", "m"):
                    if opened and not page.text("dialog"):  # the question for a plug is open by itself
                        page.keys(opened)
                        page.wait_for(lambda: page.text("dialog"), "the menu")
                    said = page.run("""
                      const out = [...document.querySelectorAll('[aria-label], [placeholder], [title]')].filter((e) => !e.closest('.drawing')).flatMap((e) => ['aria-label', 'placeholder', 'title'].map((n) => e.getAttribute(n))).filter(Boolean);
                      const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
                      while (walk.nextNode()) if (!walk.currentNode.parentElement.closest('noscript, script, #page-drawing')) out.push(walk.currentNode.data);
                      return [document.title, ...out];""")
                    for text in said:
                        seen += text.count("\u27e6")
                        bare = re.sub("\u27e6[^\u27e7]*\u27e7", " ", text)
                        strangers = [word for word in re.findall(r"[^\W\d_]{2,}", bare) if word not in data and word not in ("mm", "in")]
                        self.assertEqual(strangers, [], (state, text))
        self.assertGreater(seen, 1000)

    def test_the_shops_language_and_this_pages_own(self):
        with StillDesk(states.views({"language": "de", "decimal_mark": ","})) as desk, Page() as page:
            page.open(desk.bench("accept", ""))
            page.wait_for_text("#page-value", "gut")
            self.assertIn("32,038", page.text("#page-value"))
            self.assertEqual(page.run("return document.documentElement.lang"), "de")
            page.keys("m")
            page.wait_for_text("dialog", "Sprache")
            page.run("[...document.querySelectorAll('dialog button')].find((b) => b.innerText.includes('Sprache')).click()")
            page.wait_for_text("dialog", "Espa\u00f1ol")
            page.keys("3")
            page.wait_for_text("#page-value", "aceptado")
            self.assertIn("32,038", page.text("#page-value"))  # the mark is the shop's, whatever the language
            for name, address in page_addresses(desk.address, "accept"):
                if name in ("bench", "index", "faults"):
                    page.open(address)  # the other pages follow, and so does this one when it is loaded anew
                    page.wait_for(lambda: page.run("return document.documentElement.lang") == "es", f"Spanish on {name}")
            page.open(desk.address)
            page.wait_for_text(".language", "Idioma")
            page.run("const s = document.querySelector('.language select'); s.value = 'en'; s.dispatchEvent(new Event('change'))")
            page.wait_for_text(".language", "Language")
            self.assertEqual(page.complaints(), [])

    def test_what_the_daemon_refuses_is_said_in_the_pages_language(self):
        with Shop(small_shop()) as shop, Page() as page:
            shop.begin("FB-25", 1, 3)
            shop.take("height-gauge", push_line("30.012"))
            page.open(f"http://{shop.address}/bench/bench-1?language=de")
            page.wait_for_text("#page-actions", "Men\u00fc")
            page.keys("m")
            page.wait_for_text("dialog", "Pr\u00fcfgang beenden")
            page.run("[...document.querySelectorAll('dialog button')].find((b) => b.innerText.includes('Pr\u00fcfgang beenden')).click()")
            page.wait_for_text("#page-toast", "Ein Teil ist begonnen")


class StillDeskOf(StillDesk):
    """Another folder of pages."""

    def __init__(self, pages, views):
        self.pages = pages
        super().__init__(views)


@needs_browser
class EveryPage(unittest.TestCase):
    """Each page of the daemon with a day's record behind it."""

    @classmethod
    def setUpClass(cls):
        cls.hands = Inspector()
        cls.addClassCleanup(cls.hands.__exit__)
        cls.hands.shop.begin("FB-25", 1, 2, stage="in process")
        cls.hands.tools()
        cls.hands.part()
        cls.page = Page()
        cls.addClassCleanup(cls.page.__exit__)
        # The page of the first start is there only while there is no configuration.
        cls.pages = [each for each in page_addresses(f"http://{cls.hands.shop.address}/", "bench-1") if each[0] != "setup"]

    def on_each(self, check):
        for name, address in self.pages:
            for theme in ("light", "dark"):
                for width, height in ((1920, 1080), (320, 640)):
                    with self.subTest(name, theme=theme, width=width):
                        self.page.size(width, height)
                        self.page.open(address)
                        # Pages follow the choice that this browser keeps.
                        self.page.run("localStorage.setItem('theme', arguments[0])", theme)
                        self.page.complaints()  # what was before is no matter here
                        self.page.open(address)
                        self.page.wait_for(lambda: self.page.run("return document.readyState === 'complete' && document.body.innerText.trim().length > 40"), "the page")
                        self.page.wait_for(lambda: self.page.run("return performance.now()") > 700, "its lists")
                        self.page.picture(f"page-{name}-{theme}-{width}")
                        check(theme, width)

    def test_no_complaint_in_the_console_and_no_scrolling_sideways(self):
        def check(theme, width):
            self.assertEqual(self.page.complaints(), [])
            self.assertLessEqual(self.page.run("return document.documentElement.scrollWidth"), width)
            self.assertEqual(self.page.run("return document.documentElement.dataset.theme"), theme)
        self.on_each(check)

    def test_axe_core_finds_nothing(self):
        script, absent = axe.source()
        if absent:
            self.skipTest(absent)
        self.on_each(lambda theme, width: self.assertEqual(axe.findings(self.page, script), []))


@needs_browser
class EveryState(unittest.TestCase):
    def test_axe_core_finds_nothing_in_any_state_of_a_bench(self):
        script, absent = axe.source()
        if absent:
            self.skipTest(absent)
        desk = StillDesk(states.views())
        self.addCleanup(desk.close)
        with Page() as page:
            # That the checker checks: a picture without a name is found.
            page.open(desk.bench("accept"))
            page.wait_for(lambda: page.run("return document.body.dataset.state"), "the view")
            page.run("document.querySelector('main').append(document.createElement('img'))")
            self.assertIn("image-alt", [finding[0] for finding in axe.findings(page, script)])
            for state in states.STATES:
                page.open(desk.bench(state))
                page.wait_for(lambda: page.run("return document.body.dataset.state && document.querySelector('#page-cut').hidden"), "the view")
                for theme in ("light", "dark"):
                    with self.subTest(state, theme=theme):
                        page.run("document.documentElement.dataset.theme = arguments[0]", theme)
                        page.frames()
                        self.assertEqual(axe.findings(page, script), [])
            for key, part in (("m", "Menu"),):
                page.open(desk.bench("accept"))
                page.wait_for(lambda: page.run("return document.body.dataset.state"), "the view")
                page.keys(key)
                page.wait_for_text("dialog", part)
                self.assertEqual(axe.findings(page, script), [])
            page.open(desk.bench("idle"))
            page.wait_for(lambda: page.run("return document.body.dataset.state"), "the view")
            page.keys("\ue007")
            page.wait_for_text("dialog", "Begin a walk")
            self.assertEqual(axe.findings(page, script), [])


if __name__ == "__main__":
    unittest.main()
