"""The main job: after its start a lot is measured by the gauges' buttons alone, and every value is exported."""
import unittest
from decimal import Decimal

from bench import Shop
from small_shop import good_value, small_shop
from terminals import push_line

PARTS, FEATURES = 5, 12


class ButtonsAlone(unittest.TestCase):
    def test_five_parts_of_twelve_features_by_gauge_bytes_alone(self):
        with Shop(small_shop()) as shop:
            lot, walk = shop.begin("FB-25", 1, PARTS)
            shop.touches = 0
            sent = []
            for press in range(PARTS * FEATURES):
                view = shop.wait_for(lambda view: view["state"] == "step" and view["step"]["gauges"])
                step, part = view["step"], view["walk"]["serial"]
                # A value of its own for each press, so that no two can be taken for one another.
                digits = good_value(step["feature"])
                value = digits[:-1] + str(press % 10)
                gauge = step["gauges"][0]["id"]
                sent.append((str(part), step["feature"], step["place"] or "", value, gauge))
                told = shop.take(gauge, push_line(value))
                self.assertEqual(told["last"]["verdict"], "accept", told["last"])
                self.assertEqual(Decimal(told["last"]["value"]), Decimal(value))
            shop.wait_for(lambda view: view["state"] == "done", what="the end of the lot")
            self.assertEqual(shop.touches, 0)

            rows, _, _ = shop.export_csv(lot=lot)
            results = [row for row in rows if row["kind"] == "result"]
            self.assertEqual(len(results), PARTS * FEATURES)
            for row, (serial, feature, place, value, gauge) in zip(results, sent):
                self.assertEqual((row["serial"], row["feature"], row["place"], row["gauge"], row["verdict"], row["unit"]),
                                 (serial, feature, place, gauge, "accept", "mm"))
                self.assertEqual(Decimal(row["value"]), Decimal(value))
                self.assertEqual(row["typed"], "0")
                self.assertEqual(row["person_how"], "name stated, not signed in")
                self.assertEqual(row["walk"], walk)
            self.assertEqual({row["serial"] for row in results}, {str(n) for n in range(1, PARTS + 1)})
            # The raw bytes of every press lie in the journal.
            raw = [entry[3] for entry in shop.entries("reading")]
            self.assertEqual(raw, [push_line(value) for _, _, _, value, _ in sent])
            shop.stop()
            shop.tool("verify", "--data", shop.folder / "data")


if __name__ == "__main__":
    unittest.main()
