"""Eight benches on one lot, all pressed at once: no part twice, none left out. All data invented."""
import threading
import unittest

from bench import Shop
from small_shop import one_feature_shop
from terminals import push_line

BENCHES, PARTS = 8, 200


class ManyBenches(unittest.TestCase):
    def test_eight_benches_never_claim_one_part_twice(self):
        benches = [f"bench-{number}" for number in range(1, BENCHES + 1)]
        with Shop(one_feature_shop(BENCHES), benches=benches) as shop:
            lot, _ = shop.begin("FB-25", 1, PARTS, bench=benches[0])
            for bench in benches[1:]:
                shop.command("state_person", bench, touch=False, person=f"inspector at {bench}")
                shop.begin_walk(lot, bench=bench)
            faults = []

            def work(number, bench):
                try:
                    press = 0
                    while True:
                        view = shop.wait_for(lambda view: view["state"] in ("step", "done"), bench=bench)
                        if view["state"] == "done":
                            return
                        press += 1
                        shop.take(f"gauge-{number}", push_line(f"{100 + number}.{press:03}"), None, bench)
                except BaseException as fault:  # told by the test, not by the thread
                    faults.append((bench, fault))
            threads = [threading.Thread(target=work, args=item) for item in enumerate(benches, 1)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join(timeout=120)
            self.assertEqual(faults, [])
            self.assertFalse(any(thread.is_alive() for thread in threads))
            rows = [row for row in shop.export_csv(lot=lot)[0] if row["kind"] == "result"]
            self.assertEqual(sorted(int(row["serial"]) for row in rows), list(range(1, PARTS + 1)))
            self.assertEqual(len({row["part"] for row in rows}), PARTS)
            shares = {bench: sum(row["bench"] == bench for row in rows) for bench in benches}
            self.assertTrue(all(shares.values()), shares)      # every bench had its share
            for row in rows:                                   # and each value came from its own gauge
                self.assertEqual(row["gauge"].removeprefix("gauge-"), row["bench"].removeprefix("bench-"))
                self.assertEqual(int(row["value"].split(".")[0]), 100 + int(row["bench"].removeprefix("bench-")))


if __name__ == "__main__":
    unittest.main()
