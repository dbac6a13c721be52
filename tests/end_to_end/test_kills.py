"""kill -9 of the real daemon at random moments of a lot: whatever anyone was told is in the journal, whatever is in the
journal was pressed, once, and the walk goes on at the exact step. A seed is printed; TALLYSTICK_SEED runs it again."""
import os
import random
import threading
import time
import unittest

from bench import Shop
from small_shop import one_feature_shop
from terminals import push_line

KILLS = int(os.environ.get("TALLYSTICK_KILLS", "200"))
LIMIT_S = 1500


class Presser(threading.Thread):
    """Presses one gauge as fast as it is told to, every time with a value never used before."""

    def __init__(self, shop, numbers, pauses):
        super().__init__(daemon=True)
        self.shop, self.numbers, self.pauses = shop, numbers, pauses
        self.sent, self.running = [], True

    def run(self):
        while self.running:
            number = next(self.numbers)
            value = f"{100 + number // 1000}.{number % 1000:03}"
            self.sent.append(value)
            try:
                self.shop.press("gauge-1", push_line(value))
            except (TimeoutError, OSError):
                return
            time.sleep(self.pauses.choice((0, 0, 0.001, 0.005)))


class Kills(unittest.TestCase):
    def test_nothing_told_is_lost_at_two_hundred_random_kills(self):
        seed = int(os.environ.get("TALLYSTICK_SEED", random.SystemRandom().randrange(1 << 32)))
        print(f"seed {seed}", flush=True)
        chance = random.Random(seed)
        numbers = iter(range(1, 800_000))
        pressed, told, repeated, counted_before = [], {}, 0, 0
        end = time.monotonic() + LIMIT_S
        with Shop(one_feature_shop()) as shop:
            shop.begin("FB-25", 1, 1_000_000)
            for kill in range(KILLS):
                self.assertLess(time.monotonic(), end, f"only {kill} kills in {LIMIT_S} s")
                presser = Presser(shop, numbers, random.Random(chance.random()))
                presser.start()
                time.sleep(chance.uniform(0, 0.12))
                shop.kill()                  # in the middle of whatever it does
                presser.running = False
                presser.join(timeout=10)
                self.assertFalse(presser.is_alive())
                pressed += presser.sent
                told.update(shop.displays["bench-1"].said())
                shop.displays["bench-1"].messages.clear()

                shop.start()
                journal = shop.entries()
                kept = {f"{name}-{seq}" for name, seq, *_ in journal}
                for key, last in told.items():
                    if key not in kept:
                        self.fail(f"told and gone (seed {seed}, kill {kill}): {last}")
                view = shop.view()
                self.assertIn(view["state"], ("resumed", "step"), view)
                if view["state"] == "resumed":   # it says once more what was counted last, and waits for the pedal
                    repeated += 1
                    self.assertTrue(view["last"]["key"] in kept)
                    told[view["last"]["key"]] = view["last"]
                    shop.act("good")
                    view = shop.wait_for(lambda view: view["state"] == "step")
                counted = [entry for entry in journal if entry[2] == "reading" and entry[4].get("what") == "counted"]
                # One feature a part: the walk stands exactly behind what was counted, and goes on there.
                self.assertEqual(view["walk"]["serial"], len(counted) + 1)
                self.assertGreaterEqual(len(counted), counted_before)
                counted_before = len(counted)
            readings = shop.entries("reading")
            raws = [raw for *_, raw, _ in readings]
            sent = {push_line(value) for value in pressed}
            self.assertEqual(len(raws), len(set(raws)), "one press stands twice in the journal")
            self.assertLessEqual(set(raws), sent, "something stands in the journal that nobody pressed")
            for key, last in told.items():
                if last["what"] == "counted":
                    raw = next(raw for name, seq, _, raw, _ in readings if f"{name}-{seq}" == key)
                    self.assertEqual(raw, push_line(last["value"]), "told another value than the one that is kept")
            facts = [row for row in shop.export_csv()[0] if row["kind"] == "result"]
            self.assertEqual(len(facts), counted_before)
            self.assertEqual([row["serial"] for row in facts], [str(n) for n in range(1, counted_before + 1)])
            self.assertGreater(counted_before, KILLS, "the kills came before anything was measured")
            shop.stop()
            shop.tool("verify", "--config", shop.config)
        print(f"{KILLS} kills, {len(pressed)} presses, {len(raws)} kept, {len(told)} told, {repeated} repeated", flush=True)


if __name__ == "__main__":
    unittest.main()
