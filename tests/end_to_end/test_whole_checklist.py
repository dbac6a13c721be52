"""The whole demo checklist of one part: one touch for each look, mating check and member of a plug; none for what has a
button. The pedal that asks the height gauge, and the pedal that begins and ends a turn under the indicator, are those gauges'
buttons."""
import json
import unittest

from inspector import Inspector


class WholeChecklist(unittest.TestCase):
    def test_one_touch_for_each_look_check_and_member_and_none_else(self):
        with Inspector("FB-25") as hands:
            hands.set_gauges()
            lot, walk = hands.shop.begin("FB-25", 1, 1, "final")
            hands.tools()                    # ids of plug and mating part: once a walk, counted apart
            hands.shop.touches = 0
            hands.part()
            view = hands.shop.wait_for(lambda view: view["state"] == "done")
            self.assertEqual(view["settings_due"], [])

            rows, _, _ = hands.shop.export_csv(walk=walk)
            results = [row for row in rows if row["kind"] == "result"]
            edition = next(edition for edition in hands.shop.get("/api/v1/checklists")
                           if edition["size"] == "FB-25" and not edition.get("withdrawn"))
            self.assertEqual({row["edition"] for row in results}, {edition["sha"]})
            kinds = {}
            for row in results:
                kinds.setdefault(row["step_kind"], set()).add(row["feature"])
                self.assertEqual(row["verdict"], "accept", row)
            self.assertEqual(kinds, {
                "reading": {"length", "outside-diameter", "bore", "flange-diameter", "flange-thickness", "seat-length",
                            "groove-width", "groove-depth", "bolt-hole-1", "bolt-hole-2", "bolt-hole-3", "bolt-hole-4"},
                "capture": {"runout-face", "runout-outside"},
                "go_no_go": {"grease-thread"},
                "mating_check": {"bolt-pattern"},
                "look": {"chamfers", "deburred", "marking"},
            })
            looks_checks_members = 3 + 1 + 2
            self.assertEqual(hands.answers, looks_checks_members)
            self.assertEqual((hands.pedals, hands.captures), (2, 3))   # the face: begin, end; the outside: begin
            self.assertEqual(hands.shop.touches, looks_checks_members + hands.pedals + hands.captures)
            self.assertEqual({row["typed"] for row in results}, {"0"})
            self.assertEqual({row["measured_again"] for row in results}, {"0"})
            places = [row for row in results if row["feature"] in ("outside-diameter", "bore")]
            self.assertTrue(all(row["least"] and row["greatest"] for row in places), places)

            # And all of it follows from what the gauges sent, decided anew from the record.
            again = json.loads(hands.shop.tool("verify", "--config", hands.shop.config, "--recompute", "--json")[0])["recomputed"]
            self.assertEqual((again["sound"], again["findings"]), (True, []))
            self.assertEqual(again["results"], len(results))
            self.assertGreaterEqual(again["readings"], 12)


if __name__ == "__main__":
    unittest.main()
