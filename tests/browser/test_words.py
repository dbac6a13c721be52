"""Every word that the pages ask for is there, and everything that the daemon may say has one."""
# quick: needs no daemon
import json
import re
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGES = ROOT / "daemon" / "pages"
WORDS = json.loads((PAGES / "en.json").read_text(encoding="utf-8"))
SCRIPTS = {path.name: path.read_text(encoding="utf-8") for path in PAGES.glob("*.js")}
VIEW = (ROOT / "daemon" / "walk" / "VIEW.md").read_text(encoding="utf-8")


def codes(after, until):
    """The words in backticks of VIEW.md between two places."""
    start = VIEW.index(after) + len(after)
    return re.findall(r"`([a-z_]+)`", VIEW[start:VIEW.index(until, start)])


class Words(unittest.TestCase):
    def test_what_the_scripts_name_is_there(self):
        for name, text in SCRIPTS.items():
            for key in re.findall(r"""\bt\(\s*"([^"]+)\"""", text):
                self.assertIn(key, WORDS, name)

    def test_every_word_is_used(self):
        whole = "".join(SCRIPTS.values())
        made = [prefix for prefix in re.findall(r"[`\"]([a-z_]+(?:\.[a-z_]+)*)\.\$\{", whole)] + re.findall(r'\bword\("([a-z]+)"', whole)
        for key in WORDS:
            used = f'"{key}"' in whole or any(key.startswith(prefix + ".") for prefix in made)
            self.assertTrue(used or key in ("language",), key)

    def test_placeholders_are_given_in_every_language_alike(self):
        for path in PAGES.glob("??.json"):
            other = json.loads(path.read_text(encoding="utf-8"))
            for key, text in other.items():
                self.assertIn(key, WORDS, path.name)
                self.assertEqual(set(re.findall(r"\{(\w+)\}", text)), set(re.findall(r"\{(\w+)\}", WORDS[key])), (path.name, key))

    def test_what_the_three_actions_do_has_words(self):
        does = codes("`does`: ", "`reasons`: list")
        self.assertGreater(len(does), 15)
        for code in does:
            self.assertIn(f"does.{code}", WORDS)

    def test_holds_have_a_sentence_and_a_way_out(self):
        soft, hard = codes("soft: ", "hard: "), codes("hard: ", " |")
        self.assertIn("size", soft)
        self.assertIn("setup_not_released", hard)
        for code in soft + hard:
            for kind in ("do.hold", "how.hold"):
                self.assertTrue(f"{kind}.{code}" in WORDS or any(key.startswith(f"{kind}.{code}.") for key in WORDS), f"{kind}.{code}")

    def test_why_a_setting_is_due_has_words(self):
        for code in ["never_set"] + codes("`why`: `never_set`", "|"):
            self.assertIn(f"why.{code}", WORDS)

    def test_tones_have_patterns(self):
        tones = codes("`tone`: ", " |")
        self.assertGreater(len(tones), 8)
        for tone in tones:
            self.assertRegex(SCRIPTS["sound.js"], rf"(?m)^  {tone}: \[")

    def test_no_inline_script_or_style(self):
        for path in PAGES.glob("*.html"):
            text = path.read_text(encoding="utf-8")
            self.assertNotRegex(text, r"<style|\sstyle=|\son[a-z]+=|<script(?![^>]*\ssrc=)", path.name)
            self.assertNotRegex(text, r'(?:src|href)="(?:https?:)?//', path.name)


if __name__ == "__main__":
    unittest.main()
