"""What the daemon tells a service manager, heard on a socket of the test's own; the sandbox of the unit.

The messages are those of sd_notify(3) and systemd.service(5), as published with systemd 252.
"""
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "end_to_end"))
from small_shop import small_shop  # noqa: E402

BIN = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build" / "release" / "bin"))
UNIT = ROOT / "config" / "system" / "tallystick.service.in"
WORST_EXPOSURE = 2.0


class Service:
    """A daemon started as a service manager does; its messages as a list of dicts."""

    def __init__(self, watchdog_s=None, abstract=False, files=None):
        self.folder = Path(tempfile.mkdtemp(prefix="tallystick-service-"))
        for name, text in (small_shop() if files is None else files).items():
            path = self.folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        (self.folder / "ports").mkdir(exist_ok=True)
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        name = f"@tallystick-{os.getpid()}-{time.monotonic_ns()}" if abstract else str(self.folder / "notify")
        self.socket.bind(name.replace("@", "\0", 1) if abstract else name)
        self.socket.settimeout(0.1)
        environment = dict(os.environ, NOTIFY_SOCKET=name)
        if watchdog_s:
            environment["WATCHDOG_USEC"] = str(int(watchdog_s * 1e6))
        self.log = open(self.folder / "log", "w+", encoding="utf-8")
        self.process = subprocess.Popen([BIN / "tallystickd", "--config", self.folder, "--setup-port", "0"], env=environment,
                                        stdin=subprocess.DEVNULL, stdout=self.log, stderr=subprocess.STDOUT)
        self.messages = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.kill()
        self.process.wait()
        self.log.close()
        self.socket.close()
        shutil.rmtree(self.folder)

    def hear(self):
        try:
            data = self.socket.recv(8192).decode("utf-8")
        except TimeoutError:
            return
        self.messages.append(dict(line.split("=", 1) for line in data.splitlines()))

    def wait_for(self, wanted, seconds=10, since=0):
        """Index of the first message from `since` on that fits."""
        end = time.monotonic() + seconds
        at = since
        while True:
            while at < len(self.messages):
                if wanted(self.messages[at]):
                    return at
                at += 1
            if time.monotonic() > end:
                raise AssertionError(f"not told in {seconds} s; told: {self.messages}; " + (self.folder / "log").read_text()[-2000:])
            self.hear()

    def alive_in(self, seconds):
        """How many signs of life come in that time."""
        before = len(self.messages)
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.hear()
        return sum("WATCHDOG" in message for message in self.messages[before:])


class Told(unittest.TestCase):
    def test_ready_reloading_and_stopping_are_told_with_what_stands(self):
        for abstract in (False, True):
            with self.subTest(abstract=abstract), Service(abstract=abstract) as service:
                ready = service.wait_for(lambda message: message.get("READY") == "1")
                self.assertRegex(service.messages[ready]["STATUS"], r"^1 benches, 6 ports, http://127\.0\.0\.1:\d+, ")
                before = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
                service.process.send_signal(signal.SIGHUP)
                reloading = service.wait_for(lambda message: message.get("RELOADING") == "1", since=ready + 1)
                told = int(service.messages[reloading]["MONOTONIC_USEC"])
                self.assertTrue(before <= told <= time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000, (before, told))
                again = service.wait_for(lambda message: message.get("READY") == "1", since=reloading + 1)
                service.process.send_signal(signal.SIGTERM)
                service.wait_for(lambda message: message.get("STOPPING") == "1", since=again + 1)
                self.assertEqual(service.process.wait(timeout=20), 0)

    def test_a_refused_reload_is_told_in_the_status(self):
        with Service() as service:
            ready = service.wait_for(lambda message: message.get("READY") == "1")
            with open(service.folder / "tallystick.toml", "a", encoding="utf-8") as file:
                file.write("\n[[gauge\n")
            service.process.send_signal(signal.SIGHUP)
            again = service.wait_for(lambda message: message.get("READY") == "1", since=ready + 1)
            self.assertIn("was not taken", service.messages[again]["STATUS"])
            self.assertIn("tallystick.toml", service.messages[again]["STATUS"])

    def test_without_a_configuration_it_is_ready_too_and_says_what_is_missing(self):
        with Service(files={}) as service:
            ready = service.wait_for(lambda message: message.get("READY") == "1")
            self.assertIn("no such file", service.messages[ready]["STATUS"])


class Watchdog(unittest.TestCase):
    def threads(self, pid):
        """(id of the first thread, ids of the others)"""
        return pid, [int(task) for task in os.listdir(f"/proc/{pid}/task") if int(task) != pid]

    def test_signs_of_life_come_while_both_threads_turn_and_none_without_a_watchdog(self):
        with Service(watchdog_s=10) as service:
            service.wait_for(lambda message: message.get("READY") == "1")
            self.assertGreaterEqual(service.alive_in(3.5), 2)
        with Service() as service:
            service.wait_for(lambda message: message.get("READY") == "1")
            self.assertEqual(service.alive_in(2.5), 0)

    @unittest.skipUnless(shutil.which("strace"), "strace is not installed")
    def test_a_writing_thread_that_stands_still_is_no_life_although_the_other_turns(self):
        """strace holds the writing thread alone in its next system call: the pages go on, the signs of life end."""
        with Service(watchdog_s=10) as service:
            service.wait_for(lambda message: message.get("READY") == "1")
            self.assertGreaterEqual(service.alive_in(2.5), 1)
            pid, others = self.threads(service.process.pid)
            held = []
            try:
                for task in others:
                    # Delays each of its futex calls by a minute: the thread that waits for work does not come round.
                    tracer = subprocess.Popen(["strace", "-q", "-o", "/dev/null", "-p", str(task), "-e", "trace=futex",
                                               "-e", "inject=futex:delay_exit=60000000"], stderr=subprocess.PIPE)
                    held.append(tracer)
                time.sleep(1.5)
                for tracer in held:
                    if tracer.poll() is not None and b"Operation not permitted" in tracer.stderr.read():
                        self.skipTest("strace may not attach here")
                service.alive_in(1.5)   # one may be under way
                self.assertEqual(service.alive_in(4), 0)
                address = re.search(r"listening on http://(\S+)", (service.folder / "log").read_text())[1]
                host, port = address.rsplit(":", 1)
                with socket.create_connection((host, int(port)), timeout=5) as pages:   # the other thread turns
                    pages.sendall(b"GET /api/v1/health HTTP/1.1\r\nHost: " + address.encode() + b"\r\nConnection: close\r\n\r\n")
                    self.assertIn(b"200 OK", pages.recv(4096))
            finally:
                for tracer in held:
                    tracer.terminate()
                for tracer in held:
                    try:
                        tracer.wait(timeout=5)
                    except subprocess.TimeoutExpired:
                        tracer.kill()
                        tracer.wait()
                    tracer.stderr.close()


class Sandbox(unittest.TestCase):
    def unit(self):
        return UNIT.read_text(encoding="utf-8").replace("@bindir@", "/usr/bin")

    @unittest.skipUnless(shutil.which("systemd-analyze"), "systemd-analyze is not installed")
    def test_the_exposure_of_the_unit_is_at_most_2(self):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tallystick.service"
            path.write_text(self.unit(), encoding="utf-8")
            done = subprocess.run(["systemd-analyze", "security", "--offline=yes", "--no-pager", str(path)], capture_output=True,
                                  text=True, timeout=60)
            found = re.search(r"Overall exposure level for tallystick\.service: ([0-9.]+)", done.stdout)
            self.assertTrue(found, done.stdout + done.stderr)
            self.assertLessEqual(float(found[1]), WORST_EXPOSURE, done.stdout)

    @unittest.skipUnless(shutil.which("systemd-analyze"), "systemd-analyze is not installed")
    def test_the_unit_has_no_word_that_systemd_does_not_know(self):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tallystick.service"
            path.write_text(self.unit().replace("/usr/bin/", str(BIN) + "/"), encoding="utf-8")
            done = subprocess.run(["systemd-analyze", "verify", "--man=no", str(path)], capture_output=True, text=True, timeout=60)
            ours = [line for line in (done.stdout + done.stderr).splitlines() if "tallystick.service" in line]
            self.assertEqual(ours, [])

    def test_every_way_in_of_a_gauge_stays_open_to_the_unit(self):
        allowed = set(re.findall(r"(?m)^DeviceAllow=(\S+) ", self.unit()))
        self.assertLessEqual({"char-ttyUSB", "char-ttyACM", "char-ttyS", "char-usb_device", "char-input", "char-hidraw"}, allowed)
        self.assertIn("\nSupplementaryGroups=dialout\n", self.unit())
        # The group and the folders are made by the files beside it.
        self.assertIn("m tallystick dialout", (UNIT.parent / "tallystick.sysusers").read_text())


def allowed_calls(filters):
    """The system calls that SystemCallFilter lines let through; groups as this machine's systemd lists them."""
    groups, group = {}, None
    for line in subprocess.run(["systemd-analyze", "syscall-filter", "--no-pager"], capture_output=True, text=True, timeout=60).stdout.splitlines():
        line = re.sub(r"\x1b\[[0-9;]*m", "", line)
        if line.startswith("@"):
            group = line.strip()
            groups[group] = []
        elif line.startswith("    ") and group and not line.strip().startswith("#"):
            groups[group].append(line.strip())

    def expand(name):
        return {name} if not name.startswith("@") else set().union(*(expand(part) for part in groups[name]))

    allowed = set()
    for line in filters:
        names = set().union(*(expand(name) for name in line.lstrip("~").split()))
        allowed = allowed - names if line.startswith("~") else allowed | names
    return allowed


class SystemCalls(unittest.TestCase):
    @unittest.skipUnless(shutil.which("strace") and shutil.which("systemd-analyze"), "strace or systemd-analyze is not installed")
    def test_every_system_call_of_a_day_is_one_that_the_unit_allows(self):
        """A start, a walk measured, a reload, a first setup, a backup beside it, a stop: all of it watched."""
        filters = re.findall(r"(?m)^SystemCallFilter=(.*)$", UNIT.read_text(encoding="utf-8"))
        allowed = allowed_calls(filters)
        self.assertIn("pwrite64", allowed)
        self.assertNotIn("reboot", allowed)
        from bench import Shop
        from small_shop import measure
        from starting import Daemon
        with tempfile.TemporaryDirectory(prefix="tallystick-calls-") as folder:
            log = Path(folder) / "calls"
            # -D: the daemon is the child that the test started, and strace looks on from aside.
            watched = ["strace", "-D", "-f", "-qq", "-e", "signal=none", "-o"]
            with Shop(small_shop(), start=False) as shop:
                shop.before = [*watched, str(log)]
                shop.start()
                shop.begin("FB-25", 1, 2)
                measure(shop, 3)
                shop.tool("reload", "--config", shop.config)
                shop.export_csv()
                shop.stop()
            (Path(folder) / "etc").mkdir()
            with Daemon(Path(folder) / "etc", before=[*watched, str(log) + "-2"]) as daemon:
                daemon.request("POST", "/api/v1/setup", {"shop": "x", "bench": "x", "ports": [], "write": True})
                daemon.wait_for_address(2)
                self.assertEqual(daemon.end(), 0)
            time.sleep(0.5)   # until strace has written its last lines
            text = log.read_text(errors="replace") + Path(str(log) + "-2").read_text(errors="replace")
        used = set(re.findall(r"(?m)^\d+ +(?:<\.\.\. )?([a-z0-9_]+)(?:\(| resumed)", text))
        self.assertLessEqual({"pwrite64", "fdatasync", "epoll_wait", "linkat" if "linkat" in used else "link"}, used)
        # SQLite gives its files to the folder's owner where it runs as root, as this test may; the service does not.
        self.assertEqual(used - allowed - ({"fchown"} if os.geteuid() == 0 else set()), set())
        self.assertNotRegex(UNIT.read_text(encoding="utf-8"), r"(?m)^ProtectClock=")   # it filters calls of its own


if __name__ == "__main__":
    unittest.main()
