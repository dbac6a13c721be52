# quick: needs no daemon
"""`tallystick compute` for form, place and handbook sizes: every example works, and what cannot be computed says why."""
import json
import math
import os
import subprocess
import unittest
from pathlib import Path
from statistics import NormalDist

PROGRAM = Path(os.environ.get("TALLYSTICK_BIN", "build/release/bin")) / "tallystick"


def compute(name, given, *arguments):
    done = subprocess.run([str(PROGRAM), "compute", name, "--input", "-", "--json", *arguments], capture_output=True, text=True,
                          timeout=20, input=json.dumps(given))
    out = json.loads(done.stdout) if done.stdout else {}
    error = out.pop("error", {}) if "error" in out else {}
    return done.returncode, out or None, json.dumps(error) + done.stderr


def answer(name, given):
    status, out, err = compute(name, given)
    if status not in (0, 1):
        raise AssertionError(f"{name}: {status} {err}")
    return out


def names():
    done = subprocess.run([str(PROGRAM), "compute", "--json"], capture_output=True, text=True, timeout=20, check=True)
    return [one["name"] for one in json.loads(done.stdout)]


def example(name):
    done = subprocess.run([str(PROGRAM), "compute", name, "--example"], capture_output=True, text=True, timeout=20, check=True)
    return json.loads(done.stdout)


class Examples(unittest.TestCase):
    def test_every_example_works_and_its_words_too(self):
        self.assertGreaterEqual(len(names()), 24)
        for name in names():
            with self.subTest(name):
                status, out, err = compute(name, example(name))
                self.assertIn(status, (0, 1), err)
                self.assertTrue(out)
                self.assertNotRegex(json.dumps(out), r"(?i)\bnan\b|\binf")
                words = subprocess.run([str(PROGRAM), "compute", name, "--input", "-"], capture_output=True, text=True, timeout=20,
                                       input=json.dumps(example(name)))
                self.assertEqual(words.returncode, status)
                self.assertTrue(words.stdout.strip())

    def test_an_unknown_or_a_bare_member_is_told_with_its_place(self):
        for name in names():
            with self.subTest(name):
                status, out, err = compute(name, {**example(name), "surprise": "1"})
                self.assertEqual((status, out), (2, None))
                self.assertIn("surprise", err)
        status, _, err = compute("coaxiality", {"tolerance_mm": "0.02", "sections": [{"dx_mm": "0", "dy_mm": 0.004}]})
        self.assertEqual(status, 2)
        self.assertIn("sections[0].dy_mm", err)
        status, _, err = compute("runout", {"sections": [{"readings_mm": ["1", "x"]}]})
        self.assertEqual(status, 2)
        self.assertIn("sections[0].readings_mm[1]", err)


class Shapes(unittest.TestCase):
    def test_position_with_a_bonus(self):
        # Published bonus: hole 1.500 +.005, actual 1.503, tolerance .015 (tests/reference/data/position_examples.csv).
        given = {"dx_mm": "0.007", "dy_mm": "0.0055", "tolerance_mm": "0.015", "material": "maximum", "of": "hole", "size_mm": "1.503",
                 "lower_mm": "1.5", "upper_mm": "1.505"}
        out = answer("position", given)
        self.assertEqual((out["bonus_mm"], out["tolerance_mm"], out["verdict"]), ("0.003", "0.018", "accept"))
        self.assertEqual(answer("position", {**given, "material": "regardless"})["verdict"], "reject")
        self.assertEqual(answer("position", {**given, "size_mm": "1.506"})["verdict"], "reject")
        self.assertEqual(compute("position", {"dx_mm": "0", "dy_mm": "0", "tolerance_mm": "1", "material": "maximum"})[0], 2)

    def test_a_sweep_by_turns_and_by_angles_is_the_same(self):
        readings = [f"{0.03 * math.cos(2 * math.pi * n / 24) - 0.04 * math.sin(2 * math.pi * n / 24):.6f}" for n in range(24)]
        by_turns = answer("sweep", {"turns": "1", "readings_mm": readings, "tolerance_mm": "0.11"})
        by_angles = answer("sweep", {"angles_deg": [str(15 * n) for n in range(24)], "readings_mm": readings, "tolerance_mm": "0.11"})
        self.assertEqual(by_turns["eccentricity_mm"], "0.05")
        self.assertEqual(by_turns["verdict"], "accept")
        for member in ("runout_mm", "eccentricity_mm", "roundness_mm"):
            self.assertEqual(by_turns[member], by_angles[member])
        self.assertAlmostEqual(by_turns["direction_deg"], math.degrees(math.atan2(-0.04, 0.03)) % 360, places=3)

    def test_a_bolt_circle_names_each_hole(self):
        out = answer("bolt-circle", example("bolt-circle"))
        self.assertEqual([one["position_mm"] for one in out["positions"]], ["0.028284271", "0.04", "0.02", "0.02"])
        self.assertEqual(out["verdict"], "accept")

    def test_over_wires_both_ways(self):
        read = answer("over-wires", {"pitch_mm": "2.5", "pitch_diameter_mm": "18.376202", "wire_mm": "1.443376"})
        # tests/reference/data/thread_three_wire.csv, M20x2.5: 20.541266 without, 0.002030 for the lead angle.
        self.assertAlmostEqual(float(read["over_wires_mm"]), 20.541266 + 0.002030, places=5)
        back = answer("over-wires", {"pitch_mm": "2.5", "over_wires_mm": read["over_wires_mm"], "wire_mm": "1.443376"})
        self.assertAlmostEqual(float(back["pitch_diameter_mm"]), 18.376202, places=5)

    def test_angles_by_pythons_own_functions(self):
        self.assertEqual(answer("sine-bar", {"blocks_mm": "50", "length_mm": "100"})["angle_dms"], "30d0m0s")
        out = answer("two-rolls", {"large_mm": "20", "small_mm": "10", "centre_distance_mm": "60"})
        self.assertAlmostEqual(out["angle_deg"], math.degrees(2 * math.asin(10 / 120)), places=9)
        # A cone of 20 degrees made here: where balls of 20 and 10 mm lie in it.
        half = math.radians(10)
        deep = [40 - 10 / math.sin(half) - 10 + 100, 40 - 5 / math.sin(half) - 5 + 100]
        out = answer("two-balls", {"large_mm": "20", "small_mm": "10", "depth_large_mm": f"{deep[0]:.9f}", "depth_small_mm": f"{deep[1]:.9f}"})
        self.assertAlmostEqual(out["angle_deg"], 20, places=6)
        self.assertAlmostEqual(answer("taper", {"large_mm": "25.4", "small_mm": "24.1", "length_mm": "26"})["one_to"], 20, places=9)
        self.assertEqual(answer("arc", {"chord_mm": "60", "height_mm": "10"})["radius_mm"], "50")


class Derived(unittest.TestCase):
    """The computations that come from the table of derived features, one adapter for all."""

    def test_each_is_listed_once_and_says_how_and_by_what_source(self):
        listed = names()
        self.assertEqual(len(listed), len(set(listed)))
        self.assertEqual(listed, sorted(listed))
        own = [name for name in listed if "_" in name or name in ("mean", "wall", "depth", "formula", "range")]
        self.assertGreaterEqual(len(own), 30)
        for name in own:
            with self.subTest(name):
                out = answer(name, example(name))
                for member in ("value", "unit", "unrounded", "lines", "working", "standard"):
                    self.assertTrue(out[member], member)

    def test_the_list_says_what_a_checklist_writes(self):
        done = subprocess.run([str(PROGRAM), "compute", "--json"], capture_output=True, text=True, timeout=20, check=True)
        told = {one["name"]: one.get("in_checklist") for one in json.loads(done.stdout)}
        self.assertIsNone(told["convert"])
        self.assertEqual(told["wall"]["inputs"], [{"name": name, "kind": "length", "list": False, "may_be_missing": False}
                                                  for name in ("outside", "inside")])
        starts = told["pitch_diameter"]["inputs"][-1]
        self.assertEqual((starts["name"], starts["kind"], starts["may_be_missing"]), ("starts", "number", True))
        self.assertTrue(told["flatness"]["inputs"][0]["list"])
        self.assertEqual(told["eccentricity_direction"]["result"], "angle")

    def test_values_in_either_unit(self):
        self.assertEqual(answer("wall", {"outside_in": "1.25", "inside_in": "1"})["value"], "0.125")
        out = answer("wall", {"outside_in": "1.25", "inside_mm": "25.4", "unit": "mm", "lower": "3.175", "upper": "3.175"})
        self.assertEqual((out["value"], out["verdict"], out["by"]), ("3.175", "accept", "0"))
        self.assertEqual(answer("sine_bar_angle", {"blocks_mm": "50", "length_mm": "100", "unit": "dms"})["value"], "30d0m0s")
        self.assertEqual(answer("range", {"values_degC": ["20.1", "20.4"]})["unit"], "delta-degC")

    def test_a_formula_by_pythons_own_arithmetic(self):
        out = answer("formula", {"formula": "sqrt(a^2 + b^2) * cos(t)", "unit": "mm",
                                 "from": {"a_mm": "12.5", "b_in": "1", "t_deg": "30"}})
        self.assertAlmostEqual(float(out["unrounded"]), math.hypot(12.5, 25.4) * math.cos(math.radians(30)), places=12)

    def test_what_is_wrong_says_where(self):
        for name, given, code, where in [
                ("wall", {"outside_mm": "32"}, "missing_field", "inside"),
                ("wall", {"outside_mm": "32", "insid_mm": "25"}, "unknown_field", "insid_mm"),
                ("wall", {"outside_mm": "32", "inside": "25"}, "wrong_unit", "inside"),
                ("wall", {"outside_mm": "32", "inside_deg": "25"}, "wrong_unit", "inside"),
                ("wall", {"outside_mm": "32", "inside_mm": 25}, "bare_number", "inside_mm"),
                ("wall", {"outside_mm": "32", "inside_mm": "25", "unit": "deg"}, "wrong_unit", "unit"),
                ("mean", {"values_mm": ["1", "x"]}, "not_a_decimal", "values_mm[1]"),
                ("roundness", {"sweep": {"turns": "1", "readings_mm": ["1", "2", "3"]}}, "too_few_points", "sweep"),
                ("roundness", {"sweep": {"turns": "1"}}, "missing_field", "sweep.readings_mm"),
                ("roundness", {"sweep": "1"}, "wrong_type", "sweep"),
                ("at_reference", {**example("at_reference"), "part": "cheese"}, "unknown_material", "part"),
                ("at_reference", {**example("at_reference"), "part_temperature_degC": "60"}, "out_of_range", "part_temperature"),
                ("formula", {"formula": "a + 1", "unit": "mm", "from": {"a_mm": "1"}}, "wrong_unit", "formula"),
                ("formula", {"formula": "a + bb", "unit": "mm", "from": {"a_mm": "1", "b_mm": "1"}}, "unknown_name", "formula"),
                ("formula", {"formula": "a", "unit": "mm", "from": ["1"]}, "wrong_type", "from")]:
            with self.subTest(name, code=code, where=where):
                status, out, err = compute(name, given)
                self.assertEqual((status, out), (2, None))
                self.assertIn(code, err)
                self.assertIn(where, err)


class Verdict(unittest.TestCase):
    def test_the_rounding_methods_are_a_named_choice(self):
        # ASTM E29, rounding method: to the places of the limit; a tie to the even digit, or away from zero.
        given = {"value": "25.0215", "lower": "25.000", "upper": "25.022", "unit": "mm"}
        self.assertNotIn("method", answer("verdict", given))
        for value, method, judged, verdict in [("25.0225", "half_even", "25.022", "accept"), ("25.0225", "half_up", "25.023", "reject"),
                                               ("25.0224", "half_up", "25.022", "accept"), ("25.0226", "half_even", "25.023", "reject"),
                                               ("24.9995", "half_even", "25.000", "accept")]:
            with self.subTest(value, method=method):
                out = answer("verdict", {**given, "value": value, "method": method})
                self.assertEqual((out["judged_as"], out["verdict"], out["decimals"]), (judged, verdict, 3))
        self.assertEqual(answer("verdict", {**given, "value": "25.026", "method": "half_even", "decimals": "2"})["judged_as"], "25.03")
        self.assertEqual(answer("verdict", {**given, "value": "25.0224", "method": "absolute"})["verdict"], "reject")
        for wrong in ({"method": "up"}, {"decimals": "2"}, {"method": "half_up", "decimals": "-1"}, {"method": "half_up", "decimals": "1.5"},
                      {"method": "half_up", "decimals": "12"}):
            self.assertEqual(compute("verdict", {**given, **wrong})[0], 2, wrong)


class Uncertainty(unittest.TestCase):
    def test_a_decision_against_pythons_own_normal_distribution(self):
        given = example("decision")
        out = answer("decision", given)
        true = NormalDist(25.020, 0.001)
        self.assertEqual((out["verdict"], out["accept_to_mm"]), ("undecided", "25.019"))
        self.assertAlmostEqual(out["probability_of_conformance"], true.cdf(25.021) - true.cdf(25.000), places=9)
        self.assertAlmostEqual(out["consumers_risk"], 1 - true.cdf(25.021), places=9)
        self.assertEqual(answer("decision", {**given, "rule": "simple"})["verdict"], "accept")
        self.assertEqual(answer("decision", {**given, "value_mm": "25.019"})["verdict"], "accept")
        self.assertEqual(answer("decision", {**given, "value_mm": "25.0230001"})["verdict"], "reject")
        self.assertAlmostEqual(out["tolerance_to_uncertainty"], 10.5, places=9)

    def test_a_budget_recomputed(self):
        out = answer("budget", example("budget"))
        parts = [1.2 / 2, 0.5 / math.sqrt(3), 0.8]
        self.assertAlmostEqual(out["combined_um"], math.sqrt(sum(p * p for p in parts)), places=12)
        self.assertAlmostEqual(out["degrees_of_freedom"], sum(p * p for p in parts) ** 2 / (0.8 ** 4 / 24), places=9)
        self.assertAlmostEqual(sum(line["share"] for line in out["contributions"]), 1, places=12)

    def test_a_length_at_20_degrees(self):
        # tests/reference/data/thermal_examples.csv, first row.
        out = answer("temperature", {"indicated_mm": "100", "part_um_per_m_K": "23.6", "part_degC": "25", "scale_um_per_m_K": "11.5",
                                     "scale_degC": "25"})
        self.assertEqual(out["length_at_20_degC_mm"], "99.993951")
        status, _, err = compute("temperature", {"indicated_mm": "100", "part_degC": "60", "scale_degC": "20"})
        self.assertEqual(status, 2)
        self.assertIn("out_of_range", err)
        self.assertEqual(compute("temperature", {"indicated_mm": "100", "part_material": "cheese", "part_degC": "20", "scale_degC": "20"})[0], 2)


class Refused(unittest.TestCase):
    def test_what_cannot_be_computed_says_why(self):
        line = [{"x_mm": str(n), "y_mm": str(n)} for n in range(4)]
        for name, given, code in [
                ("bolt-circle", {"holes": line[:2]}, "too_few_points"),
                ("bolt-circle", {"holes": line}, "collinear"),
                ("bolt-circle", {**example("bolt-circle"), "nominal_diameter_mm": None}, "missing_field"),
                ("sweep", {"turns": "1", "readings_mm": ["1", "2", "3"]}, "too_few_points"),
                ("sweep", {"angles_deg": ["0", "10", "20", "30"], "readings_mm": ["1", "2", "3", "4"]}, "no_full_turn"),
                ("sweep", {"turns": "0", "readings_mm": ["1", "2", "3", "4"]}, "out_of_range"),
                ("over-wires", {"pitch_mm": "2.5", "over_wires_mm": "20", "wire_mm": "0.5"}, "wire_does_not_touch"),
                ("over-wires", {"pitch_mm": "2.5", "over_wires_mm": "20", "wire_mm": "9"}, "wire_does_not_touch"),
                ("coaxiality", {**example("coaxiality"), "asked": "concentricity"}, "not_by_hand_gauges"),
                ("flatness", {"points": [{"x_mm": str(n), "y_mm": "0", "height_mm": "0"} for n in range(5)]}, "not_determined"),
                ("sine-bar", {"blocks_mm": "100", "length_mm": "100"}, "out_of_range"),
                ("two-balls", {"large_mm": "20", "small_mm": "10", "depth_large_mm": "5", "depth_small_mm": "8"}, "out_of_range"),
                ("dovetail", {"over_rolls_mm": "1", "roll_mm": "6", "angle_deg": "60"}, "out_of_range")]:
            with self.subTest(name, code=code):
                status, out, err = compute(name, given)
                self.assertEqual((status, out), (2, None))
                self.assertIn(code, err)


if __name__ == "__main__":
    unittest.main()
