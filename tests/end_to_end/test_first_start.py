"""The first start without a configuration, starts with a broken one, and the safe start. All data invented."""
import http.client
import os
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

from bench import Shop, wait_until
from small_shop import measure, small_shop
from starting import Daemon, free_port, tool
from terminals import push_line

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
from browser import Page, needs_browser  # noqa: E402

WISH = {"shop": 'The "Winch" shop \\ invented', "bench": "bench by the window", "person": "J. Okoro",
        "ports": [{"id": "adapter-1", "path": "/dev/serial/by-id/usb-invented-if00-port0", "dialect": "push-line"}]}


class Folder(unittest.TestCase):
    def setUp(self):
        self.temporary = tempfile.TemporaryDirectory(prefix="tallystick-first-")
        self.folder = Path(self.temporary.name) / "etc"
        self.folder.mkdir()
        self.file = self.folder / "tallystick.toml"

    def tearDown(self):
        self.temporary.cleanup()


class FirstStart(Folder):
    def test_nothing_is_written_until_a_person_confirms_and_then_the_house_opens_at_the_same_address(self):
        with Daemon(self.folder) as daemon:
            self.assertEqual(daemon.get("/api/v1/health")["status"], "not_configured")
            self.assertIn("setup.js", daemon.get("/"))
            self.assertIn("setup.js", daemon.get("/bench/bench-1"))
            offer = daemon.get("/api/v1/setup")
            self.assertEqual((offer["file"], offer["record_there"], offer["writable"]), (str(self.file), False, True))
            self.assertIn("push-line", [each["name"] for each in offer["dialects"]])
            status, shown = daemon.request("POST", "/api/v1/setup", {**WISH, "write": False})
            self.assertEqual((status, shown["written"]), (200, False))
            self.assertEqual(os.listdir(self.folder), [])
            status, written = daemon.request("POST", "/api/v1/setup", {**WISH, "write": True})
            self.assertEqual((status, written["written"]), (200, True))
            self.assertEqual(self.file.read_text(encoding="utf-8"), written["text"])
            self.assertEqual(stat.S_IMODE(self.file.stat().st_mode), 0o640)
            daemon.wait_for_address(2)
            page = daemon.get("/api/v1/page")
            self.assertEqual((page["shop"], page["benches"][0]["name"]), (WISH["shop"], WISH["bench"]))
            self.assertEqual([port["port"] for port in daemon.get("/api/v1/ports")], ["adapter-1"])
            self.assertEqual([name for name in os.listdir(self.folder) if name.startswith(".")], [])
            self.assertEqual(daemon.end(), 0)
        self.assertEqual(tool("check", self.folder)[0], 0)

    def test_what_is_typed_is_held_against_its_shape_and_no_line_can_be_smuggled_in(self):
        with Daemon(self.folder) as daemon:
            for change, where in (({"shop": ""}, "shop"), ({"shop": "a\n[daemon]\nport = 1"}, "shop"), ({"bench": None}, "bench"),
                                  ({"ports": [{"id": "Has Blank", "path": "/dev/x", "dialect": "push-line"}]}, "port 1, id"),
                                  ({"ports": [{"id": "a", "path": "ttyUSB0", "dialect": "push-line"}]}, "port 1, path"),
                                  ({"ports": 7}, "ports"), ({"write": "yes"}, "write")):
                status, problem = daemon.request("POST", "/api/v1/setup", {**WISH, "write": True, **change})
                self.assertEqual((status, problem["code"], problem["where"]), (422, "wrong_shape", where), change)
            # A dialect that is not there is found when the whole is checked, before the file has its name.
            status, problem = daemon.request("POST", "/api/v1/setup", {**WISH, "write": True, "ports": [
                {"id": "a", "path": "/dev/x", "dialect": "push-lime"}]})
            self.assertEqual((status, problem["faults"][0]["code"]), (422, "unknown_dialect"), problem)
            self.assertEqual(os.listdir(self.folder), [])

    def test_a_file_that_came_meanwhile_is_never_replaced(self):
        with Daemon(self.folder) as daemon:
            self.file.write_text("# somebody else was faster\n", encoding="utf-8")
            status, problem = daemon.request("POST", "/api/v1/setup", {**WISH, "write": True})
            self.assertEqual((status, problem["code"]), (409, "configured_already"))
            self.assertEqual(self.file.read_text(encoding="utf-8"), "# somebody else was faster\n")
            self.assertEqual(os.listdir(self.folder), ["tallystick.toml"])

    def test_a_folder_that_is_not_there_yet_is_made_with_the_file(self):
        with Daemon(self.folder / "new" / "shop") as daemon:
            self.assertEqual(daemon.get("/api/v1/setup")["writable"], True)
            self.assertEqual(daemon.request("POST", "/api/v1/setup", {**WISH, "write": True})[0], 200)
            daemon.wait_for_address(2)
            self.assertIn("tallystick.toml", os.listdir(self.folder / "new" / "shop"))

    def test_a_page_of_another_origin_writes_nothing(self):
        with Daemon(self.folder) as daemon:
            connection = http.client.HTTPConnection(daemon.address, timeout=10)
            connection.request("POST", "/api/v1/setup", '{"shop":"x","bench":"x","write":true}',
                               {"Content-Type": "application/json", "Origin": "http://elsewhere.example"})
            self.assertEqual(connection.getresponse().status, 403)
            connection.close()
            self.assertEqual(os.listdir(self.folder), [])

    def test_lines_that_were_pasted_are_taken_at_a_reload(self):
        with Daemon(self.folder) as daemon:
            text = daemon.request("POST", "/api/v1/setup", {**WISH, "write": False})[1]["text"]
            self.assertEqual(tool("reload", "--daemon", daemon.address)[0], 1)
            self.file.write_text(text, encoding="utf-8")
            self.assertEqual(tool("reload", "--daemon", daemon.address)[0], 0)
            daemon.wait_for_address(2)
            self.assertEqual(daemon.get("/api/v1/page")["shop"], WISH["shop"])

    def test_once_there_is_a_house_there_is_no_setup(self):
        with Shop(small_shop()) as shop:
            before = shop.config.read_bytes()
            status, _, _ = shop.request("POST", "/api/v1/setup", {**WISH, "write": True})
            self.assertEqual(status, 404)
            self.assertEqual(shop.config.read_bytes(), before)

    @needs_browser
    @unittest.skipUnless(os.geteuid() == 0 and shutil.which("unshare") and
                         subprocess.run(["unshare", "-m", "true"], capture_output=True).returncode == 0, "mounting is forbidden here")
    def test_a_person_sets_up_at_the_page(self):
        """The machine has two adapters: a folder of the test's own stands where the kernel lists its serial lines."""
        plant = Path(self.temporary.name) / "sys"
        for number, serial in ((0, "A9K3"), (1, "")):
            usb = plant / "devices" / f"usb1-{number}"
            (usb / "interface" / f"ttyUSB{number}").mkdir(parents=True)
            (usb / "idVendor").write_text("0403\n")
            (usb / "manufacturer").write_text("Invented\n")
            (usb / "product").write_text("Line Adapter\n")
            if serial:
                (usb / "serial").write_text(serial + "\n")
            (plant / "drivers" / "line_sio").mkdir(parents=True, exist_ok=True)
            (usb / "interface" / f"ttyUSB{number}" / "driver").symlink_to(plant / "drivers" / "line_sio")
            (plant / "tty" / f"ttyUSB{number}").mkdir(parents=True)
            (plant / "tty" / f"ttyUSB{number}" / "device").symlink_to(usb / "interface" / f"ttyUSB{number}")
        before = ["unshare", "-m", "sh", "-c", f'mount --bind "{plant}/tty" /sys/class/tty && exec "$@"', "sh"]
        with Daemon(self.folder, before=before, port=free_port()) as daemon, Page(1024, 1200) as page:
            page.open(f"http://{daemon.address}/?language=en")
            page.wait_for_text("#setup-ports", "Line Adapter")
            page.picture("setup-found")
            self.assertEqual(page.run("return document.querySelectorAll('#setup-ports .use:checked').length"), 2)
            self.assertIn("plug it in there always", page.text("#setup-ports li:nth-child(2)"))
            page.find("#setup-shop").send_keys("Winch shop (invented)")
            page.find("#setup-bench").send_keys("bench by the window")
            page.find("#setup-ports li:nth-child(2) .use").click()
            page.find("#setup-form button[type=submit]").click()
            page.wait_for_text("#setup-text", "[[port]]")
            page.picture("setup-lines")
            self.assertEqual(page.text("#setup-text").count('dialect = "'), 1)
            self.assertFalse(self.file.exists())
            page.find("#setup-shop").send_keys("!")          # what was shown is not what would be written now
            self.assertEqual(page.text("#setup-text"), "")
            page.find("#setup-form button[type=submit]").click()
            page.wait_for_text("#setup-text", "[[port]]")
            page.find("#setup-write").click()
            page.wait_for_text("#page-benches", "bench by the window")   # the page came along by itself
            self.assertEqual(daemon.wait_for_address(2), daemon.addresses[0])
            self.assertIn('"Winch shop (invented)!"', self.file.read_text(encoding="utf-8"))
            self.assertEqual(page.complaints(), [])


class BrokenStart(Folder):
    def test_a_file_that_is_no_toml_gives_a_page_with_its_fault_and_begins_no_second_record(self):
        self.file.write_text('[shop]\nname = "x\n', encoding="utf-8")
        with Daemon(self.folder) as daemon:
            self.assertIn("faults.js", daemon.get("/"))
            faults = daemon.get("/api/v1/faults")
            self.assertEqual([fault["code"] for fault in faults], ["not_toml"])
            self.assertIn("tallystick.toml:2", faults[0]["where"])
            self.assertEqual(daemon.request("POST", "/api/v1/setup", {**WISH, "write": True})[0], 409)
            self.assertEqual(os.listdir(self.folder), ["tallystick.toml"])
            status, _, error = tool("reload", "--daemon", daemon.address)
            self.assertEqual(status, 1)
            self.assertIn("tallystick.toml:2", error)
            self.file.write_text(small_shop()["tallystick.toml"].replace('families = ["fb.family.toml"]', "families = []"), encoding="utf-8")
            daemon.process.send_signal(signal.SIGHUP)
            daemon.wait_for_address(2)
            self.assertEqual(daemon.get("/api/v1/health")["status"], "ok")


class SafeStart(unittest.TestCase):
    def test_record_and_export_are_read_no_gauge_is_opened_and_nothing_is_taken(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 5)
            measure(shop, 4)
            rows = shop.export_csv()[0]
            shop.stop()
            kept = shop.journal("SELECT count(*) FROM entry")[0][0]
            registered = shop.journal("SELECT count(*) FROM entry WHERE kind LIKE 'gauge_%'")[0][0]
            # A dialect that cannot be read is the very reason for a safe start.
            shop.config.write_text(shop.config.read_text(encoding="utf-8").replace('dialect = "push-line"', 'dialect = "gone"'), encoding="utf-8")
            with Daemon(shop.config, "--safe") as daemon:
                self.assertIs(daemon.get("/api/v1/page")["safe"], True)
                self.assertEqual(len(daemon.get("/api/v1/export.csv").splitlines()), len(rows) + 1)
                view = daemon.get("/api/v1/benches/bench-1")
                self.assertEqual(view["walk"]["size"], "FB-25")
                status, problem = daemon.request("POST", "/api/v1/benches/bench-1/commands", {"kind": "act", "action": "good"})
                self.assertEqual((status, problem["code"]), (409, "safe_start"))
                for terminal in shop.terminals.all.values():     # nobody holds a line: what is sent, nobody reads
                    terminal.send(push_line("25.011"))
                self.assertEqual(tool("reload", "--daemon", daemon.address)[0], 3)
                for descriptor in os.listdir(f"/proc/{daemon.process.pid}/fd"):
                    self.assertNotRegex(os.readlink(f"/proc/{daemon.process.pid}/fd/{descriptor}"), r"^/dev/(pts/|tty[A-Z])")
                self.assertEqual(daemon.end(), 0)
            kinds = [kind for (kind,) in shop.journal("SELECT kind FROM entry ORDER BY branch, seq")][kept:]
            self.assertEqual(kinds, ["started", "stopped"])
            self.assertEqual(shop.journal("SELECT count(*) FROM entry WHERE kind LIKE 'gauge_%'")[0][0], registered)

    @needs_browser
    def test_every_page_says_so_unmistakably(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 5)
            shop.stop()
            with Daemon(shop.config, "--safe") as daemon, Page(1024, 768) as page:
                for path in ("/", "/bench/bench-1", "/faults"):
                    page.open(f"http://{daemon.address}{path}?language=en")
                    page.wait_for_text(".safe", "Safe start: no gauge is open")
                    page.picture("safe" + path.replace("/", "-"))
                    box = page.run("const b = document.querySelector('.safe').getBoundingClientRect(); return [b.top, b.width, b.height]")
                    self.assertEqual((box[0], box[1]), (0, 1024))
                    self.assertGreater(box[2], 30)


if __name__ == "__main__":
    unittest.main()
