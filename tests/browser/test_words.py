"""Every word that the pages ask for is there, and everything that the daemon may say has one."""
# quick: needs no daemon
import html.parser
import json
import re
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGES = ROOT / "daemon" / "pages"
WORDS = json.loads((PAGES / "en.json").read_text(encoding="utf-8"))
LANGUAGES = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in PAGES.glob("??.json")}
SCRIPTS = {path.name: path.read_text(encoding="utf-8") for path in PAGES.glob("*.js")}
VIEW = (ROOT / "daemon" / "walk" / "VIEW.md").read_text(encoding="utf-8")


def codes(after, until):
    """The words in backticks of VIEW.md between two places."""
    start = VIEW.index(after) + len(after)
    return re.findall(r"`([a-z_]+)`", VIEW[start:VIEW.index(until, start)])


KEY_NAMES = {"Enter", "Escape", "Tab", "Backspace"}  # of the keyboard event's standard
# What follows these is for the machine: selectors, names of classes, paths, keys of words.
NO_TEXT_AFTER = (r"(?:class|className)(?:\s*[:=]|[^\n]*\?)[^\n]*$|(?:querySelector(?:All)?|closest\??\.?|matches|matchMedia|classList\.\w+|getAttribute|"
                 r"setAttribute|addEventListener|from|import|includes)\s*\(?\s*$|\bbad = $|\bd: $|stages = \[[^\]]*$|preserveAspectRatio\", $")


def literals(script):
    """(content, what stands before it on its line) of every string of a script; comments are left out."""
    token = re.compile(r"""//[^\n]*|/\*.*?\*/|(?<=[(,=:\[!&|?{};\n]\s)/(?![*/])(?:\\.|\[[^\]]*\]|[^/\\\n])+/|"((?:\\.|[^"\\\n])*)"|`((?:\\.|[^`\\])*)`""", re.S)
    for found in token.finditer(script):
        content = found[1] if found[1] is not None else found[2]
        if content is None:
            continue
        before = script[script.rfind("\n", 0, found.start()) + 1:found.start()]
        # Of a template only what stands between its values, and the strings within those.
        for part in re.split(r"\$\{[^{}]*(?:\{[^{}]*\}[^{}]*)*\}", content):
            yield part, before


class Texts(html.parser.HTMLParser):
    """The texts of a page, and those for readers without scripts, by language."""

    def __init__(self):
        super().__init__()
        self.texts, self.without_scripts, self.keys = [], [], []
        self.inside, self.language = [], None

    def handle_starttag(self, tag, attributes):
        named = dict(attributes)
        self.keys += [named[name] for name in ("data-text", "data-label") if name in named]
        self.texts += [named[name] for name in ("aria-label", "title", "placeholder", "alt") if named.get(name)]
        if tag not in ("meta", "link", "img", "input", "br", "hr"):
            self.inside.append(tag)
            self.language = named.get("lang", self.language)

    def handle_endtag(self, tag):
        if tag in self.inside:
            del self.inside[len(self.inside) - 1 - self.inside[::-1].index(tag):]

    def handle_data(self, data):
        if data.strip() and not {"script", "style"} & set(self.inside):
            (self.without_scripts.append(self.language) if "noscript" in self.inside else self.texts.append(data.strip()))


class Words(unittest.TestCase):
    def test_what_the_scripts_name_is_there(self):
        for name, text in SCRIPTS.items():
            for key in re.findall(r"""\bt\(\s*"([^"]+)\"""", text):
                self.assertIn(key, WORDS, name)

    def test_every_word_is_used(self):
        whole = "".join(SCRIPTS.values()) + "".join(path.read_text(encoding="utf-8") for path in PAGES.glob("*.html"))
        made = [prefix for prefix in re.findall(r"[`\"]([a-z_]+(?:\.[a-z_]+)*)\.\$\{", whole)] + re.findall(r'\b(?:word|why)\("([a-z]+)"', whole)
        for key in WORDS:
            used = f'"{key}"' in whole or any(key.startswith(prefix + ".") for prefix in made)
            self.assertTrue(used, key)

    def test_every_language_has_every_text_with_the_same_placeholders(self):
        self.assertEqual(set(LANGUAGES), {"en", "de", "es"})
        for language, texts in LANGUAGES.items():
            self.assertEqual(set(texts), set(WORDS), language)
            for key, text in texts.items():
                self.assertEqual(set(re.findall(r"\{(\w+)\}", text)), set(re.findall(r"\{(\w+)\}", WORDS[key])), (language, key))
                self.assertEqual(bool(text), bool(WORDS[key]), (language, key))
                self.assertEqual(text, text.strip(), (language, key))

    def test_a_language_is_not_another_one_copied(self):
        for language in ("de", "es"):
            same = [key for key, text in LANGUAGES[language].items() if text == WORDS[key] and len(re.findall("[A-Za-z]{3,}", re.sub(r"\{\w+\}", "", text))) > 1]
            self.assertEqual(same, [], language)

    def test_the_configuration_takes_each_language(self):
        reader = (ROOT / "daemon" / "shop" / "config_reader.cpp").read_text(encoding="utf-8")
        named = re.search(r'table\.word\("language", \{([^}]*)\}', reader)[1]
        self.assertEqual(set(re.findall(r'"(\w+)"', named)), set(LANGUAGES))
        self.assertEqual(set(re.findall(r'"(\w+)"', re.search(r"languages = \[([^\]]*)\]", SCRIPTS["words.js"])[1])), set(LANGUAGES))

    def test_no_text_stands_in_a_page_outside_the_language_files(self):
        for path in PAGES.glob("*.html"):
            page = Texts()
            page.feed(path.read_text(encoding="utf-8"))
            # The program's name is no text; what a page says without scripts stands in it in every language.
            self.assertLessEqual(set(page.texts), {"Tallystick"}, path.name)
            self.assertIn(set(page.without_scripts), (set(), set(LANGUAGES)), path.name)
            for key in page.keys:
                self.assertIn(key, WORDS, path.name)

    def test_no_text_stands_in_a_script_outside_the_language_files(self):
        classes = set(re.findall(r"\.([a-z][\w-]*)", "".join(path.read_text(encoding="utf-8") for path in PAGES.glob("*.css"))))
        for name, text in SCRIPTS.items():
            for literal, before in literals(text):
                # A code of the daemon that has a word for it is no text; nor are names of classes.
                if re.search(NO_TEXT_AFTER, before) or set(literal.split()) <= classes | KEY_NAMES or any(key.endswith(f".{literal}") for key in WORDS if literal):
                    continue
                self.assertNotRegex(literal, r"(?<![\w.#\[-])[A-Za-z]{2,}[,:;]? [A-Za-z]{2,}(?![\w-]*[=\]])|^[A-Z][a-z]+[.:!?]?$", (name, before[-60:]))
                self.assertNotRegex(before, r"(?:textContent|innerText|innerHTML|\btitle|alt|placeholder)\s*(?:=|:)\s*$|[\"']?aria-label[\"']?\s*:\s*$", (name, literal))

    def test_what_the_daemon_may_refuse_has_words(self):
        for path in [*(ROOT / "daemon" / "walk").glob("decide*.cpp"), ROOT / "daemon" / "walk" / "draft.cpp", ROOT / "daemon" / "walk" / "desk.cpp"]:
            for code in re.findall(r'\bfail\("([a-z_]+)"', path.read_text(encoding="utf-8")):
                # Said only to programs, or only by pages with words of their own for it.
                if code not in ("unknown_command", "unchanged", "unknown_family", "unknown_edition", "cannot_read_checkpoint", "cannot_read_outcome"):
                    self.assertIn(f"problem.{code}", WORDS, path.name)
        writer = (ROOT / "daemon" / "record" / "writer.cpp").read_text(encoding="utf-8")
        codes_kept = re.findall(r'return \{false, "([a-z_]+)"', writer[writer.index("Keeping keeping_of"):])
        trust = re.findall(r'return \{false, "([a-z_]+)"', (ROOT / "drivers" / "ports" / "clock_trust.cpp").read_text(encoding="utf-8"))
        self.assertGreaterEqual(len(codes_kept), 4)
        self.assertGreaterEqual(len(trust), 3)
        for key in [f"keeping.{code}" for code in codes_kept] + [f"clock.{code}" for code in trust]:
            self.assertIn(key, WORDS)

    def test_roles_of_the_configuration_have_words(self):
        reader = (ROOT / "daemon" / "shop" / "config_reader.cpp").read_text(encoding="utf-8")
        for role in re.findall(r'"(\w+)"', re.search(r'word\("role", \{([^}]*)\}', reader)[1]):
            self.assertIn(f"role.{role}", WORDS)

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
