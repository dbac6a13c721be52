# quick: needs no daemon
"""`tallystick compute fit` and `compute general`, and what every computation has: --input, --example, the list."""
import json
import os
import subprocess
import tempfile
import unittest
from decimal import Decimal
from pathlib import Path

PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", "build/release/bin")) / "tallystick"


def tallystick(*arguments, given=None):
    done = subprocess.run([str(PROGRAM), "compute", *arguments], capture_output=True, text=True, timeout=20,
                          input=given if given is not None else "")
    return done.returncode, done.stdout.strip(), done.stderr.strip()


def answered(*arguments, given=None):
    status, out, err = tallystick(*arguments, "--json", given=given)
    if status != 0:
        raise AssertionError(f"{arguments}: {status} {err}")
    return json.loads(out)


class Fit(unittest.TestCase):
    def limits(self, *arguments):
        answer = answered("fit", *arguments)
        return answer["lower_mm"], answer["upper_mm"], answer["lower_deviation_mm"], answer["upper_deviation_mm"]

    def test_classes(self):
        # From memory, and in tests/reference/data/iso286_examples.csv: 25 H7 and 25 g6; 25 P7 of "Machine Drawing" p. 221.
        self.assertEqual(self.limits("25 H7"), ("25", "25.021", "0", "0.021"))
        self.assertEqual(self.limits("25 g6"), ("24.98", "24.993", "-0.02", "-0.007"))
        self.assertEqual(self.limits("25P7"), ("24.965", "24.986", "-0.035", "-0.014"))
        self.assertEqual(answered("fit", "25 H7"), {
            "class": "H7", "of": "hole", "nominal_mm": "25", "lower_mm": "25", "upper_mm": "25.021",
            "lower_deviation_mm": "0", "upper_deviation_mm": "0.021", "tolerance_mm": "0.021", "js_odd": "exact",
            "standard": "ISO 286-1:2010"})

    def test_js_halved_either_way(self):
        # 40 js7: IT7 = 25; half is 12.5, or 12 where an odd value is first lowered to the even one below it.
        self.assertEqual(self.limits("40 js7"), ("39.9875", "40.0125", "-0.0125", "0.0125"))
        self.assertEqual(self.limits("40 js7", "--js-odd", "even-below"), ("39.988", "40.012", "-0.012", "0.012"))
        self.assertEqual(self.limits("40 JS6", "--js-odd", "even-below")[3], "0.008")
        self.assertEqual(self.limits("25 js5", "--js-odd", "even-below")[3], "0.0045")  # the rule is for IT7 to IT11

    def test_pairs(self):
        # Kinds of fit by ISO 286-1, 3.3; recomputed by hand from the limits above.
        for fit, kind, least, greatest in [("25 H7/g6", "clearance", "0.007", "0.041"),
                                           ("25 H7/k6", "transition", "-0.015", "0.019"),
                                           ("25 H7/s6", "interference", "-0.048", "-0.014"),
                                           ("25 H7/h6", "clearance", "0", "0.034")]:
            with self.subTest(fit):
                answer = answered("fit", fit)
                self.assertEqual((answer["kind"], answer["min_clearance_mm"], answer["max_clearance_mm"]),
                                 (kind, least, greatest))
                hole, shaft = answer["hole"], answer["shaft"]
                self.assertEqual(Decimal(hole["lower_mm"]) - Decimal(shaft["upper_mm"]), Decimal(least))
                self.assertEqual(Decimal(hole["upper_mm"]) - Decimal(shaft["lower_mm"]), Decimal(greatest))
                self.assertEqual("min_interference_mm" in answer, kind == "interference")

    def test_words(self):
        self.assertEqual(tallystick("fit", "25 g6"), (0, "25 g6: 24.98 to 24.993 mm (-0.02 / -0.007)", ""))
        self.assertIn("clearance 0.007 to 0.041 mm", tallystick("fit", "25 H7/g6")[1])
        self.assertIn("interference 0.014 to 0.048 mm", tallystick("fit", "25 H7/s6")[1])

    def test_what_cannot_be_worked_out(self):
        for text, code in [("25 I7", "unknown_letter"), ("25 Js7", "unknown_letter"), ("25 H19", "unknown_grade"),
                           ("25 H07", "unknown_grade"), ("25 H", "not_a_fit"), ("25", "not_a_fit"), ("H7", "not_a_fit"),
                           ("", "not_a_fit"), ("0 H7", "out_of_range"), ("-5 H7", "out_of_range"),
                           ("3150.001 H7", "out_of_range"), ("3150 H01", "not_tabulated"), ("20 t6", "not_tabulated"),
                           ("25 cd6", "not_tabulated"), ("600 zc7", "not_tabulated"), ("25 K9", "not_tabulated"),
                           ("1 A11", "not_tabulated"), ("1 N9", "not_tabulated"), ("0.5 H14", "not_tabulated"),
                           ("25 J9", "not_tabulated"), ("25 g6/H7", "not_a_fit"), ("25 H7/H6", "not_a_fit"),
                           ("25 H7/", "not_a_fit"), ("1e3 H7", "not_a_fit"), ("25,5 H7", "not_a_decimal"),
                           ("99999999999 H7", "overflow"), ("25 H7 g6", "not_a_fit"), ("0.05 c11", "out_of_range")]:
            with self.subTest(text):
                status, out, err = tallystick("fit", text, "--json")
                self.assertEqual(status, 2, out)
                error = json.loads(out)["error"]
                self.assertEqual(error["code"], code, error)
                self.assertTrue(error["where"] and error["what"] and (error["hint"] or code == "not_a_decimal"), error)
                self.assertIn("tallystick: ", err)
        self.assertEqual(tallystick("fit", "25 H7", "--js-odd", "up")[0], 2)
        self.assertEqual(tallystick("fit")[0], 2)


class General(unittest.TestCase):
    def test_tables(self):
        # ISO 2768-1:1989 Tables 1 to 3 (tests/reference/data/iso2768_1_*.csv).
        self.assertEqual(answered("general", "25", "m"), {
            "class": "m", "kind": "linear", "nominal_mm": "25", "lower_mm": "24.8", "upper_mm": "25.2",
            "lower_deviation_mm": "-0.2", "upper_deviation_mm": "0.2", "standard": "ISO 2768-1:1989"})
        self.assertEqual(answered("general", "25", "m", "--kind", "edge")["upper_mm"], "26")
        self.assertEqual(answered("general", "30", "f")["upper_mm"], "30.1")
        self.assertEqual(answered("general", "30.1", "f")["upper_mm"], "30.25")
        angle = answered("general", "25", "m", "--kind", "angle", "--angle", "30")
        self.assertEqual((angle["shorter_side_mm"], angle["lower_dms"], angle["upper_dms"], angle["upper_deviation_dms"]),
                         ("25", "29d30m0s", "30d30m0s", "0d30m0s"))
        self.assertEqual(answered("general", "200", "f", "--kind", "angle")["lower_deviation_dms"], "-0d10m0s")
        self.assertEqual(tallystick("general", "25", "m"), (0, "class m, linear: 24.8 to 25.2 mm (-0.2 / +0.2)", ""))

    def test_what_cannot_be_worked_out(self):
        for arguments, code in [(("0.4", "m"), "out_of_range"), (("4001", "m"), "out_of_range"),
                                (("2", "v"), "not_tabulated"), (("2500", "f"), "not_tabulated"),
                                (("25", "M"), "unknown_class"), (("25", "m", "--kind", "round"), "unknown_word"),
                                (("25",), "missing_field"), ((), "missing_field"), (("x", "m"), "not_a_decimal"),
                                (("0", "m", "--kind", "angle"), "out_of_range"),
                                (("25", "m", "--angle", "30"), "unknown_field"),
                                (("25", "m", "--kind", "angle", "--angle", "30d70m"), "not_a_decimal")]:
            with self.subTest(arguments):
                status, out, _ = tallystick("general", *arguments, "--json")
                self.assertEqual(status, 2)
                self.assertEqual(json.loads(out)["error"]["code"], code)


class EveryComputation(unittest.TestCase):
    def test_the_list_and_an_example_that_works_for_each(self):
        names = [one["name"] for one in answered()]
        self.assertEqual(names, sorted(names))
        self.assertLessEqual({"convert", "fit", "general", "verdict"}, set(names))
        status, out, _ = tallystick()
        self.assertEqual(([line.split()[0] for line in out.splitlines()], status), (names, 0))
        for name in names:
            with self.subTest(name):
                status, example, _ = tallystick(name, "--example")
                self.assertEqual(status, 0)
                json.loads(example)
                answer = answered(name, "--input", "-", given=example)
                self.assertTrue(answer)
                with tempfile.TemporaryDirectory() as folder:
                    file = Path(folder) / "input.json"
                    file.write_text(example)
                    self.assertEqual(answered(name, "--input", str(file)), answer)

    def test_an_input_and_arguments_answer_alike(self):
        self.assertEqual(answered("fit", "25 H7"), answered("fit", "--input", "-", given='{"nominal_mm":"25","fit":"H7"}'))
        self.assertEqual(answered("fit", "25 H7"), answered("fit", "--input", "-", given='{"fit":"25 H7"}'))

    def test_inputs_that_cannot_be_understood(self):
        for given, code in [("", "not_json"), ("{", "not_json"), ("[]", "not_json"), ("{} {}", "not_json"),
                            ("{}", "missing_field"), ('{"nominal_mm":25,"fit":"H7"}', "bare_number"),
                            ('{"nominal_mm":"25","fit":["H7"]}', "wrong_type"),
                            ('{"nominal_mm":"25","fit":"H7","unit":"in"}', "unknown_field")]:
            with self.subTest(given):
                status, out, _ = tallystick("fit", "--input", "-", "--json", given=given)
                self.assertEqual(status, 2)
                self.assertEqual(json.loads(out)["error"]["code"], code)
        self.assertIn("standard input:3", tallystick("fit", "--input", "-", given='{\n"fit":\nx}')[2])
        self.assertEqual(tallystick("fit", "25 H7", "--input", "-")[0], 2)
        self.assertEqual(tallystick("fit", "--input", "/nonexistent/input.json")[0], 3)


if __name__ == "__main__":
    unittest.main()
