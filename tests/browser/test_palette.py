"""The colours of the pages, computed: contrast, distance for every kind of colour vision, and where they come from."""
# quick: needs no daemon
import re
import unittest
from itertools import combinations
from pathlib import Path

from colours import as_seen, channels, contrast, distance, lab, luminance

SHEET = (Path(__file__).resolve().parents[2] / "daemon" / "pages" / "look.css").read_text(encoding="utf-8")


def palette(block):
    """name -> "#rrggbb" of the first rule whose selector ends so."""
    return dict(re.findall(r"--([\w-]+): (#[0-9A-Fa-f]{6})", re.search(re.escape(block) + r" \{(.*?)\n\s*\}", SHEET, re.S)[1]))


THEMES = {"light": palette("\n:root"), "dark": palette('\n:root[data-theme="dark"]')}
GROUNDS = ("paper", "raised", "metal")


class Palette(unittest.TestCase):
    def test_the_means_of_this_test(self):
        # Contrast of black on white: WCAG 2.2. Distances: Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula" (2005), table 1
        # (pairs 1, 17, 21 and 34), from memory.
        self.assertAlmostEqual(contrast("#000000", "#ffffff"), 21, places=6)
        for one, other, wanted in (((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425), ((50, 2.5, 0), (73, 25, -18), 27.1492),
                                   ((50, 2.5, 0), (50, 3.2592, 0.3350), 1.0000), ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082)):
            self.assertAlmostEqual(distance(one, other), wanted, places=4)
        for name, seen in as_seen().items():
            for grey in ("#000000", "#808080", "#ffffff"):  # who lacks a kind of cone sees greys as they are
                self.assertLess(distance(lab(seen(channels(grey))), lab(channels(grey))), 1.2, (name, grey))
        # And it tells apart what is told apart and mixes up what is mixed up: pure red and a dark green for who lacks the red cone.
        red, green = channels("#a04000"), channels("#606000")
        seen = as_seen()["protanopia (Vienot)"]
        self.assertLess(distance(lab(seen(red)), lab(seen(green))), distance(lab(red), lab(green)) / 2)

    def test_verdicts_are_of_the_published_set(self):
        # Okabe and Ito, "Color Universal Design" (2008): blue 0 114 178, sky blue 86 180 233, vermilion 213 94 0.
        blue, sky, vermilion = "#%02X%02X%02X" % (0, 114, 178), "#%02X%02X%02X" % (86, 180, 233), "#%02X%02X%02X" % (213, 94, 0)
        self.assertEqual((THEMES["light"]["accept"].upper(), THEMES["light"]["reject"].upper(), THEMES["dark"]["accept"].upper(), THEMES["dark"]["reject"].upper()), (blue, vermilion, sky, vermilion))

    def test_both_ways_to_the_dark_theme_are_alike(self):
        asked_for = dict(re.findall(r"--([\w-]+): (#[0-9A-Fa-f]{6})", re.search(r'prefers-color-scheme: dark\) \{(.*?)\n\}', SHEET, re.S)[1]))
        self.assertEqual(asked_for, THEMES["dark"])
        self.assertEqual(set(THEMES["light"]), set(THEMES["dark"]))

    def test_text_can_be_read(self):
        # Success criterion 1.4.3: 4.5 to 1.
        for theme, colours in THEMES.items():
            for text in ("ink", "soft", "accept-text", "reject-text", "neutral"):
                for ground in GROUNDS:
                    self.assertGreaterEqual(contrast(colours[text], colours[ground]), 4.5, (theme, text, ground))

    def test_signs_can_be_seen(self):
        # Success criterion 1.4.11: 3 to 1 for what carries a meaning.
        for theme, colours in THEMES.items():
            for sign in ("accept", "reject", "neutral", "ink", "soft"):
                for ground in GROUNDS:
                    self.assertGreaterEqual(contrast(colours[sign], colours[ground]), 3, (theme, sign, ground))

    def test_verdicts_differ_for_every_kind_of_colour_vision(self):
        # 1 is just noticeable side by side; 15 and more are clearly two colours (common practice, no source).
        for theme, colours in THEMES.items():
            for name, seen in as_seen().items():
                for one, other in combinations(("accept", "reject", "neutral"), 2):
                    apart = distance(lab(seen(channels(colours[one]))), lab(seen(channels(colours[other]))))
                    self.assertGreaterEqual(apart, 15, (theme, name, one, other))
                for text in ("accept-text", "reject-text"):
                    self.assertGreaterEqual(distance(lab(seen(channels(colours[text]))), lab(seen(channels(colours["ink"])))), 15, (theme, name, text))

    def test_verdicts_differ_in_lightness_too(self):
        # So that a grey screen still shows two greys; what it means is said by shape and word (test_page_eyes.py).
        for theme, colours in THEMES.items():
            accept, reject = luminance(channels(colours["accept"])), luminance(channels(colours["reject"]))
            self.assertGreater(abs(accept - reject) / max(accept, reject), .25, theme)


if __name__ == "__main__":
    unittest.main()
