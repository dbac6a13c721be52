"""The whole record is proved behind everything else after each start; what was changed long ago is found. Data invented."""
import sqlite3
import time
import unittest

from bench import Shop
from small_shop import one_feature_shop
from terminals import push_line

EVENTS = 1300   # more than the newest thousand that every start looks at itself


class ChainWatch(unittest.TestCase):
    def wait_for_record(self, shop):
        end = time.monotonic() + 30
        while (state := shop.get("/api/v1/health")["record"])["state"] == "checking":
            self.assertLess(time.monotonic(), end, state)
            time.sleep(0.05)
        return state

    def fill(self, shop):
        """Presses in a burst: only the first counts, but everything offered is kept."""
        shop.begin("FB-25", 1, 9000)
        sent = 0
        while len(shop.entries()) < EVENTS:
            for _ in range(100):
                sent += 1
                shop.press("gauge-1", push_line(f"{100 + sent % 800}.{sent % 1000:03}"))
                time.sleep(0.002)

    def test_an_old_event_that_was_changed_is_found_and_said_on_the_page(self):
        with Shop(one_feature_shop()) as shop:
            self.fill(shop)
            shop.stop()
            shop.start()
            state = self.wait_for_record(shop)
            self.assertEqual(state["state"], "sound")
            self.assertGreaterEqual(state["events_checked"], EVENTS)
            shop.stop()
            self.change_old_event(shop.folder / "data" / "journal.sqlite3")
            shop.start()
            state = self.wait_for_record(shop)
            self.assertEqual(state["state"], "broken")
            faults = [fault for fault in shop.get("/api/v1/faults") if fault["code"] == "broken_chain"]
            self.assertEqual(len(faults), 1, faults)
            self.assertIn("verify", faults[0]["hint"])
            # Measuring goes on: what is new can be kept.
            before = len(shop.entries("reading"))
            shop.press("gauge-1", push_line("100.001"))
            end = time.monotonic() + 10
            while len(shop.entries("reading")) == before:
                self.assertLess(time.monotonic(), end)
                time.sleep(0.05)

    def change_old_event(self, path):
        connection = sqlite3.connect(path)
        triggers = connection.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'entry'").fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("UPDATE entry SET raw = x'31' WHERE seq = 20")
        for _, sql in triggers:
            connection.execute(sql)
        connection.commit()
        connection.close()


if __name__ == "__main__":
    unittest.main()
