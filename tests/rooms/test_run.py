# quick: needs no daemon
"""The runner itself: what crashes, hangs, says nothing or runs nothing is never a pass."""
import json
import subprocess
import sys
import tempfile
import time
import unittest
from pathlib import Path

RUN = Path(__file__).resolve().parent.parent / "run.py"
SUMMARY = "[doctest] test cases: {} | {} passed | {} failed | 0 skipped"


class Programs(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.build = Path(folder.name)
        (self.build / "tests").mkdir()

    def program(self, name, *lines):
        path = self.build / "tests" / f"test_pretend_{name}"
        path.write_text("#!/bin/sh\n" + "\n".join(lines) + "\n")
        path.chmod(0o755)

    def says(self, text, status=0):
        return (f"cat <<'END'\n{text}\nEND", f"exit {status}")

    def run_all(self, *arguments):
        done = subprocess.run([sys.executable, str(RUN), "--build", str(self.build), *arguments, "pretend"],
                              capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL)
        lines = done.stdout.splitlines()
        return done.returncode, lines[-1], done.stdout

    def test_cases_are_added_up(self):
        self.program("a", *self.says(SUMMARY.format(3, 3, 0)))
        self.program("b", *self.says(SUMMARY.format(40, 40, 0)))
        status, last, out = self.run_all()
        self.assertEqual((status, last), (0, "43 passed, 0 failed, 0 skipped"))
        self.assertIn("test_pretend_a: 3 passed, 0 failed, 0 skipped", out)

    def test_a_failing_case_shows_its_output(self):
        self.program("a", *self.says("here is why\n" + SUMMARY.format(3, 2, 1), 1))
        status, last, out = self.run_all()
        self.assertEqual((status, last), (1, "2 passed, 1 failed, 0 skipped"))
        self.assertIn("here is why", out)

    def test_a_crash_is_a_failure_even_after_its_summary(self):
        self.program("a", "echo no summary", "kill -SEGV $$")
        self.program("b", *self.says(SUMMARY.format(3, 3, 0), 23))
        status, last, out = self.run_all()
        self.assertEqual((status, last), (1, "3 passed, 2 failed, 0 skipped"))
        self.assertIn("SIGSEGV", out)
        self.assertIn("exit status 23", out)

    def test_no_case_is_a_failure(self):
        self.program("a", *self.says(SUMMARY.format(0, 0, 0)))
        self.assertEqual(self.run_all()[:2], (1, "0 passed, 1 failed, 0 skipped"))

    def test_no_program_is_a_failure(self):
        self.assertEqual(self.run_all()[:2], (1, "0 passed, 1 failed, 0 skipped"))

    def test_a_skip_is_no_pass(self):
        self.program("a", *self.says("[skip] the broker: none is installed\n" + SUMMARY.format(3, 3, 0)))
        status, last, out = self.run_all()
        self.assertEqual((status, last), (0, "2 passed, 0 failed, 1 skipped"))
        self.assertIn("none is installed", out)

    def test_what_hangs_is_ended_with_its_children(self):
        self.program("a", "sleep 300 & echo child $!", "sleep 300")
        started = time.monotonic()
        status, last, out = self.run_all("--limit", "1")
        self.assertLess(time.monotonic() - started, 30)
        self.assertEqual((status, last), (1, "0 passed, 1 failed, 0 skipped"))
        self.assertIn("it hung", out)
        child = out.split("child ")[1].split()[0]
        state = Path(f"/proc/{child}/stat")
        self.assertTrue(not state.exists() or state.read_text().split(") ")[1][0] == "Z")

    def test_standard_input_is_closed(self):
        self.program("a", "read line && exit 9", *self.says(SUMMARY.format(1, 1, 0)))
        self.assertEqual(self.run_all()[0], 0)


class PythonFiles(unittest.TestCase):
    def counted(self, body):
        with tempfile.TemporaryDirectory() as folder:
            path, report = Path(folder) / "test_pretend.py", Path(folder) / "report.json"
            path.write_text("import unittest\n" + body)
            done = subprocess.run([sys.executable, "-B", str(RUN), "--one", str(path), "--report", str(report)],
                                  capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL)
            found = json.loads(report.read_text())
            return done.returncode, found["passed"], found["failed"], found["skipped"]

    def test_each_test_counts_once(self):
        status, passed, failed, skipped = self.counted(
            "class T(unittest.TestCase):\n"
            "  def test_a(self): pass\n"
            "  def test_b(self):\n"
            "    for i in range(3):\n"
            "      with self.subTest(i): self.assertEqual(i, 0)\n"
            "  def test_c(self): self.skipTest('no broker')\n"
            "  def test_d(self):\n"
            "    with self.subTest('part'): self.skipTest('no browser')\n"
            "  @unittest.expectedFailure\n"
            "  def test_e(self): pass\n")
        self.assertEqual((status, passed, failed), (1, 1, 2))
        self.assertEqual(sorted(skipped.values()), ["no broker", "no browser"])

    def test_what_cannot_be_imported_fails(self):
        self.assertEqual(self.counted("import nothing_of_that_name\n"), (1, 0, 1, {}))

    def test_a_set_up_that_fails_fails(self):
        status, passed, failed, _ = self.counted(
            "class T(unittest.TestCase):\n"
            "  @classmethod\n"
            "  def setUpClass(cls): raise OSError\n"
            "  def test_a(self): pass\n")
        self.assertEqual((status, passed, failed), (1, 0, 1))


if __name__ == "__main__":
    unittest.main()
