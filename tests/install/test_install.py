"""tools/install below a folder of its own: what lies where, that it runs from there, that taking it away leaves the record; the
screen's script; the rules for serial lines in the machine's own udev. All data invented."""
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "end_to_end"))
from starting import Daemon, free_port  # noqa: E402

BIN = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build" / "release" / "bin"))
SYSTEM = ROOT / "config" / "system"
RULES = SYSTEM / "70-tallystick.rules"


def run(*command, check=True, **named):
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, timeout=120, stdin=subprocess.DEVNULL, **named)
    if check and done.returncode != 0:
        raise AssertionError(f"{command}: exit status {done.returncode}\n{done.stdout}{done.stderr}")
    return done


@unittest.skipUnless(BIN.parent == ROOT / "build" / "release", "tools/install installs build/release, and another build is tested")
class Installed(unittest.TestCase):
    def setUp(self):
        self.temporary = tempfile.TemporaryDirectory(prefix="tallystick-install-")
        self.addCleanup(self.temporary.cleanup)
        self.root = Path(self.temporary.name)
        self.environment = dict(os.environ, DESTDIR=str(self.root))

    def install(self, *arguments, check=True):
        return run(ROOT / "tools" / "install", "--no-build", *arguments, check=check, env=self.environment)

    def files(self):
        return sorted(str(path.relative_to(self.root)) for path in self.root.rglob("*") if path.is_file())

    def test_it_runs_from_where_it_was_installed_and_taking_it_away_leaves_the_record(self):
        self.install("--prefix", "/opt/bench")
        at = self.root / "opt/bench"
        unit = (at / "lib/systemd/system/tallystick.service").read_text(encoding="utf-8")
        self.assertIn("\nExecStart=/opt/bench/bin/tallystickd --config /etc/tallystick\n", unit)
        self.assertNotIn("@", unit.replace("@system-service", "").replace("@privileged", "").replace("@resources", ""))
        self.assertFalse((self.root / "etc").exists())
        # The first setup finds the dialects that were installed, not those of the tree.
        config = self.root / "etc/tallystick"
        config.mkdir(parents=True)
        state = self.root / "var/lib/tallystick"
        state.mkdir(parents=True)
        with Daemon(config, port=free_port(), program=at / "bin/tallystickd", environment={"STATE_DIRECTORY": str(state)}) as daemon:
            status, answer = daemon.request("POST", "/api/v1/setup", {"shop": "Example shop (invented data)", "bench": "bench 1", "write": True, "ports": []})
            self.assertEqual(status, 200, answer)
            self.assertIn(f'dialect_folders = ["{at}/share/tallystick/dialects"]', answer["text"])
            daemon.wait_for_address(2)
            self.assertEqual(daemon.end(), 0)
        tool = at / "bin/tallystick"
        run(tool, "verify", "--config", config)
        run(tool, "backup", "--config", config, state / "copy.sqlite3")
        journal = (state / "data/journal.sqlite3").read_bytes()
        self.install("--remove", "--prefix", "/opt/bench")
        self.assertEqual([file for file in self.files() if file.startswith("opt/")], [])
        self.assertEqual((state / "data/journal.sqlite3").read_bytes(), journal)
        self.assertTrue((config / "tallystick.toml").exists())

    def test_the_screen_of_a_bench_is_set_up_only_when_asked_for_and_its_settings_are_not_replaced(self):
        self.install()
        self.assertFalse((self.root / "etc").exists())
        self.install("--screen", "bench-2")
        entry = (self.root / "etc/xdg/autostart/tallystick-screen.desktop").read_text(encoding="utf-8")
        self.assertIn("\nExec=/usr/local/libexec/tallystick/screen\n", entry)
        settings = self.root / "etc/default/tallystick-screen"
        self.assertIn("\nBENCH=bench-2\n", settings.read_text(encoding="utf-8"))
        settings.write_text("BENCH=bench-7\n", encoding="utf-8")
        self.install("--screen", "bench-3")
        self.assertEqual(settings.read_text(encoding="utf-8"), "BENCH=bench-7\n")

    def test_wrong_arguments_are_named(self):
        for arguments, said in ((["--prefx", "/x"], "--prefx"), (["--prefix", "here"], "whole path")):
            done = self.install(*arguments, check=False)
            self.assertEqual(done.returncode, 2)
            self.assertIn(said, done.stderr)
        self.assertEqual(self.files(), [])


class Screen(unittest.TestCase):
    def test_the_browser_is_told_the_bench_s_page_and_a_bad_bench_is_refused(self):
        with tempfile.TemporaryDirectory(prefix="tallystick-screen-") as folder:
            browser = Path(folder) / "chromium"
            browser.write_text(f'#!/bin/sh\nprintf "%s\\n" "$@" > "{folder}/called"\nkill -TERM $PPID\n')
            browser.chmod(0o755)
            environment = {"PATH": f"{folder}:/usr/bin:/bin", "HOME": folder}
            subprocess.run([SYSTEM / "screen", "bench-2"], env=environment, timeout=20, stdin=subprocess.DEVNULL)
            called = Path(folder, "called").read_text().splitlines()
            self.assertIn("--kiosk", called)
            self.assertEqual(called[-1], "http://127.0.0.1:7411/bench/bench-2")
            done = run(SYSTEM / "screen", "bench-2; reboot", env=environment, check=False)
            self.assertEqual(done.returncode, 2)
            self.assertIn("no id of a bench", done.stderr)
            browser.unlink()
            (Path(folder) / "tools").mkdir()
            for name in ("sh", "mkdir", "date"):
                (Path(folder) / "tools" / name).symlink_to(shutil.which(name))
            done = run(SYSTEM / "screen", env={"PATH": f"{folder}/tools", "HOME": folder}, check=False)
            self.assertEqual(done.returncode, 3)
            self.assertIn("no browser is installed", done.stderr)


def mounting_is_allowed():
    return os.geteuid() == 0 and shutil.which("unshare") and run("unshare", "--mount", "true", check=False).returncode == 0


@unittest.skipUnless(shutil.which("udevadm"), "udevadm is not installed")
@unittest.skipUnless(mounting_is_allowed(), "mounting is forbidden here")
@unittest.skipUnless(Path("/sys/class/tty/tty0").exists(), "this machine has no /sys/class/tty/tty0 to stand for a line")
class SerialLines(unittest.TestCase):
    """The machine's own udev decides about one of its terminals, to which a rule of the test gives an adapter's properties. /dev
    and /run are the test's own meanwhile."""

    def decide(self, properties):
        """(properties afterwards, {link: target}, mode and group of the node)"""
        plant = ", ".join(f'ENV{{{name}}}="{value}"' for name, value in properties.items())
        script = f"""set -e
            mount -t tmpfs none /run; mkdir -p /run/udev/rules.d; cp '{RULES}' /run/udev/rules.d/
            mount -t tmpfs none /dev; mknod /dev/tty0 c 4 0; mknod /dev/null c 1 3
            printf '%s\\n' 'KERNEL=="tty0", {plant}' > /run/udev/rules.d/61-plant.rules
            udevadm test --action=add /sys/class/tty/tty0 2>&1
            echo ----; stat -c '%a %G' /dev/tty0; ls /dev/gauge 2>/dev/null || true"""
        out = run("unshare", "--mount", "sh", "-c", script).stdout
        self.assertNotRegex(out, r"70-tallystick\.rules:\d+ (Invalid|Unknown|Failed)")
        before, after = out.rsplit("----\n", 1)
        lines = after.split("\n")
        return dict(re.findall(r"(?m)^([A-Z_]+)=(.*)$", before)), set(lines[1:]) - {""}, lines[0]

    USB = {"ID_BUS": "usb", "ID_USB_VENDOR_ID": "0000", "ID_USB_MODEL_ID": "0001", "ID_USB_INTERFACE_NUM": "00", "ID_PATH": "pci-0-usb-0:1"}

    def test_an_adapter_has_a_name_by_its_serial_number_and_one_by_its_socket_and_is_left_alone_by_modem_programs(self):
        found, links, node = self.decide({**self.USB, "ID_USB_SERIAL_SHORT": "A9K3"})
        self.assertEqual(links, {"0000-0001-A9K3-if00", "at-pci-0-usb-0:1"})
        self.assertEqual(node, "660 dialout")
        self.assertEqual(found["ID_MM_DEVICE_IGNORE"], "1")

    def test_two_lines_of_one_adapter_have_two_names(self):
        _, links, _ = self.decide({**self.USB, "ID_USB_SERIAL_SHORT": "A9K3", ".ID_PORT": "1"})
        self.assertEqual(links, {"0000-0001-A9K3-if00-port1", "at-pci-0-usb-0:1-port1"})

    def test_without_a_serial_number_only_the_socket_names_it_and_what_is_no_usb_is_left_alone(self):
        self.assertEqual(self.decide(self.USB)[1], {"at-pci-0-usb-0:1"})
        found, links, _ = self.decide({"ID_BUS": "pci", "ID_PATH": "pci-0"})
        self.assertEqual(links, set())
        self.assertNotIn("ID_MM_DEVICE_IGNORE", found)


if __name__ == "__main__":
    unittest.main()
