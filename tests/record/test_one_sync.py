# quick: needs no daemon
"""Exactly one fdatasync a commit, counted from outside by strace: no clock, no trust in our own counters."""
import os
import re
import shutil
import subprocess
import tempfile
import unittest
from pathlib import Path

PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", "build/release/bin")).parent / "tests" / "test_record"
CASE = "commit fifty events one at a time*"


def strace_works():
    if shutil.which("strace") is None:
        return "there is no strace"
    tried = subprocess.run(["strace", "-f", "-o", os.devnull, "true"], capture_output=True, stdin=subprocess.DEVNULL)
    return None if tried.returncode == 0 else "strace may not trace here (ptrace is not allowed)"


class OneSync(unittest.TestCase):
    def test_fifty_commits_take_fifty_syncs_of_the_wal_and_no_other(self):
        if reason := strace_works():
            self.skipTest(reason)
        with tempfile.TemporaryDirectory() as folder:
            trace = Path(folder) / "trace"
            done = subprocess.run(
                ["strace", "-f", "-y", "-o", trace, "-e", "trace=fsync,fdatasync,sync_file_range,msync,syncfs,sync,write",
                 PROGRAM, "--no-skip", f"-tc={CASE}"],
                env={**os.environ, "TALLYSTICK_SYNC_FOLDER": folder}, capture_output=True, timeout=120,
                stdin=subprocess.DEVNULL)
            self.assertEqual(done.returncode, 0, done.stdout.decode())
            lines = trace.read_text(errors="replace").splitlines()
        begin = next(index for index, line in enumerate(lines) if "fifty begin" in line)
        end = next(index for index, line in enumerate(lines) if "fifty end" in line)
        # A call that another thread interrupts stands in two lines; only its beginning counts.
        syncs = [line for line in lines[begin:end]
                 if re.search(r"\b(fsync|fdatasync|sync_file_range|msync|syncfs|sync)\(", line) and "resumed" not in line]
        self.assertEqual(len(syncs), 50, "\n".join(syncs[:60]))
        for line in syncs:
            self.assertRegex(line, r"fdatasync\(\d+<.*journal\.sqlite3-wal>")


if __name__ == "__main__":
    unittest.main()
