# quick: needs no daemon
"""`tallystick verify`, `backup`, `restore` and `confirm-break`, as IT calls them, on the journal of release 0.1.0.

What they answer is held against tests/record/verifier.py, which knows only FORMAT.md and Python's own libraries.
"""
import importlib.util
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", "build/release/bin")) / "tallystick"
RELEASED = ROOT / "tests" / "record" / "releases" / "0.1.0" / "journal.sqlite3"

specification = importlib.util.spec_from_file_location("verifier", ROOT / "tests" / "record" / "verifier.py")
verifier = importlib.util.module_from_spec(specification)
specification.loader.exec_module(verifier)


def run(*arguments):
    done = subprocess.run([str(PROGRAM), *map(str, arguments)], capture_output=True, timeout=60, text=True,
                          stdin=subprocess.DEVNULL)
    return done.returncode, done.stdout, done.stderr


def run_json(*arguments):
    status, out, _ = run(*arguments, "--json")
    return status, json.loads(out)


def tamper(journal, change):
    """With the guards taken away and put back, as somebody with an editor might."""
    database = sqlite3.connect(journal)
    guards = database.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        database.execute(f"DROP TRIGGER {name}")
    assert database.execute(change).rowcount > 0
    for _, sql in guards:
        database.execute(sql)
    database.commit()
    database.close()


class RecordCommands(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)
        self.data = self.folder / "data"

    def restored(self):
        status, answer = run_json("restore", RELEASED, "--data", self.data, "--person", "it one", "--reason", "a test")
        self.assertEqual(status, 0, answer)
        return answer

    def test_verify_agrees_with_the_outsiders_verifier(self):
        wrong, events, facts = verifier.verify(RELEASED)
        self.assertEqual(wrong, [])
        status, answer = run_json("verify", RELEASED)
        self.assertEqual(status, 0)
        self.assertEqual((answer["sound"], answer["events"], answer["facts"]), (True, events, facts))
        self.assertTrue(answer["marked_copy"])
        status, out, err = run("verify", RELEASED)
        self.assertEqual((status, err), (0, ""))
        self.assertIn(answer["last_hash"], out)

    def test_verify_since_an_event(self):
        last = run_json("verify", RELEASED)[1]["last"]
        journal, seq = last.rsplit("-", 1)
        status, answer = run_json("verify", RELEASED, "--since", f"{journal}-{int(seq) - 1}")
        self.assertEqual((status, answer["events"]), (0, 1))
        self.assertEqual(run("verify", RELEASED, "--since", f"{journal}-99999")[0], 2)
        self.assertEqual(run("verify", RELEASED, "--since", "yesterday")[0], 2)

    def test_restore_verify_backup(self):
        answer = self.restored()
        self.assertEqual(Path(answer["file"]), self.data / "journal.sqlite3")
        self.assertEqual(run_json("verify", "--data", self.data)[1]["events"], answer["events"])
        status, copied = run_json("backup", "--data", self.data, self.folder)
        self.assertEqual(status, 0)
        copy = Path(copied["file"])
        self.assertEqual(copy.parent, self.folder)
        self.assertEqual(verifier.verify(copy)[0], [])
        self.assertEqual(copied["last_hash"], answer["last_hash"])
        self.assertEqual([path.name for path in self.folder.glob("*.part*")], [])
        status, out, err = run("backup", "--data", self.data, copy)
        self.assertEqual((status, out), (3, ""))
        self.assertIn("nothing is overwritten", err)

    def test_restore_never_overwrites_and_wants_to_know_who_and_why(self):
        self.restored()
        before = (self.data / "journal.sqlite3").read_bytes()
        status, _, err = run("restore", RELEASED, "--data", self.data, "--person", "it", "--reason", "again")
        self.assertEqual(status, 3)
        self.assertIn("nothing is overwritten", err)
        self.assertEqual((self.data / "journal.sqlite3").read_bytes(), before)
        self.assertEqual(run("restore", RELEASED, "--data", self.folder / "other")[0], 2)
        self.assertFalse((self.folder / "other").exists())

    def test_a_changed_backup_is_found_and_not_restored(self):
        changed = self.folder / "changed.sqlite3"
        shutil.copy(RELEASED, changed)
        tamper(changed, "UPDATE entry SET outcome = replace(outcome, '25.012', '25.002') WHERE seq = 3 AND branch = 1")
        status, answer = run_json("verify", changed)
        self.assertEqual(status, 1)
        self.assertFalse(answer["sound"])
        self.assertEqual({finding["code"] for finding in answer["findings"]}, {"broken_chain", "facts_differ"})
        self.assertTrue(verifier.verify(changed)[0])
        status, _, err = run("restore", changed, "--data", self.data, "--person", "it", "--reason", "a test")
        self.assertEqual(status, 3)
        self.assertIn("changed or damaged", err)
        self.assertFalse((self.data / "journal.sqlite3").exists())

    def test_a_break_is_confirmed_once_and_stays_reported(self):
        self.restored()
        tamper(self.data / "journal.sqlite3", "UPDATE entry SET person = 'other' WHERE branch = 2 AND seq = 2")
        status, answer = run_json("confirm-break", "--data", self.data, "--person", "it one", "--reason", "looked into")
        self.assertEqual(status, 0)
        self.assertEqual(answer["branch"], 3)
        status, report = run_json("verify", "--data", self.data)
        self.assertEqual(status, 1)
        self.assertEqual([finding["confirmed"] for finding in report["findings"]], [True])
        self.assertEqual(run("confirm-break", "--data", self.data, "--person", "it", "--reason", "x")[0], 1)

    def test_what_is_no_journal_is_refused_and_not_touched(self):
        text = self.folder / "text"
        text.write_text("no journal\n" * 50)
        newer = self.folder / "newer.sqlite3"
        shutil.copy(RELEASED, newer)
        database = sqlite3.connect(newer)
        database.execute("PRAGMA user_version = 999")
        database.close()
        for file, code in ((text, "not_a_journal"), (newer, "newer_format"), (self.folder / "absent", "not_a_journal")):
            with self.subTest(file.name):
                before = file.read_bytes() if file.exists() else None
                status, answer = run_json("verify", file)
                self.assertEqual(status, 3)
                self.assertEqual(answer["error"]["code"], code)
                self.assertTrue(answer["error"]["hint"])
                self.assertEqual(file.read_bytes() if file.exists() else None, before)
        self.assertEqual(run("verify")[0], 2)


if __name__ == "__main__":
    unittest.main()
