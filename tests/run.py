#!/usr/bin/python3
"""Runs the tests of a built tree and adds up their cases.

    tests/run.py [--build build/release] [--quick] [--sanitize] [NAME ...]

Test programs are build/<preset>/tests/test_* (doctest; its cases are counted) and tests/*/test_*.py (unittest). Each
runs in a process group of its own, without standard input and with a time limit; what it leaves running is ended.
NAME picks those whose name contains it. Tests find the programs of the build in the environment: TALLYSTICK_BIN.

Labels:
  heavy     the programs in HEAVY; left out by --quick
  quick     a Python file with a line "# quick: needs no daemon"; the others are left out by --quick
--sanitize runs the test programs only, without faults (the daemon's own tests run in the other build).

A case that finds something absent is skipped, never passed: unittest's skip, or in a doctest case a line
"[skip] <case>: <what is absent>" on standard output before it returns.
"""
import argparse
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HEAVY = {"test_simulated", "test_faults"}
NOT_UNDER_SANITIZERS = {"test_faults"}
LIMIT_S = {"doctest": 300, "heavy": 1500, "python": 2400}
SANITIZER_FACTOR = 4
QUICK_LABEL = "# quick: needs no daemon"
SHOWN_LINES = 400

SUMMARY = re.compile(r"^\[doctest\] test cases:\s*(\d+)\s*\|\s*(\d+) passed\s*\|\s*(\d+) failed\s*\|\s*(\d+) skipped", re.M)
SKIP_LINE = re.compile(r"^\[skip\] (.+)$", re.M)


class Counts:
    def __init__(self, passed=0, failed=0, skipped=0, notes=()):
        self.passed, self.failed, self.skipped = passed, failed, skipped
        self.notes = list(notes)

    def __str__(self):
        return f"{self.passed} passed, {self.failed} failed, {self.skipped} skipped"


def run_bounded(command, log, limit_s, environment):
    """Exit status, or None when the time limit ended it. All output goes to `log`."""
    with open(log, "wb") as out:
        process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT,
                                   env=environment, start_new_session=True)
        try:
            return process.wait(timeout=limit_s)
        except subprocess.TimeoutExpired:
            return None
        finally:
            try:
                os.killpg(process.pid, signal.SIGKILL)  # also what it left running
            except ProcessLookupError:
                pass
            process.wait()


def how_it_ended(status, limit_s):
    if status is None:
        return f"ended after {limit_s} s: it hung"
    if status < 0:
        return f"died of {signal.Signals(-status).name}"
    return f"exit status {status}"


def doctest_counts(output, status, limit_s):
    found = SUMMARY.findall(output)
    if not found:
        return Counts(failed=1, notes=[f"no result: {how_it_ended(status, limit_s)}"])
    _, passed, failed, _ = map(int, found[-1])
    skips = SKIP_LINE.findall(output)
    counts = Counts(passed - len(skips), failed, len(skips), [f"skipped: {reason}" for reason in skips])
    if counts.passed < 0:
        counts.passed, counts.failed = 0, counts.failed + 1
        counts.notes.append("more skips than cases")
    if status != 0 and failed == 0:
        counts.failed += 1
        counts.notes.append(how_it_ended(status, limit_s))
    return none_is_a_failure(counts)


def none_is_a_failure(counts):
    if counts.passed + counts.failed + counts.skipped == 0:
        counts.failed = 1
        counts.notes.append("it ran no test")
    return counts


class Tally(unittest.TextTestResult):
    """Counts each test once, whatever became of its parts."""

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        self.good, self.bad, self.left_out = set(), set(), {}

    def addSuccess(self, test):
        super().addSuccess(test)
        self.good.add(test.id())

    def addFailure(self, test, err):
        super().addFailure(test, err)
        self.bad.add(test.id())

    def addError(self, test, err):
        super().addError(test, err)
        self.bad.add(test.id())

    def addSubTest(self, test, subtest, err):
        super().addSubTest(test, subtest, err)
        if err is not None:
            self.bad.add(test.id())

    def addSkip(self, test, reason):
        super().addSkip(test, reason)
        self.left_out[getattr(test, "test_case", test).id()] = reason  # a part skipped: the whole did not pass

    def addExpectedFailure(self, test, err):
        super().addExpectedFailure(test, err)
        self.good.add(test.id())

    def addUnexpectedSuccess(self, test):
        super().addUnexpectedSuccess(test)
        self.bad.add(test.id())


def run_one_python_file(path, report):
    """In the child process: runs a file's tests and writes their counts to `report`."""
    sys.path.insert(0, str(path.parent))
    suite = unittest.defaultTestLoader.loadTestsFromName(path.stem)
    result = unittest.TextTestRunner(stream=sys.stdout, verbosity=2, resultclass=Tally).run(suite)
    left_out = {test: reason for test, reason in result.left_out.items() if test not in result.bad}
    report.write_text(json.dumps({
        "passed": len(result.good - result.bad - left_out.keys()), "failed": len(result.bad),
        "skipped": left_out}))
    return 0 if not result.bad else 1


def python_counts(report, status, limit_s):
    try:
        found = json.loads(report.read_text())
    except (OSError, ValueError):
        return Counts(failed=1, notes=[f"no result: {how_it_ended(status, limit_s)}"])
    counts = Counts(found["passed"], found["failed"], len(found["skipped"]),
                    [f"skipped: {test}: {reason}" for test, reason in found["skipped"].items()])
    if status != 0 and counts.failed == 0:
        counts.failed = 1
        counts.notes.append(how_it_ended(status, limit_s))
    return none_is_a_failure(counts)


def is_quick(path):
    return any(line.strip() == QUICK_LABEL for line in path.read_text(encoding="utf-8").splitlines())


def chosen(options):
    """(name, kind, path) of what runs, in a settled order."""
    programs = [p for p in sorted((options.build / "tests").glob("test_*")) if p.is_file() and os.access(p, os.X_OK)]
    files = sorted((ROOT / "tests").glob("*/test_*.py"))
    if options.quick:
        programs = [p for p in programs if p.name not in HEAVY]
        files = [f for f in files if is_quick(f)]
    if options.sanitize:
        programs = [p for p in programs if p.name not in NOT_UNDER_SANITIZERS]
        files = []
    tests = [(p.name, "doctest", p) for p in programs]
    tests += [(str(f.relative_to(ROOT)), "python", f) for f in files]
    return [t for t in tests if not options.names or any(name in t[0] for name in options.names)]


def run(name, kind, path, options, environment):
    limit_s = options.limit or LIMIT_S["heavy" if name in HEAVY else kind] * (SANITIZER_FACTOR if options.sanitize else 1)
    logs = options.build / "logs"
    logs.mkdir(parents=True, exist_ok=True)
    log = logs / (name.replace("/", "_") + ".log")
    started = time.monotonic()
    if kind == "doctest":
        status = run_bounded([str(path), "--no-colors"], log, limit_s, environment)
        output = log.read_text(errors="replace")
        counts = doctest_counts(output, status, limit_s)
    else:
        with tempfile.TemporaryDirectory() as folder:
            report = Path(folder) / "report.json"
            status = run_bounded([sys.executable, "-B", __file__, "--one", str(path), "--report", str(report)], log,
                                 limit_s, environment)
            counts = python_counts(report, status, limit_s)
        output = log.read_text(errors="replace")
    if counts.failed:
        lines = output.splitlines()
        left_out = len(lines) - SHOWN_LINES
        print(f"---- {name}: output" + (f", the last {SHOWN_LINES} lines of {log}" if left_out > 0 else ""))
        print("\n".join(lines[-SHOWN_LINES:]))
        print(f"---- {name}: end of output")
    print(f"{name}: {counts} ({time.monotonic() - started:.1f} s)")
    for note in counts.notes:
        print(f"    {note}")
    sys.stdout.flush()
    return counts


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--build", type=Path, default=Path("build/release"), help="the build folder")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--sanitize", action="store_true")
    parser.add_argument("--limit", type=float, metavar="SECONDS", help="another time limit for each program")
    parser.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--report", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("names", nargs="*", metavar="NAME")
    options = parser.parse_args()
    if options.one:
        return run_one_python_file(options.one, options.report)
    options.build = options.build if options.build.is_absolute() else ROOT / options.build

    environment = dict(os.environ, TALLYSTICK_BIN=str(options.build / "bin"), PYTHONUNBUFFERED="1")
    environment.setdefault("UBSAN_OPTIONS", "print_stacktrace=1:halt_on_error=1")
    total = Counts()
    tests = chosen(options)
    for name, kind, path in tests:
        counts = run(name, kind, path, options, environment)
        total.passed += counts.passed
        total.failed += counts.failed
        total.skipped += counts.skipped
    if not tests:
        print("no test was found")
        total.failed = 1
    print(total)
    return 0 if total.failed == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
