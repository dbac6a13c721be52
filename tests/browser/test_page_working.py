"""Derived results on the bench page: beside the reading that completed them, each with its own verdict, and how the number was
made one key away. All data invented."""
import unittest

import states
from browser import Page, StillDesk, needs_browser


@needs_browser
class Working(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = StillDesk(states.views())
        cls.page = Page()

    @classmethod
    def tearDownClass(cls):
        cls.page.__exit__()
        cls.desk.close()

    def open(self, state):
        self.page.open(self.desk.bench(state, "theme=light"))
        self.page.wait_for(lambda: self.page.text("#page-do"), "the view")

    def test_each_derived_result_stands_with_its_own_verdict(self):
        self.open("derived")
        lines = self.page.run("return [...document.querySelectorAll('.derived')].map((each) => [each.dataset.feature, each.textContent, !!each.querySelector('svg')])")
        self.assertEqual([line[0] for line in lines], ["bolt-circle", "bolt-position"])
        self.assertIn("52.00850", lines[0][1])          # two digits more than the print, said to be shortened
        self.assertIn("\u2248", lines[0][1])
        self.assertIn("accept", lines[0][1])
        self.assertIn("reject", lines[1][1])
        self.assertTrue(all(line[2] for line in lines))

    def test_the_working_is_one_key_away_and_goes_again(self):
        self.open("derived")
        self.page.keys("w")
        self.page.wait_for(lambda: self.page.run("return !!document.querySelector('dialog.panel')"), "the working")
        text = self.page.text("dialog.panel")
        for part in ("How was this number made", "bolt circle diameter", "26.0042515635", "52.008503127", "51.900 to 52.100 mm", "At most 0.200 mm"):
            self.assertIn(part.lower(), text.lower())
        self.page.keys("n")                              # not good closes, as everywhere
        self.page.wait_for(lambda: not self.page.run("return !!document.querySelector('dialog.panel')"), "the page alone")

    def test_where_nothing_was_derived_the_key_does_nothing(self):
        self.open("accept")
        self.page.keys("w")
        self.assertFalse(self.page.run("return !!document.querySelector('dialog.panel')"))
        self.assertFalse(self.page.run("return !!document.querySelector('[data-act=working]')"))


if __name__ == "__main__":
    unittest.main()
