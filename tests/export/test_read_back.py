# quick: needs no daemon
"""`tallystick export`, read back by Python's csv and json (outside libraries), against a journal that test_export wrote."""
import csv
import io
import json
import os
import re
import subprocess
import tempfile
import unittest
from pathlib import Path

BIN = Path(os.environ.get("TALLYSTICK_BIN", "build/release/bin"))
PROGRAM = BIN / "tallystick"
WRITER = BIN.parent / "tests" / "test_export"


def plain(cell):
    """As EXPORT.md says it."""
    return re.sub(r"(^|[;\t\r\n])'", r"\1", cell)


class ReadBack(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.temporary = tempfile.TemporaryDirectory()
        cls.addClassCleanup(cls.temporary.cleanup)
        cls.folder = Path(cls.temporary.name)
        subprocess.run([WRITER, "--no-skip", "-tc=write a journal for the readers outside"], check=True,
                       stdout=subprocess.DEVNULL, env=dict(os.environ, TALLYSTICK_JOURNAL=str(cls.folder)), timeout=60)

    def export(self, *arguments, status=0):
        done = subprocess.run([PROGRAM, "export", "--data", self.folder / "data", *map(str, arguments)],
                              capture_output=True, timeout=60)
        self.assertEqual(done.returncode, status, done.stderr)
        return done.stdout, done.stderr.decode()

    def cursor(self, error):
        return re.search(r"^cursor: (\S+)$", error, re.M)[1]

    def test_csv_holds_what_json_lines_hold(self):
        table, said = self.export()
        objects, said_again = self.export("--format", "jsonl")
        self.assertEqual(said, said_again)
        rows = list(csv.DictReader(io.StringIO(table.decode("utf-8"), newline=""), strict=True))
        facts = [json.loads(line) for line in objects.decode("utf-8").splitlines()]
        self.assertEqual(len(rows), 375)
        self.assertEqual(len(facts), 375)
        for row, fact in zip(rows, facts):
            self.assertEqual(list(row), list(fact))
            for name, value in fact.items():
                written = str(int(value)) if isinstance(value, (bool, int)) else value
                self.assertEqual(plain(row[name]), written, name)

    def test_no_cell_is_a_formula(self):
        table, _ = self.export()
        found = 0
        for row in csv.reader(io.StringIO(table.decode("utf-8"), newline=""), strict=True):
            for cell in row:
                if re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", cell):
                    continue
                self.assertNotRegex(cell, r"\A[\s\"]*[=+\-@\t\r]")
                found += cell.startswith("'")
        self.assertGreater(found, 300)  # the journal is full of names that would be formulas
        self.assertIn(b",-0.012,", table)

    def test_the_same_bytes_again_and_the_rest_behind_the_cursor(self):
        whole, said = self.export()
        self.assertEqual(self.export()[0], whole)
        end = self.cursor(said)
        header = whole[:whole.index(b"\r\n") + 2]
        self.assertEqual(self.export("--after", end)[0], header)
        self.assertEqual(self.export("--until", end)[0], whole)

    def test_a_night_job_resumes_from_its_cursor_file(self):
        kept, out = self.folder / "night.cursor", self.folder / "night.csv"
        arguments = ["--cursor-file", kept, "--output", out]
        self.assertEqual(self.export(*arguments), (b"", ""))
        whole = out.read_bytes()
        self.assertEqual(whole, self.export()[0])
        first = kept.read_text()
        self.export(*arguments)
        self.assertEqual(out.read_bytes(), whole[:whole.index(b"\r\n") + 2])  # nothing new
        self.assertEqual(kept.read_text(), first)
        self.assertEqual(sorted(p.name for p in self.folder.glob("night*")), ["night.csv", "night.cursor"])

    def test_a_failed_export_leaves_file_and_cursor_alone(self):
        kept, out = self.folder / "old.cursor", self.folder / "old.csv"
        out.write_text("kept")
        self.export("--output", out, "--cursor-file", self.folder / "no-such-folder" / "c", status=3)
        self.export("--output", self.folder / "no-such-folder" / "x", "--cursor-file", kept, status=3)
        self.assertFalse(kept.exists())
        kept.write_text("c1-rubbish\n")
        self.export("--output", out, "--cursor-file", kept, status=2)
        self.assertEqual(kept.read_text(), "c1-rubbish\n")

    def test_what_cannot_be_understood_is_said(self):
        for arguments, status, word in (
                (["--format", "xml"], 2, "csv or jsonl"), (["--from", "yesterday"], 2, "2026-11-25"),
                (["--after", "7"], 2, "cursor"), (["--kind", "thing"], 2, "result, mark"),
                (["--after", "c1-0123456789abcdef0123456789abcdef-9-1"], 3, "")):
            with self.subTest(arguments):
                out, said = self.export(*arguments, status=status)
                self.assertEqual(out, b"")
                self.assertIn(word, said)
        done = subprocess.run([PROGRAM, "export"], capture_output=True, timeout=20)
        self.assertEqual(done.returncode, 2)
        done = subprocess.run([PROGRAM, "export", "--data", self.folder / "none"], capture_output=True, timeout=20)
        self.assertEqual(done.returncode, 3)


if __name__ == "__main__":
    unittest.main()
