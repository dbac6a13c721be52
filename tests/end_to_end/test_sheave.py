"""A sheave of the demo shop at bench 3, by its gauges' bytes: what no gauge shows is worked out from readings of the same part,
judged, exported with its working, and decided anew from the record. Everything is worked out here again, with none of the
program's code: by the formulas of the books that the computations name. All data invented."""
import json
import math
import sqlite3
import tempfile
import time
import unittest
from decimal import Decimal

from bench import Shop, wait_until
from small_shop import demo_shop
from terminals import Terminal, asked_line, push_line, status_columns, stream_line

WAIT = 15
RING, HOLES = Decimal("25.003"), [("26.010", "0.005"), ("0.004", "26.008"), ("-25.995", "0.003"), ("-0.006", "-26.004")]
GOOD = {"bore": "25.010", "rim": "79.940", "over-balls": "75.916", "part-temperature": "23.40", "hub-as-read": "39.985",
        **{f"hole-x-{n + 1}": x for n, (x, _) in enumerate(HOLES)}, **{f"hole-y-{n + 1}": y for n, (_, y) in enumerate(HOLES)}}
SPAN = Decimal("0.0240")


class Hands:
    """Bench 3 and who works at it."""

    def __init__(self):
        self.asked, self.turning = "+0.0000", []
        files = demo_shop()
        # The machine under test may stall for longer than an indicator at a bench ever pauses.
        files["fs.family.toml"] = files["fs.family.toml"].replace("\nturn_ms = ", "\nlongest_gap_ms = 3000\nturn_ms = ")
        self.shop = Shop(files, benches=("bench-3",), lines={
            "height-gauge-third": lambda link: Terminal(link, answer=asked_line(lambda: self.asked)),
            "lever-indicator-third": lambda link: Terminal(link, stream=self.indicator, period=0.02),
        })

    def indicator(self):
        return stream_line(self.turning.pop(0) if self.turning else "0.0000")

    def view(self):
        return self.shop.view("bench-3")

    def last(self, before, seconds=WAIT):
        return self.shop.wait_for(lambda view: (view.get("last") or {}).get("key") not in (None, before)
                                  and view["last"]["what"] in ("counted", "setting"), seconds, "what came", "bench-3")

    def press(self, gauge, data):
        before = (self.view().get("last") or {}).get("key")
        self.shop.press(gauge, data)
        return self.last(before)

    def set_gauges(self):
        for due in self.view()["settings_due"]:
            size = Decimal(due["size"])
            shown = status_columns("0.001") if due["gauge"] == "bore-gauge-third" else push_line(f"{size + Decimal('0.001'):.3f}")
            self.press(due["gauge"], shown)

    def begin(self, stage="final", parts=1, lot_name="L-80"):
        self.shop.command("state_person", "bench-3", touch=False, person="M. Lind")
        self.shop.publish("fs")
        lot = self.shop.open_lot("FS-80", parts, lot_name=lot_name, family="fs", bench="bench-3")
        return lot, self.shop.begin_walk(lot, stage, "bench-3")

    def sweep(self):
        """Good arms it; then the part is turned once: out of true by half of the span, with three lobes of a tenth of it."""
        before = (self.view().get("last") or {}).get("key")
        self.shop.act("good", "bench-3")
        self.shop.wait_for(lambda view: view["state"] == "capture", WAIT, "the capture", "bench-3")
        frames = 200
        half = float(SPAN) / 2
        self.turning = [f"{half * (1 - math.cos(2 * math.pi * n / frames)) + half / 10 * math.sin(6 * math.pi * n / frames):.4f}"
                        for n in range(1, frames + 60)]
        return self.last(before, 30)

    def step(self, values):
        view = self.shop.wait_for(lambda view: view["state"] in ("step", "setting"), WAIT, bench="bench-3")
        step = view["step"]
        if step["kind"] == "capture":
            return self.sweep()
        gauge, size = step["gauges"][0], values[step["feature"]]
        if gauge["speaks"] == "asked":
            self.asked = f"{Decimal(size):+.4f}"
            before = (view.get("last") or {}).get("key")
            self.shop.act("good", "bench-3")
            return self.last(before)
        if gauge["id"] == "thermometer":
            return self.press("thermometer", f"T{Decimal(size):+.2f}C\r\n".encode())
        if gauge["id"] == "bore-gauge-third":
            return self.press(gauge["id"], status_columns(f"{Decimal(size) - RING:.3f}"))
        return self.press(gauge["id"], push_line(f"{Decimal(size):.3f}"))

    def part(self, values=GOOD):
        serial = self.view()["walk"]["serial"]
        views = []
        while self.view()["state"] in ("step", "setting") and self.view()["walk"]["serial"] == serial:
            views.append(self.step(values))
        return views


def circle(points):
    """Centre and radius of least squares of the distances: Gauss and Newton, from the mean."""
    x, y = (sum(p[k] for p in points) / len(points) for k in (0, 1))
    r = sum(math.hypot(p[0] - x, p[1] - y) for p in points) / len(points)
    for _ in range(50):
        rows, right = [], []
        for px, py in points:
            d = math.hypot(px - x, py - y)
            rows.append(((x - px) / d, (y - py) / d, -1.0))
            right.append(r - d)
        m = [[sum(a[i] * a[j] for a in rows) for j in range(3)] + [sum(a[i] * b for a, b in zip(rows, right))] for i in range(3)]
        for i in range(3):
            for j in range(3):
                if j != i:
                    f = m[j][i] / m[i][i]
                    m[j] = [p - f * q for p, q in zip(m[j], m[i])]
        x, y, r = x + m[0][3] / m[0][0], y + m[1][3] / m[1][1], r + m[2][3] / m[2][2]
    return x, y, r


class Sheave(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.hands = Hands()
        cls.hands.set_gauges()
        cls.lot, cls.walk = cls.hands.begin()
        cls.views = cls.hands.part()
        cls.hands.shop.wait_for(lambda view: view["state"] == "done", WAIT, bench="bench-3")
        cls.rows = {row["feature"]: row for row in cls.hands.shop.export_csv(walk=cls.walk)[0] if row["kind"] == "result"}

    @classmethod
    def tearDownClass(cls):
        cls.hands.shop.close()

    def near(self, feature, wanted, within=2e-9):
        self.assertAlmostEqual(float(self.rows[feature]["value"]), wanted, delta=within, msg=self.rows[feature])

    def test_every_derived_feature_has_its_result_and_the_part_is_accepted(self):
        derived = {key for key, row in self.rows.items() if row["step_kind"] == "derived"}
        self.assertEqual(derived, {"rim-out-of-round", "groove-diameter", "bolt-circle", "bolt-position", "rim-eccentricity",
                                   "rim-roundness", "hub"})
        for key, row in self.rows.items():
            taken = key in ("over-balls", "part-temperature", "hub-as-read") or key.startswith("hole-")
            self.assertEqual(row["verdict"], "" if taken else "accept", row)
            self.assertEqual(bool(row["working"]), key in derived, row)

    def test_what_they_come_to_is_what_the_books_say(self):
        self.near("rim-out-of-round", 0.0)
        # Circle between two lines: M - d (1 + 1 / sin(A/2)) + b cot(A/2) (ISO 9982:2021, annex, as formula of the sheave).
        half = math.radians(20)
        self.near("groove-diameter", 75.916 - 8 * (1 + 1 / math.sin(half)) + 10 / math.tan(half))
        points = [(float(x), float(y)) for x, y in HOLES]
        self.near("bolt-circle", 2 * circle(points)[2])
        # ASME Y14.5-2009, 7.2: 2 sqrt(dx^2 + dy^2), the worst of four about the datum.
        self.near("bolt-position", max(2 * math.hypot(x - 26 * math.cos(n * math.pi / 2), y - 26 * math.sin(n * math.pi / 2))
                                       for n, (x, y) in enumerate(points)))
        # ISO 1: 23.6 and 11.5 micrometres per metre and kelvin (aluminium 6061, Callister table B.6; the micrometer at 20).
        self.near("hub", 39.985 / (1 + 23.6e-6 * 3.4))

    def test_a_sweep_gives_eccentricity_and_roundness_worked_out_from_its_frames(self):
        # Half of the span is the eccentricity, three lobes of a tenth of that are left: 2 x 0.0012 between concentric circles.
        self.assertAlmostEqual(float(self.rows["rim-eccentricity"]["value"]), 0.012, delta=0.0006)
        self.assertAlmostEqual(float(self.rows["rim-roundness"]["value"]), 0.0024, delta=0.0006)
        sweep = json.loads(self.rows["rim-eccentricity"]["working"])["inputs"][0]["sweeps"][0]
        self.assertGreater(sweep["samples"], 100)

    def test_judged_by_what_the_edition_says_and_that_stands_beside_it(self):
        # Before the plating: 79.88 to 80 less twice 0.008 to 0.012.
        rim = self.rows["rim"]
        self.assertEqual((rim["limits_of"], rim["lower"], rim["upper"]), ("before_finish", "79.864", "79.976"))
        hub = self.rows["hub"]
        self.assertEqual((hub["limits_of"], hub["decision"], hub["judging"]), ("print", "stringent", "absolute"))
        u = math.sqrt(0.001 ** 2 + 0.0005 ** 2 / 3 + 0.0008 ** 2 + 0.0009 ** 2 / 3)   # JCGM 100:2008, 5.1.2
        self.assertGreater(float(hub["uncertainty"]), 2 * u)
        self.assertLess(float(hub["uncertainty"]), 2.2 * u)
        value, lower, upper = float(hub["value"]), float(hub["lower"]), float(hub["upper"])
        phi = lambda z: (1 + math.erf(z / math.sqrt(2))) / 2                          # JCGM 106:2012, 7.2
        self.assertAlmostEqual(float(hub["conformance"]), phi((upper - value) / u) - phi((lower - value) / u), delta=2e-6)

    def test_the_page_is_told_with_the_reading_that_completed_it(self):
        told = [view["last"] for view in self.views if any(one["feature"] == "bolt-position" for one in view["last"]["derived"])]
        self.assertEqual(len(told), 1)
        self.assertIn(told[0]["feature"], ("hole-x-4", "hole-y-4", "hole-x-1", "hole-y-1", "hole-x-2", "hole-x-3", "hole-y-2", "hole-y-3"))
        one = next(each for each in told[0]["derived"] if each["feature"] == "bolt-position")
        self.assertEqual(one["value"], self.rows["bolt-position"]["value"])
        self.assertTrue(one["working"])

    def test_json_lines_carry_the_working_too(self):
        facts, _ = self.hands.shop.export_jsonl(walk=self.walk)
        hub = next(fact for fact in facts if fact["feature"] == "hub")
        working = json.loads(hub["working"])
        self.assertEqual(working["computation"], "at_reference")
        self.assertAlmostEqual(float(working["unrounded"]), float(hub["value"]), delta=1e-9)

    def test_verify_decides_all_of_it_anew(self):
        out, _ = self.hands.shop.tool("verify", "--config", self.hands.shop.config, "--recompute", "--json")
        again = json.loads(out)["recomputed"]
        self.assertEqual((again["sound"], again["findings"]), (True, []))
        self.assertEqual(again["derived"], 7)
        self.assertEqual(again["sweeps"], 2)
        self.assertGreaterEqual(again["readings"], 15)

    def found_where(self, column, before, after):
        """What `verify --recompute` finds in a copy of the record in which one text was changed."""
        with tempfile.TemporaryDirectory() as folder:
            changed = f"{folder}/changed.sqlite3"
            self.hands.shop.tool("backup", "--config", self.hands.shop.config, changed)
            connection = sqlite3.connect(changed)
            for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
                connection.execute(f'DROP TRIGGER "{name}"')
            connection.execute(f"UPDATE entry SET {column} = replace({column}, ?, ?)", (f'"{before}"', f'"{after}"'))
            connection.commit()
            connection.close()
            out, _ = self.hands.shop.tool("verify", changed, "--recompute", "--json", status=1)
        return json.loads(out)["recomputed"]["findings"]

    def test_verify_finds_a_result_that_does_not_follow_from_its_readings(self):
        value = self.rows["hub"]["value"]
        worse = value[:-1] + str((int(value[-1]) + 1) % 10)   # by a picometre
        found = self.found_where("outcome", value, worse)
        self.assertEqual({one["code"] for one in found}, {"result_differs"})
        self.assertIn(value, found[0]["what"])

    def test_verify_finds_a_reading_that_was_counted_otherwise_than_it_was_sent(self):
        found = self.found_where("input", "39.985", "39.986")
        self.assertEqual({one["code"] for one in found}, {"reading_differs"})


class Rejected(unittest.TestCase):
    def test_a_hole_in_the_wrong_place_rejects_the_part_at_its_last_reading_and_a_retake_mends_it(self):
        hands = Hands()
        try:
            hands.set_gauges()
            _, walk = hands.begin()
            hands.part({**GOOD, "hole-x-2": "0.204"})
            rows = [row for row in hands.shop.export_csv(walk=walk)[0] if row["feature"] == "bolt-position"]
            self.assertEqual([row["verdict"] for row in rows], ["reject"])
            self.assertGreater(Decimal(rows[0]["by"]), Decimal("0.2"))
            parts = hands.shop.get("/api/v1/lots")
            self.assertTrue(any(claim["end"] == "rejected" for lot in parts for claim in lot.get("claims", {}).values()), parts)
        finally:
            hands.shop.close()


if __name__ == "__main__":
    unittest.main()
