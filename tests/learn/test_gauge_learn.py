# quick: needs no daemon
"""`tallystick gauge learn` as a person uses it: real program, real pseudo-terminal, a button that is pressed when the program
asks for it. All data invented."""
import fcntl
import json
import os
import selectors
import subprocess
import sys
import tempfile
import time
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from simulated_line import SimulatedLine  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build/release/bin")) / "tallystick"
PATIENCE_S = 60


class Sitting:
    """The program, and what it said. `until` waits for a text; `answer` types a line."""

    def __init__(self, *arguments):
        self.process = subprocess.Popen([PROGRAM, "gauge", "learn", *map(str, arguments)], stdin=subprocess.PIPE,
                                        stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        self.said, self.at = "", 0
        self.selector = selectors.DefaultSelector()
        self.selector.register(self.process.stdout, selectors.EVENT_READ)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.stdin.close()
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(timeout=10)
        self.process.stdout.close()
        self.selector.close()

    def until(self, *texts):
        """The first of the texts that is said from here on."""
        end = time.monotonic() + PATIENCE_S
        while True:
            found = [(self.said.find(text, self.at), text) for text in texts if text in self.said[self.at:]]
            if found:
                place, text = min(found)
                self.at = place + len(text)
                return text
            if time.monotonic() > end or not self.selector.select(end - time.monotonic()):
                raise AssertionError(f"none of {texts} was said:\n{self.said}")
            data = os.read(self.process.stdout.fileno(), 4096)
            if not data:
                raise AssertionError(f"it ended without any of {texts}:\n{self.said}")
            self.said += data.decode()

    def answer(self, line):
        self.process.stdin.write(f"{line}\n".encode())
        self.process.stdin.flush()

    def status(self):
        self.process.stdin.close()
        status = self.process.wait(timeout=PATIENCE_S)
        self.said += self.process.stdout.read().decode()
        return status


def frame(value, unit="mm"):
    sign, digits = ("-", value[1:]) if value.startswith("-") else ("+", value)
    return f"{sign}{digits:>8} {unit}\r\n".encode()


class Learn(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)

    def line(self, *settings):
        line = SimulatedLine(*settings)
        self.addCleanup(line.close)
        return line

    def learn(self, sitting, line, values, frame=frame):
        """Presses whenever it is asked for; answers with what the display shows."""
        for shown in values:
            asked = "press"
            while asked == "press":
                sitting.until("Press the gauge's button")
                sitting.until("...")
                time.sleep(0.05)  # the line is opened behind its announcement
                line.press(frame(shown.split()[-2]))
                asked = {"What does the display show?": "shown", "without a readable shape": "press"}[
                    sitting.until("What does the display show?", "without a readable shape")]
            sitting.answer(shown)
            if shown != values[-1] and sitting.until("w: end and write", "missing:") == "w: end and write":
                sitting.answer("")

    def decoded(self, dialect, data):
        done = subprocess.run([PROGRAM, "decode", dialect], input=data, capture_output=True, timeout=20, check=False)
        return [json.loads(line) for line in done.stdout.splitlines()]

    def test_an_unknown_gauge_is_learned_from_its_button(self):
        line = self.line(4800, 7, "E", 1)
        with Sitting(line.path, "--to", self.folder, "--name", "depth-gauge") as sitting:
            self.learn(sitting, line, ["12.345 mm", "-3.070 mm", "104.500 mm"])
            sitting.until("w: end and write")
            sitting.answer("w")
            self.assertEqual(sitting.status(), 0, sitting.said)
        self.assertIn("a new dialect reads all presses as they were shown", sitting.said)
        self.assertIn("at 4800 7E1", sitting.said)
        self.assertIn('dialect = "depth-gauge"', sitting.said)
        self.assertEqual(line.received(), b"")  # nothing was ever sent to the gauge
        dialect = self.folder / "depth-gauge.dialect.toml"
        # A value that it never saw.
        [event] = self.decoded(dialect, frame("-0.001"))
        self.assertEqual((event["kind"], event["value"], event["unit"]), ("reading", "-0.001", "mm"))
        # The log of what was heard decodes to what was shown.
        done = subprocess.run([PROGRAM, "decode", "--log", dialect, self.folder / "depth-gauge.good.log"], capture_output=True, timeout=20)
        self.assertEqual([json.loads(each)["value"] for each in done.stdout.splitlines()], ["12.345", "-3.070", "104.500"])
        self.assertEqual(done.returncode, 0)
        # Learned again offline from that log; and never over a file that is there.
        again = subprocess.run([PROGRAM, "gauge", "learn", "--log", self.folder / "depth-gauge.good.log", "--to", self.folder,
                                "--name", "depth-gauge"], capture_output=True, timeout=20, text=True)
        self.assertEqual(again.returncode, 3)
        self.assertIn("there is a file already", again.stderr)

    def test_a_known_dialect_comes_first(self):
        line = self.line(9600, 8, "N", 1)
        with Sitting(line.path, "--dialects", ROOT / "config/dialects") as sitting:
            sitting.until("9600 8N1) ...")
            time.sleep(0.05)
            line.press(b"+012.345\r")
            sitting.until("dialect push-line reads: 12.345 mm")
            sitting.until("What does the display show?")
            sitting.answer("12,345 mm")  # as people write it
            sitting.until("w: end and write")
            sitting.answer("w")
            self.assertEqual(sitting.status(), 0, sitting.said)
        self.assertIn('dialect = "push-line"', sitting.said)
        self.assertEqual(line.received(), b"")

    def test_what_is_missing_is_said_and_what_was_heard_is_kept(self):
        line = self.line(9600, 8, "N", 1)
        with Sitting(line.path, "--to", self.folder, "--name", "half") as sitting:
            sitting.until("9600 8N1) ...")
            time.sleep(0.05)
            line.press(frame("12.345"))
            sitting.until("What does the display show?")
            sitting.answer("twelve")
            sitting.until("is no number with a unit")
            sitting.answer("12.345 mm")
            sitting.until("missing: all presses showed the same value")
            sitting.until("Press the gauge's button")
            sitting.until("...")
            time.sleep(0.05)
            line.press(frame("-3.070"))
            sitting.until("What does the display show?")
            sitting.answer("q")
            self.assertEqual(sitting.status(), 1, sitting.said)
        heard = self.folder / "half.heard.log"
        self.assertIn("shown 12.345 mm", heard.read_text())
        # The same offline, in JSON; and with the second answer given later, by hand.
        offline = lambda: subprocess.run([PROGRAM, "gauge", "learn", "--log", heard, "--json"], capture_output=True, timeout=20, text=True)
        done = offline()
        self.assertEqual((done.returncode, [each["code"] for each in json.loads(done.stdout)["missing"]]), (1, ["one_value"]))
        text = heard.read_text()
        heard.write_text(text[:text.rindex("press")] + "shown -3.070 mm\n")
        done = offline()
        [proposal] = json.loads(done.stdout)["proposals"]
        self.assertEqual((done.returncode, proposal["read"]), (0, ["12.345 mm", "-3.070 mm"]))

    def test_a_line_that_another_program_has_is_refused_by_name(self):
        line = self.line(9600, 8, "N", 1)
        holder = os.open(line.path, os.O_RDWR | os.O_NOCTTY)
        self.addCleanup(os.close, holder)
        fcntl.flock(holder, fcntl.LOCK_EX)
        done = subprocess.run([PROGRAM, "gauge", "learn", line.path], capture_output=True, timeout=20, text=True, stdin=subprocess.DEVNULL)
        self.assertEqual(done.returncode, 3)
        self.assertIn(str(os.getpid()), done.stderr)

    def test_silence_is_given_up_with_a_remedy(self):
        line = self.line(9600, 8, "N", 1)
        done = subprocess.run([PROGRAM, "gauge", "learn", line.path, "--wait", "0.3"], capture_output=True, timeout=20, text=True, stdin=subprocess.DEVNULL)
        self.assertEqual(done.returncode, 1)
        self.assertIn("Nothing was heard for 0.3 s: check the cable", done.stdout)

    def test_wrong_use_says_how(self):
        for arguments, text in (([], "a port or --log"), (["/dev/null", "--line", "fast"], "9600 7E1"), (["/dev/null", "--name", "A B"], "a-z"),
                                (["/dev/null"], "serial"), (["no-such-port"], "--config"), (["/dev/none"], "/dev/none")):
            done = subprocess.run([PROGRAM, "gauge", "learn", *arguments], capture_output=True, timeout=20, text=True, stdin=subprocess.DEVNULL)
            self.assertIn(done.returncode, (2, 3), arguments)
            self.assertIn(text, done.stderr, arguments)


if __name__ == "__main__":
    unittest.main()
