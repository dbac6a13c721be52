"""A restored backup never gives one key to two readings unseen, and says where the record went on. All data invented."""
import json
import shutil
import unittest

from bench import Refused, Shop
from small_shop import measure, small_shop


def keys_of(rows):
    return [(row["journal"], row["seq"], row["n"]) for row in rows]


class Restore(unittest.TestCase):
    def restore(self, shop, backup):
        """The disk is replaced: the data folder is gone, the backup is put in its place."""
        shop.stop()
        shutil.rmtree(shop.folder / "data")
        shop.tool("restore", backup, "--config", shop.config, "--person", "J. Okoro", "--reason", "disk replaced")
        shop.start()

    def test_both_tens_after_a_backup_are_told_apart_by_key(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 5)
            measure(shop, 5, last_digit=0)
            backup = shop.folder / "noon.sqlite3"
            shop.tool("backup", "--config", shop.config, backup)
            _, noon, _ = shop.export_csv()
            measure(shop, 10, last_digit=1)
            first_ten, lost_cursor, _ = shop.export_csv(after=noon)
            self.assertEqual(len(first_ten), 10)

            self.restore(shop, backup)
            shop.wait_for(lambda view: view["state"] == "resumed")
            shop.act("good")
            measure(shop, 10, last_digit=2)
            second_ten, cursor, _ = shop.export_csv(after=noon)
            self.assertEqual(len(second_ten), 10)
            self.assertTrue(all(row["value"][-1] != "1" for row in second_ten), second_ten)
            self.assertEqual(set(keys_of(first_ten)) & set(keys_of(second_ten)), set())
            self.assertNotEqual(first_ten[0]["journal"], second_ten[0]["journal"])
            whole, _, _ = shop.export_csv()
            self.assertEqual(len(whole), 15)
            self.assertEqual(len(set(keys_of(whole))), 15)
            shop.tool("verify", "--config", shop.config)
            self.assertEqual(shop.export_csv(after=cursor)[0], [])
            with self.assertRaises(Refused) as refused:
                shop.export_csv(after=lost_cursor)
            self.assertEqual(refused.exception.status, 410)

    def test_1530_the_page_names_the_branch_and_a_cursor_gets_410_with_the_way_to_go_on(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 5)
            measure(shop, 6)
            backup = shop.folder / "noon.sqlite3"
            shop.tool("backup", "--config", shop.config, backup)
            last_kept = shop.journal("SELECT branch.journal || '-' || max(seq) FROM entry JOIN branch ON branch.number = "
                                     "entry.branch WHERE kind = 'reading'")[0][0]
            measure(shop, 9)                 # only this end will know of them
            night_job, cursor, _ = shop.export_csv()
            self.restore(shop, backup)
            health = shop.get("/api/v1/health")
            self.assertTrue(health["branched"], health)
            self.assertNotEqual(health["journal"], night_job[0]["journal"])
            self.assertEqual(health["kept_until"].split("-")[0], last_kept.split("-")[0])
            # The lot is open again, as it was at noon.
            view = shop.wait_for(lambda view: view["state"] == "resumed")
            self.assertEqual(view["walk"]["serial"], 1)
            shop.act("good")
            measure(shop, 4)

            status, headers, data = shop.request("GET", f"/api/v1/export.csv?after={cursor}")
            problem = json.loads(data)
            self.assertEqual((status, problem["status"], problem["code"]), (410, 410, "past_branch_point"))
            self.assertEqual(headers["Content-Type"].split(";")[0], "application/problem+json")
            self.assertEqual(problem["branch_point"].split("-")[0], night_job[0]["journal"])
            self.assertEqual(headers["Tallystick-Cursor"], problem["cursor"])
            rows, _, _ = shop.export_csv(after=problem["cursor"])
            self.assertEqual(len(rows), 4)
            self.assertEqual(set(keys_of(rows)) & set(keys_of(night_job)), set())
            # The tool says the same, for the night job's log.
            out, said = shop.tool("export", "--config", shop.config, "--after", cursor, status=3)
            self.assertEqual(out, "")
            self.assertIn(problem["cursor"], said)


if __name__ == "__main__":
    unittest.main()
