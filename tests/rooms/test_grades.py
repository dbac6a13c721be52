# quick: needs no daemon
"""Each dialect and each driver has a file that says how far it has come; here every word of it is held against the facts."""
import json
import re
import tomllib
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LAYERS = ("base", "sound", "whole", "best")
DIALECT_RULES = {
    "base": {"states_its_unit", "three_logs", "refuses_the_others"},
    "sound": {"ways_of_bytes", "unplug", "echo", "double_send", "silence_limit", "trouble"},
    "whole": {"recorded", "offered", "texts_translated", "fuzzed"},
    "best": {"two_devices", "timing", "pictures"},
}
DRIVER_RULES = {
    "base": {"example", "guide", "a_reading_whole"},
    "sound": {"lost_and_back", "held_by_another", "cut_in_a_frame", "nothing_leaks", "trouble"},
    "whole": {"end_to_end", "fuzzed", "texts_translated", "on_real_hardware"},
    "best": {"two_devices", "figures", "pictures"},
}


def content(path):
    return (ROOT / path).read_text(encoding="utf-8", errors="replace")


def dialects():
    return sorted(path.name.removesuffix(".dialect.toml") for path in (ROOT / "config/dialects").glob("*.dialect.toml"))


def drivers():
    return sorted(re.findall(r'Row\{"([a-z0-9-]+)"', content("drivers/ports/drivers.cpp")))


def grades(path):
    return tomllib.loads(content(path))


def reached(file):
    grade = "none"
    for layer in LAYERS:
        if any(word.startswith("open") for word in file[layer].values()):
            break
        grade = layer
    return grade


class Graded(unittest.TestCase):
    def check_words(self, path, rules):
        file = grades(path)
        self.assertEqual(set(file) - set(LAYERS), {"grade", "trouble"}, path)
        for layer in LAYERS:
            self.assertEqual(set(file[layer]), rules[layer], f"{path} [{layer}]")
            for rule, word in file[layer].items():
                self.assertRegex(word, r"^(done(: .+)?|exempt: .{8,}|open: .{8,})$", f"{path} {rule}")
        self.assertEqual(file["grade"], reached(file), path)
        self.assertNotEqual(file["grade"], "none", path)
        for one in file["trouble"]:
            self.assertEqual(set(one), {"symptom", "cause", "remedy"}, path)
            self.assertTrue(all(len(text) >= 8 for text in one.values()), path)
        return {rule: word for layer in LAYERS for rule, word in file[layer].items()}

    def told(self, path, rule, word, fact):
        """`done` wherever the fact holds, and nowhere else; an exemption may stand where it does not hold."""
        self.assertEqual(word.startswith("done"), bool(fact), f"{path}: {rule} = {word}")


class Dialects(Graded):
    def test_every_dialect_has_one_and_it_is_true(self):
        self.assertEqual(dialects(), sorted(p.name.removesuffix(".grades.toml") for p in (ROOT / "config/dialects").glob("*.grades.toml")))
        replay, words = content("tests/replay/replay.cpp"), json.loads(content("daemon/pages/en.json"))
        for name in dialects():
            path = f"config/dialects/{name}.grades.toml"
            with self.subTest(name):
                rules = self.check_words(path, DIALECT_RULES)
                dialect = tomllib.loads(content(f"config/dialects/{name}.dialect.toml"))
                logs = {p.stem: p.read_text() for p in (ROOT / "tests/replay" / name).glob("*.log")}
                heads = [dict(line.split(": ", 1) for line in log.split("\n\n")[0].splitlines() if ": " in line) for log in logs.values()]
                unit = dialect.get("unit", {})
                self.told(path, "states_its_unit", rules["states_its_unit"],
                          "unit" in unit or unit.get("in_frame") or "modbus" in dialect)
                self.told(path, "three_logs", rules["three_logs"],
                          {"good", "garbage", "cut"} <= {re.split(r"[-0-9]", log)[0] for log in logs} and
                          all("shown" in head for head in heads))
                # The replay tests take every folder of logs through every way bytes can come, and to every other dialect.
                self.told(path, "refuses_the_others", rules["refuses_the_others"], "same_shape_as" in replay and logs)
                self.told(path, "ways_of_bytes", rules["ways_of_bytes"],
                          all(way in replay for way in ("byte by byte", "random splits", "garbage", "cut at every byte")))
                self.told(path, "unplug", rules["unplug"], any(len(re.findall(r"^\d+ open$", log, re.M)) > 1 for log in logs.values()))
                for rule, log in (("echo", "echo"), ("double_send", "double")):
                    self.told(path, rule, rules[rule], log in logs)
                self.told(path, "silence_limit", rules["silence_limit"], dialect.get("talk", {}).get("speaks") == "streams")
                self.told(path, "recorded", rules["recorded"], any(head.get("source", "invented") != "invented" for head in heads))
                self.told(path, "trouble", rules["trouble"], len(grades(path)["trouble"]) >= 2)
                # What a page says of a refused frame has a text in every language (tests/browser/test_words.py holds them equal).
                self.told(path, "texts_translated", rules["texts_translated"], "frame.not_mine" in words)
                self.told(path, "fuzzed", rules["fuzzed"], self.fuzzed(dialect))

    @staticmethod
    def fuzzed(dialect):
        kind = next((kind for section, kind in (("binary", "binary"), ("columns", "fixed"), ("modbus", "modbus"))
                     if section in dialect), "line")
        return re.search(rf"^\s*target\({kind}\b", content("tests/fuzz/CMakeLists.txt"), re.M)


class Drivers(Graded):
    def test_every_driver_has_one_and_it_is_true(self):
        self.assertEqual(drivers(), sorted(p.name.removesuffix(".grades.toml") for p in (ROOT / "drivers/ports").glob("*.grades.toml")))
        example, guide = content("config/tallystick.toml"), content("config/gauge-guide.md")
        for name in drivers():
            path = f"drivers/ports/{name}.grades.toml"
            with self.subTest(name):
                rules = self.check_words(path, DRIVER_RULES)
                self.told(path, "example", rules["example"], name == "serial" or f'driver = "{name}"' in example)
                self.told(path, "guide", rules["guide"], name == "serial" or f'"{name}"' in guide or f'`{name}`' in guide)
                self.told(path, "trouble", rules["trouble"], len(grades(path)["trouble"]) >= 2)
                for rule, word in rules.items():
                    if not word.startswith("done: "):
                        continue
                    # "file: words of it": a test's name, a key of the example.
                    file, words = word.removeprefix("done: ").split(": ", 1)
                    self.assertIn(words, re.sub(r'"\s*\n\s*"', "", content(file)), f"{path}: {rule}")
                for rule in ("a_reading_whole", "lost_and_back", "cut_in_a_frame", "nothing_leaks", "end_to_end", "fuzzed", "held_by_another"):
                    self.assertNotEqual(rules[rule], "done", f"{path}: {rule} names no test")


class Lessons(unittest.TestCase):
    """The table of DEVELOPERS.md that says which test holds which lesson."""

    def test_every_test_that_is_named_is_there(self):
        rows = re.findall(r"^\| (\d+) \| (.+?) \| (.+) \|$", content("DEVELOPERS.md"), re.M)
        self.assertEqual([int(number) for number, _, _ in rows], list(range(1, 29)))
        named = 0
        for number, _, held in rows:
            for file, words in re.findall(r"`([\w/.-]+/[\w/.-]+)`(?:: ([^;|(.`]*[^;|(.` ]))?", held):
                with self.subTest(lesson=number, file=file):
                    self.assertTrue((ROOT / file).exists())
                    if words and (ROOT / file).is_file():
                        named += 1
                        self.assertIn(words.strip(), re.sub(r'"\s*\n\s*"', "", content(file)))
        self.assertGreater(named, 25)


if __name__ == "__main__":
    unittest.main()
