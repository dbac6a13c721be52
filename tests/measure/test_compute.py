# quick: needs no daemon
"""`tallystick compute`, as a person or a script calls it."""
import json
import os
import subprocess
import unittest
from pathlib import Path

PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", "build/release/bin")) / "tallystick"


def tallystick(*arguments):
    done = subprocess.run([str(PROGRAM), *arguments], capture_output=True, text=True, timeout=20,
                          stdin=subprocess.DEVNULL)
    return done.returncode, done.stdout.strip(), done.stderr.strip()


class Convert(unittest.TestCase):
    def converted(self, *arguments):
        status, out, err = tallystick("compute", "convert", *arguments, "--json")
        self.assertEqual(status, 0, err)
        return json.loads(out)

    def test_exact_inch(self):
        # International yard and pound agreement of 1959: 1 in = 25.4 mm exactly.
        self.assertEqual(self.converted("0.4375", "in", "mm"), {"value": "11.1125", "unit": "mm"})
        self.assertEqual(self.converted("25.4", "mm", "in"), {"value": "1", "unit": "in"})

    def test_negative_values_are_values(self):
        self.assertEqual(self.converted("-0.5", "in", "mm")["value"], "-12.7")
        self.assertEqual(self.converted("-.5", "in", "mm")["value"], "-12.7")
        self.assertEqual(self.converted("-1d30m", "dms", "deg")["value"], "-1.5")

    def test_plain_text(self):
        self.assertEqual(tallystick("compute", "convert", "68", "degF", "degC"), (0, "20 degC", ""))

    def test_what_cannot_be_understood(self):
        for arguments, code in [(("1e3", "mm", "in"), "not_a_decimal"), (("11", "mm", "in"), "not_exact"),
                                (("1", "inch", "mm"), "unknown_unit"), (("1", "N", "kN"), "wrong_unit"),
                                (("0.0000000001", "mm", "um"), "too_many_digits"), (("", "mm", "in"), "empty"),
                                (("99999999999", "mm", "m"), "overflow"), (("nan", "mm", "m"), "not_a_decimal")]:
            with self.subTest(arguments):
                status, out, err = tallystick("compute", "convert", *arguments, "--json")
                self.assertEqual(status, 2)
                self.assertEqual(json.loads(out)["error"]["code"], code)
                self.assertIn("tallystick: ", err)
        self.assertIn('did you mean "in"?', tallystick("compute", "convert", "1", "inch", "mm")[2])

    def test_usage(self):
        for arguments in [(), ("compute", "convert"), ("compute", "convert", "1", "mm"), ("nonsense",),
                          ("compute", "fitt"), ("compute", "convert", "1", "mm", "in", "more"), ("compute", "convert", "-inf", "mm", "in"),
                          ("compute", "convert", "1", "mm", "in", "--jsn")]:
            with self.subTest(arguments):
                status, out, err = tallystick(*arguments)
                self.assertEqual((status, out), (2, ""))
                self.assertTrue(err)

    def test_help_and_version(self):
        status, out, _ = tallystick("--version")
        self.assertEqual(status, 0)
        self.assertRegex(out, r"^tallystick \d+\.\d+\.\d+$")
        status, out, _ = tallystick("--help")
        self.assertEqual(status, 0)
        self.assertIn("compute", out)
        self.assertIn("Exit status", out)


class Verdict(unittest.TestCase):
    def judged(self, *arguments):
        status, out, err = tallystick("compute", "verdict", *arguments, "--json")
        self.assertIn(status, (0, 1), err)
        answer = json.loads(out)
        self.assertEqual(answer["verdict"], "accept" if status == 0 else "reject")
        return answer

    def test_on_and_one_count_beyond_the_limit(self):
        bore = ("--lower", "25.000", "--upper", "25.021", "--unit", "mm")
        self.assertEqual(self.judged(*bore, "25.021"), {
            "value": "25.021", "unit": "mm", "verdict": "accept", "side": "upper", "by": "0", "by_unit": "mm"})
        self.assertEqual(self.judged(*bore, "25.0210001"), {
            "value": "25.0210001", "unit": "mm", "verdict": "reject", "side": "upper", "by": "0.0000001", "by_unit": "mm"})
        self.assertEqual(self.judged("25", *bore)["side"], "lower")

    def test_one_sided(self):
        self.assertEqual(self.judged("--upper", "0.020", "--unit", "mm", "0.0204")["by"], "0.0004")
        self.assertEqual(self.judged("--lower", "-0.5", "--unit", "mm", "-0.5")["verdict"], "accept")
        self.assertEqual(self.judged("--lower=-0.5", "--unit=mm", "-0.500000001")["by"], "0.000000001")

    def test_inches_and_millimetres(self):
        inches = ("--lower", "0.4370", "--upper", "0.4375", "--unit", "in")
        self.assertEqual(self.judged(*inches, "11.1125", "--value-unit", "mm"), {
            "value": "0.4375", "unit": "in", "verdict": "accept", "side": "upper", "by": "0", "by_unit": "in"})
        # 11.113 mm has no finite decimal in inches: never rounded to look inside.
        self.assertEqual(self.judged(*inches, "11.113", "--value-unit", "mm"), {
            "value": "11.113", "unit": "mm", "verdict": "reject", "side": "upper", "by": "0.0005", "by_unit": "mm"})

    def test_words(self):
        self.assertEqual(tallystick("compute", "verdict", "--upper", "0.020", "--unit", "mm", "0.0204"),
                         (1, "0.0204 mm: reject, 0.0004 mm outside the upper limit", ""))

    def test_what_cannot_be_understood(self):
        for arguments in [("--unit", "mm", "1"), ("--upper", "1", "1"), ("--upper", "x", "--unit", "mm", "1"),
                          ("--lower", "2", "--upper", "1", "--unit", "mm", "1"), ("--upper", "1", "--unit", "mm"),
                          ("--upper", "1", "--unit", "mm", "1", "--value-unit", "N"),
                          ("--upper", "1", "--upper", "2", "--unit", "mm", "1"), ("--upper", "1", "--unit", "mm", "0x1")]:
            with self.subTest(arguments):
                status, out, err = tallystick("compute", "verdict", *arguments)
                self.assertEqual((status, out), (2, ""))
                self.assertTrue(err)


if __name__ == "__main__":
    unittest.main()
