"""`tallystick check`, `register` and `checklist` on copies of the demo shop's configuration."""
# quick: needs no daemon
import json
import os
import shutil
import subprocess
import tempfile
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build/release/bin")) / "tallystick"


def run(*arguments):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, stdin=subprocess.DEVNULL)


@unittest.skipUnless(PROGRAM.exists(), f"{PROGRAM} is not built")
class Configuration(unittest.TestCase):
    def setUp(self):
        self.folder = Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)
        shutil.copytree(ROOT / "config", self.folder / "config")
        self.demo = self.folder / "config/demo"
        self.family = self.demo / "fb.family.toml"
        self.table = self.demo / "fb.sizes.csv"

    def change(self, file, before, after):
        text = file.read_text()
        self.assertIn(before, text)
        file.write_text(text.replace(before, after, 1))

    def bytes_of_all(self):
        return {path: path.read_bytes() for path in sorted(self.demo.rglob("*")) if path.is_file()}

    def test_a_sound_configuration_is_good_and_stays_as_it_is(self):
        before = self.bytes_of_all()
        for source in (self.demo, self.demo / "tallystick.toml"):
            done = run("check", source)
            self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        answer = json.loads(run("check", self.demo, "--json").stdout)
        self.assertTrue(answer["sound"])
        self.assertEqual(len(answer["sizes"]), 10)
        self.assertEqual(self.bytes_of_all(), before)

    def test_every_fault_of_every_file_with_line_and_remedy(self):
        self.change(self.demo / "tallystick.toml", 'theme = "system"', 'theme = "systen"')
        self.change(self.family, 'plus_minus = "flange_tolerance"', 'plus_minus = "flange_tolerence"')
        self.change(self.table, "FB-40,A,FB-40-A,mm,40", "FB-40,A,FB-40-A,mm,4o")
        before = self.bytes_of_all()
        done = run("check", self.demo, "--json")
        self.assertEqual(done.returncode, 1)
        found = {(fault["file"], fault["line"], fault["code"]): fault for fault in json.loads(done.stdout)["faults"]}
        line = {file: next(number for number, text in enumerate(file.read_text().splitlines(), 1) if word in text)
                for file, word in ((self.demo / "tallystick.toml", "systen"), (self.family, "flange_tolerence"),
                                   (self.table, ",4o,"))}
        keys = [(file.name, line[file], code) for file, code in
                ((self.demo / "tallystick.toml", "unknown_word"), (self.family, "unknown_column"),
                 (self.table, "not_a_decimal"))]
        self.assertEqual(sorted(found), sorted(keys))
        self.assertEqual(found[keys[1]]["remedy"], 'did you mean "flange_tolerance"?')
        self.assertEqual(self.bytes_of_all(), before)

    def test_what_cannot_be_read_is_not_understood(self):
        self.assertEqual(run("check", self.folder / "nowhere").returncode, 2)
        self.assertEqual(run("checklist", "show", self.folder / "nowhere.family.toml").returncode, 2)

    def test_the_register_is_listed(self):
        answer = json.loads(run("register", self.demo, "--json").stdout)
        self.assertIn("micrometer-25-50", [gauge["id"] for gauge in answer["gauges"]])
        self.assertIn("receiver", [port["id"] for port in answer["ports"]])
        self.assertIn("bore-gauge-20-30", run("register", self.demo).stdout)

    def test_a_size_is_one_new_row_and_the_rest_stays_byte_for_byte(self):
        old = self.table.read_bytes()
        done = run("checklist", "add-size", self.family, "size=FB-36", "print_revision=A", "part_number=FB-36-A",
                   "bore=36", "outside=45", "length=42", "--like", "FB-32", "--after", "FB-32")
        self.assertEqual(done.returncode, 0, done.stderr)
        lines = self.table.read_text().splitlines(keepends=True)
        row = next(index for index, line in enumerate(lines) if line.startswith("FB-36,"))
        self.assertTrue(lines[row - 1].startswith("FB-32,"))
        self.assertEqual("".join(lines[:row] + lines[row + 1:]).encode(), old)
        compared = run("checklist", "compare", ROOT / "config/demo", self.demo, "--json")
        self.assertEqual(compared.returncode, 1)
        self.assertEqual([json.loads(line)["size"] for line in compared.stdout.splitlines() if
                          json.loads(line)["differences"]], ["FB-36"])

    def test_a_faulty_size_writes_nothing(self):
        old = self.table.read_bytes()
        for cells in (["size=FB-37", "bore=3x"], ["size=FB-25"], ["size=FB-37", "bor=37"],
                      ["size=FB-37", "outside_lower_deviation=0.5"]):
            done = run("checklist", "add-size", self.family, *cells, "--like", "FB-25")
            self.assertNotEqual(done.returncode, 0, cells)
            self.assertEqual(self.table.read_bytes(), old)
        done = run("checklist", "add-size", self.family, "size=FB-37", "--like", "FB-25", "--dry-run")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(self.table.read_bytes(), old)

    def test_a_table_with_crlf_and_no_last_line_end_is_kept_so(self):
        old = self.table.read_text().rstrip("\n").replace("\n", "\r\n").encode()
        self.table.write_bytes(old)
        done = run("checklist", "add-size", self.family, "size=FB-37", "length=33", "--like", "FB-25")
        self.assertEqual(done.returncode, 0, done.stderr)
        new = self.table.read_bytes()
        self.assertTrue(new.startswith(old + b"\r\nFB-37,"))
        self.assertTrue(new.endswith(b"\r\n"))

    def test_compare_tells_what_changed_in_which_size(self):
        self.change(self.table, "FB-25,C,FB-25-C,mm,25,,,32,0.026,0.042,30,0.1",
                    "FB-25,C,FB-25-C,mm,25,,,32,0.026,0.042,30,0.2")
        done = run("checklist", "compare", ROOT / "config/demo", self.demo)
        self.assertEqual(done.returncode, 1)
        self.assertIn("length, upper: 30.10 -> 30.20", done.stdout)
        self.assertNotIn("FB-25L", done.stdout)
        self.assertEqual(run("checklist", "compare", self.demo, self.demo).returncode, 0)

    def test_show_prints_the_bytes_that_would_be_published(self):
        one = run("checklist", "show", self.demo, "--size", "FB-25", "--json").stdout.strip()
        self.assertEqual(json.loads(one)["size"], "FB-25")
        kept = self.folder / "edition.json"
        kept.write_text(one)
        self.assertEqual(run("checklist", "show", kept, "--json").stdout.strip(), one)
        self.assertEqual(run("checklist", "show", self.demo, "--size", "FB-24").returncode, 1)


if __name__ == "__main__":
    unittest.main()
