#!/usr/bin/python3
# quick: no (it compiles)
"""Tests the tests: every planted bug must be caught, or the tests are broken.

The tracked files are copied to a temporary folder, built there once, and then each wrong edit is built and its test
program must fail. Needs what building needs; says "skipped" where that is absent."""

import os
import pathlib
import shutil
import subprocess
import tempfile
import unittest

from bugs import BUGS

ROOT = pathlib.Path(__file__).resolve().parents[2]
TARGETS = sorted({bug["test"] for bug in BUGS})


def run(*command, cwd, limit_s=1500):
    return subprocess.run(command, cwd=cwd, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                          text=True, timeout=limit_s)


def copy_tracked(to):
    listed = subprocess.run(["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=ROOT,
                            capture_output=True, check=True).stdout
    for name in filter(None, listed.decode().split("\0")):
        source = ROOT / name
        if source.is_file() and not name.startswith("tests/replay/"):
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, to / name)


class Planted(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        for tool in ("cmake", "ninja", "g++", "git"):
            if shutil.which(tool) is None:
                raise unittest.SkipTest(f"{tool} is not installed")
        cls.folder = tempfile.TemporaryDirectory(prefix="tallystick-planted-")
        cls.tree = pathlib.Path(cls.folder.name) / "tree"
        cls.tree.mkdir()
        copy_tracked(cls.tree)
        cls.build = cls.tree / "build" / "planted"
        # Unoptimised, no debug information, no warnings: each bug costs one or two files and a link.
        made = run("cmake", "-G", "Ninja", "-B", str(cls.build), "-DCMAKE_BUILD_TYPE=", "-DCMAKE_CXX_FLAGS=-O0 -w",
                   *(["-DCMAKE_CXX_COMPILER_LAUNCHER=ccache"] if shutil.which("ccache") else []), cwd=cls.tree)
        assert made.returncode == 0, made.stdout
        made = cls.make()
        assert made.returncode == 0, made.stdout[-4000:]

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    @classmethod
    def make(cls):
        jobs = str(os.cpu_count() or 2)
        return run("cmake", "--build", str(cls.build), "--target", *TARGETS, "-j", jobs, cwd=cls.tree)

    def test_00_without_a_bug_nothing_fails(self):
        for target in TARGETS:
            ended = run(str(self.build / "tests" / target), cwd=self.tree, limit_s=300)
            self.assertEqual(ended.returncode, 0, ended.stdout[-4000:])


def caught(bug):
    def test(self):
        path = self.tree / bug["file"]
        sound = path.read_text()
        self.assertEqual(sound.count(bug["old"]), 1, f"{bug['file']}: the place of this bug has changed; plant it anew")
        try:
            path.write_text(sound.replace(bug["old"], bug["new"]))
            made = self.make()
            self.assertEqual(made.returncode, 0, "the planted bug must compile\n" + made.stdout[-3000:])
            # A comma in doctest's filter parts two filters: any letter may stand there instead.
            ended = run(str(self.build / "tests" / bug["test"]), "--no-colors", "-tc=" + bug["case"].replace(",", "?"),
                        cwd=self.tree, limit_s=300)
            self.assertNotEqual(ended.returncode, 0, f"NOT caught: {bug['name']}\n{ended.stdout[-2000:]}")
            self.assertIn(bug["case"], ended.stdout, "failed, but not in the case that should see it")
            print("caught:", bug["name"])
        finally:
            path.write_text(sound)
            os.utime(path)
    return test


for number, planted in enumerate(BUGS, 1):
    setattr(Planted, f"test_{number:02}_" + "_".join(planted["name"].split()), caught(planted))

if __name__ == "__main__":
    unittest.main(verbosity=2)
