# quick: needs no daemon
"""`tallystick decode`, as a person or a script calls it. Checksums are made by Python's binascii (an outside library)."""
import binascii
import json
import os
import subprocess
import tempfile
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", "build/release/bin")) / "tallystick"
DIALECTS = ROOT / "config" / "dialects"


def decode(dialect, *arguments, given=b""):
    path = dialect if isinstance(dialect, Path) else DIALECTS / f"{dialect}.dialect.toml"
    done = subprocess.run([str(PROGRAM), "decode", str(path), *map(str, arguments)], input=given, capture_output=True,
                          timeout=20)
    return done.returncode, [json.loads(line) for line in done.stdout.splitlines()], done.stderr.decode()


class Decode(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)

    def write(self, name, content):
        path = self.folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def test_a_reading(self):
        expected = {"kind": "reading", "value": "12.345", "unit": "mm", "channel": None, "status": "ok", "offset": 0,
                    "bytes": "2b3031322e3334350d"}
        self.assertEqual(decode("push-line", given=b"+012.345\r"), (0, [expected], ""))
        self.assertEqual(decode("push-line", "-", given=b"+012.345\r"), (0, [expected], ""))
        self.assertEqual(decode("push-line", self.write("raw.bin", b"+012.345\r")), (0, [expected], ""))
        self.assertEqual(decode("push-line", "--hex", given=b"2b 30 31 32\n2E333435 0D\n"), (0, [expected], ""))

    def test_a_refusal_and_an_unfinished_frame(self):
        status, events, _ = decode("push-line", given=b"hello\r+012.345\r+01")
        self.assertEqual(status, 1)
        self.assertEqual([event.get("reason") for event in events], ["not_mine", None, "incomplete"])
        self.assertEqual([event["offset"] for event in events], [0, 6, 15])
        self.assertEqual(list(events[0]), ["kind", "reason", "offset", "bytes"])

    def test_nothing_given(self):
        self.assertEqual(decode("push-line"), (0, [], ""))
        self.assertEqual(decode("push-line", self.write("empty", b"")), (0, [], ""))

    def test_replay_logs(self):
        for log in sorted((ROOT / "tests" / "replay").glob("*/*.log")):
            with self.subTest(log.name):
                status, events, err = decode(log.parent.name, "--log", log)
                expected = [json.loads(line) for line in log.with_suffix(".expected").read_text().splitlines()]
                self.assertEqual(events, expected)
                self.assertEqual(status, int(any(event["kind"] == "refusal" for event in expected)))
                self.assertEqual(err, "")

    def test_a_gap_framed_dialect_without_times_says_so(self):
        body = b"\x11D+00123450"
        frame = body + bytes.fromhex("a814")  # as in tests/replay/gap-crc/good.log
        status, events, err = decode("gap-crc", given=frame)
        self.assertEqual((status, events[0]["value"], events[0]["unit"]), (0, "12345.0", "um"))
        self.assertIn("one frame", err)
        self.assertEqual(decode("gap-crc", given=frame + frame)[0], 1)

    def test_checksums_by_python(self):
        for kind, bits, of in [("crc-32", 32, binascii.crc32), ("crc-16-xmodem", 16, lambda b: binascii.crc_hqx(b, 0)),
                               ("crc-16-ccitt-false", 16, lambda b: binascii.crc_hqx(b, 0xFFFF))]:
            with self.subTest(kind):
                dialect = self.write("crc.dialect.toml", f"""
name = "crc"
[frame]
cut_by = "terminator"
terminator = "\\n"
[value]
pattern = '(?P<value>[0-9.]+)'
[unit]
unit = "mm"
[checksum]
kind = "{kind}"
marked_by = "*"
[talk]
speaks = "pushed"
""")
                good = b"".join(b"%s*%0*X\n" % (value, bits // 4, of(value)) for value in [b"1.5", b"123.456", b"0.001"])
                status, events, err = decode(dialect, given=good)
                self.assertEqual((status, [event["value"] for event in events]), (0, ["1.5", "123.456", "0.001"]), err)
                self.assertEqual(decode(dialect, given=good.replace(b"1.5", b"1.4"))[1][0]["reason"], "bad_checksum")

    def test_all_faults_of_a_dialect_at_once(self):
        dialect = self.write("bad.dialect.toml", 'nmae = "x"\n[frame]\ncut_by = "terminator"\n[talk]\nspeaks = "pushed"\n')
        status, events, err = decode(dialect, given=b"")
        self.assertEqual((status, events), (2, []))
        self.assertIn(f'{dialect}:1: unknown key "nmae" (did you mean "name"?)', err)
        self.assertIn("frame.terminator is missing", err)
        self.assertIn("states no unit", err)

    def test_what_cannot_be_understood_or_done(self):
        self.assertEqual(decode("push-line", "--hex", given=b"2b 3")[0], 2)
        self.assertEqual(decode("push-line", "--hex", "--log", given=b"")[0], 2)
        self.assertEqual(decode("push-line", "--log", given=b"what\n")[0], 2)
        self.assertEqual(decode("push-line", self.folder / "missing")[0], 3)
        self.assertEqual(decode("push-line", self.folder)[0], 3)
        self.assertEqual(decode(self.folder / "missing.toml")[0], 3)
        self.assertEqual(decode(self.folder)[0], 3)

    def test_large_input(self):
        status, events, _ = decode("push-line", given=b"+012.345\r" * 20000)
        self.assertEqual((status, len(events), events[-1]["offset"]), (0, 20000, 19999 * 9))


if __name__ == "__main__":
    unittest.main()
