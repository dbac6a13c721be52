"""Instruments that write text files, into a walk's result: lines appended and a file for each, once each, also over a
restart of the daemon. Data invented."""
import os
import re
import time
import unittest

from bench import Shop, wait_until
from small_shop import small_shop

GAUGE = "height-gauge"


def folder_shop(more):
    files = small_shop()
    files["tallystick.toml"] = re.sub(
        rf'(\[\[port\]\]\nid = "{GAUGE}"\n)path = ".*"\ndialect = ".*"\n',
        rf'\1driver = "folder"\npath = "measured"\ndialect = "folder-columns"\n{more}', files["tallystick.toml"])
    return files


def line(number, value):
    return f"{number};25.11.2026 07:{number:02};{value.replace('.', ',')};mm\n"


class FolderGauge(unittest.TestCase):
    def port(self, shop):
        return next(port for port in shop.get("/api/v1/ports") if port["port"] == GAUGE)

    def shop(self, more):
        shop = Shop(folder_shop(more), start=False)
        self.addCleanup(shop.close)
        self.folder = shop.folder / "ports" / "measured"
        self.folder.mkdir()
        return shop

    def values(self, shop):
        return [row["value"] for row in shop.export_csv()[0]]

    def counted(self, shop, feature):
        return shop.wait_for(lambda view: (view["last"] or {}).get("what") == "counted" and view["last"]["feature"] == feature)

    def step(self, shop, feature):
        shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == feature)
        time.sleep(0.02)  # a file's time is coarse (a kernel tick): it must not lie before what was told

    def append(self, text):
        with open(self.folder / "day.csv", "a", encoding="latin-1") as file:
            file.write(text)

    def test_appended_lines_each_once_over_a_restart(self):
        shop = self.shop('files = "*.csv"\nencoding = "latin-1"\n')
        self.append("Nr;Zeit;Höhe;Einheit\n" + line(1, "29.900"))
        shop.start()
        shop.begin("FB-25", 1, 3)
        self.step(shop, "length")
        self.append(line(2, "30.012")[:-5])  # partly written: it waits for its end
        time.sleep(0.5)
        self.assertEqual(self.values(shop), [])
        self.append(line(2, "30.012")[-5:])
        self.counted(shop, "length")
        self.assertEqual(self.values(shop), ["30.012"])  # not the one that was there before
        raws = [raw for _, _, _, raw, _ in shop.entries("reading")]
        self.assertEqual(raws, [line(2, "30.012").encode()])

        # Restarted, renamed, and written anew with the old lines: nothing comes twice.
        shop.restart()
        os.rename(self.folder / "day.csv", self.folder / "other.csv")
        text = (self.folder / "other.csv").read_bytes()
        (self.folder / "new.tmp").write_bytes(text)
        os.rename(self.folder / "new.tmp", self.folder / "day.csv")
        time.sleep(0.3)
        self.assertEqual(len(shop.entries("reading")), 1)
        shop.act("good")  # resumed
        self.step(shop, "seat-length")
        self.append(line(3, "24.020"))
        self.counted(shop, "seat-length")
        self.assertEqual(self.values(shop), ["30.012", "24.02"])

        # What was written while the daemon was away came before the step was told: kept, never counted.
        shop.stop()
        self.append(line(4, "30.001"))
        shop.start()
        wait_until(lambda: self.port(shop)["last_heard_utc_us"] > 0, what="the line that was written meanwhile")
        self.assertEqual(self.values(shop), ["30.012", "24.02"])

    def test_a_file_for_each_measurement(self):
        shop = self.shop('files = "m-*.csv"\nmode = "whole"\nsettle_ms = 100\n')
        (self.folder / "m-0.csv").write_text(line(1, "29.900"))
        shop.start()
        shop.begin("FB-25", 1, 3)
        self.step(shop, "length")
        (self.folder / "m-1.csv").write_text("\ufeff" + line(2, "30.012"), encoding="utf-16-le")
        self.counted(shop, "length")
        os.rename(self.folder / "m-1.csv", self.folder / "m-2.csv")
        (self.folder / "m-3.csv").write_bytes((self.folder / "m-2.csv").read_bytes())
        time.sleep(0.5)
        self.assertEqual(self.values(shop), ["30.012"])
        self.step(shop, "seat-length")
        (self.folder / "m-2.csv").write_text(line(3, "24.020"))
        self.counted(shop, "seat-length")
        self.assertEqual(self.values(shop), ["30.012", "24.02"])
        self.assertEqual(len(shop.entries("reading")), 2)

    def test_the_folder_goes_and_comes(self):
        shop = self.shop('files = "*.csv"\n')
        shop.start()
        os.rename(self.folder, str(self.folder) + "-away")
        wait_until(lambda: self.port(shop)["code"] == "port_absent", what="the lost folder")
        self.assertIn("mounted", self.port(shop)["hint"])
        os.rename(str(self.folder) + "-away", self.folder)
        wait_until(lambda: self.port(shop)["state"] == "open", what="the folder")

    def test_check_tells_what_does_not_fit(self):
        for more, what in (('mode = "all"\n', "mode"), ('encoding = "ebcdic"\n', "encoding"),
                           ('files = "a/b"\n', "files"), ('settle_ms = -1\n', "settle_ms"),
                           ('mode = "lines"\nsame_again = true\n', "same_again")):
            with self.subTest(more), Shop(folder_shop(more), start=False) as shop:
                out, _ = shop.tool("check", shop.config, status=1)
                self.assertRegex(out, rf"tallystick\.toml:\d+: port {GAUGE}, {what}")


if __name__ == "__main__":
    unittest.main()
