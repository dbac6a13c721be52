"""The two programs that are measured against each other: the real daemon with an invented shop, and the floor. Each on
pseudo-terminals of its own, in a folder of its own on the disk that is measured."""
import http.client
import json
import os
import re
import signal
import sqlite3
import struct
import subprocess
import termios
import time
import uuid
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
START_S = 20
WARM_UP_S = 1.0  # what comes right after a line was opened may have begun unseen, and the decoder does not believe it
SERIALS = 1_000_000

SHOP = """dialect_folders = ["{root}/config/dialects"]
families = ["fb.family.toml"]

[shop]
name = "Winch bushings (invented data)"

[daemon]
address = "127.0.0.1"
port = 0
data = "data"
port_folder = "ports"
clock = "own"

[reasons]
retake = ["part or gauge was not clean"]
pass_over = ["gauge not available"]
publish = ["new size"]

[[person]]
name = "R. Field"
role = "inspector"
"""

BENCH = """
[[bench]]
id = "bench-{number}"
name = "bench {number}"

[[port]]
id = "port-{number}"
path = "port-{number}"
dialect = "push-line"

[[gauge]]
id = "gauge-{number}"
name = "height gauge {number}"
kind = "height-gauge"
bench = "bench-{number}"
port = "port-{number}"
unit = "mm"
unit_fixed = true
range_lower = "0"
range_upper = "999.999"
resolution = "0.001"
look_time_s = 0
look_time_after_reject_s = 0
repeat_window_s = 0
"""

# So wide that every press accepts: what is measured is the way of a reading, not the shop.
FAMILY = """[family]
key = "fb"
title = "Flanged bushing for winches (invented data)"
sizes = "fb.sizes.csv"

[[feature]]
key = "length"
balloon = "3"
name = "overall length{place}"
nominal = "500 mm"
plus_minus = "499 mm"
gauge_kind = "height-gauge"
{count}"""

SIZES = "size,print_revision,part_number,print_unit\nFB-25,C,FB-25-C,mm\n"


def open_terminal(link):
    """A master whose other end stands at `link`, as a gauge's port would; no one holds the other end yet."""
    master, slave = os.openpty()
    settings = termios.tcgetattr(slave)
    settings[3] &= ~(termios.ECHO | termios.ICANON)
    termios.tcsetattr(slave, termios.TCSANOW, settings)
    os.set_blocking(master, False)
    os.symlink(os.ttyname(slave), link)
    os.close(slave)
    return master


def pinned(cores):
    """For subprocess: on these cores only; None: wherever the system puts it."""
    return (lambda: os.sched_setaffinity(0, cores)) if cores else None


class Side:
    """What both have in common. `name`, `terminals`, `process`, `shared_file` go into the plan."""
    name = ""
    sync_words = struct.Struct("QQQ")

    def __init__(self, folder, binaries, count, cores, count_syncs=False):
        self.folder = Path(folder) / self.name
        self.folder.mkdir()
        (self.folder / "ports").mkdir()
        self.links = [self.folder / "ports" / f"port-{number}" for number in range(1, count + 1)]
        self.terminals = [open_terminal(link) for link in self.links]
        self.binaries, self.cores = Path(binaries), cores
        self.environment = dict(os.environ)
        self.sync_file = None
        if count_syncs:
            self.sync_file = self.folder / "syncs"
            self.sync_file.write_bytes(bytes(self.sync_words.size))
            self.environment |= {"LD_PRELOAD": str(self.binaries / "bench_sync_count.so"),
                                 "BENCH_SYNC_COUNT": str(self.sync_file)}
        self.process = None

    def __enter__(self):
        try:
            self.start()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(self, *_):
        self.close()

    def spawn(self, command):
        self.log = open(self.folder / "log", "wb")
        return subprocess.Popen([str(part) for part in command], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                stderr=self.log, env=self.environment, preexec_fn=pinned(self.cores))

    def wait_for_line(self, pattern):
        """The first line of its output that matches; what it has to say else goes into the complaint."""
        for line in self.process.stdout:
            found = re.search(pattern, line.decode("utf-8", "replace"))
            if found:
                return found
        raise RuntimeError(f"{self.name} did not come up: " + (self.folder / "log").read_text(errors="replace")[-2000:])

    def syncs(self):
        """(of the WAL, of the database, of other files) since the start."""
        return self.sync_words.unpack(self.sync_file.read_bytes())

    def commits(self):
        """Since its WAL index was made: bytes 8 to 11 of the -shm file (sqlite.org/walformat.html, section 2.1)."""
        with open(f"{self.database}-shm", "rb") as shared:
            return struct.unpack("=I", shared.read(12)[8:])[0]

    def rows(self, sql):
        connection = sqlite3.connect(f"file:{self.database}?mode=ro", uri=True, timeout=20)
        try:
            return connection.execute(sql).fetchone()[0]
        finally:
            connection.close()

    def plan(self):
        return {"name": self.name, "terminals": self.terminals, "shared_file": f"{self.database}-shm",
                "process": self.process.pid}

    def close(self):
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(timeout=30)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        if self.process:
            self.process.stdout.close()
            self.log.close()
        for terminal in self.terminals:
            os.close(terminal)
        self.terminals = []


class Floor(Side):
    """`hear`: it reads, parses and counts only."""
    name = "floor"

    def __init__(self, *arguments, hear=False, **named):
        super().__init__(*arguments, **named)
        self.hear = ["--hear"] if hear else []

    def start(self):
        self.database = self.folder / "floor.sqlite3"
        self.process = self.spawn([self.binaries / "bench_floor", *self.hear, self.database, *self.links])
        self.wait_for_line("^ready")

    def kept(self):
        return self.rows("SELECT count(*) FROM result")


class Ours(Side):
    """The daemon: one bench, gauge, lot and walk for each terminal. `places`: so many readings make a part."""
    name = "ours"

    def __init__(self, *arguments, places=1, **named):
        super().__init__(*arguments, **named)
        self.places = places

    def write_configuration(self):
        toml = SHOP.format(root=ROOT) + "".join(BENCH.format(number=n) for n in range(1, len(self.terminals) + 1))
        several = self.places > 1
        family = FAMILY.format(place=" {n} of " + str(self.places) if several else "",
                               count=f"count = {self.places}\n" if several else "")
        for name, text in (("tallystick.toml", toml), ("fb.family.toml", family), ("fb.sizes.csv", SIZES)):
            (self.folder / name).write_text(text, encoding="utf-8")
        self.database = self.folder / "data" / "journal.sqlite3"

    def start(self):
        self.write_configuration()
        self.process = self.spawn([self.binaries / "tallystickd", "--config", self.folder / "tallystick.toml"])
        self.address = self.wait_for_line(r"listening on http://(\S+)")[1]
        self.wait_for_ports()
        self.begin_walks()
        time.sleep(WARM_UP_S)

    def get(self, path):
        return self.request("GET", path)

    def request(self, method, path, body=None):
        connection = http.client.HTTPConnection(self.address, timeout=20)
        try:
            headers = {} if body is None else {"Content-Type": "application/json"}
            connection.request(method, path, None if body is None else json.dumps(body), headers)
            answer = connection.getresponse()
            text = answer.read()
            if answer.status != 200:
                raise RuntimeError(f"{method} {path} {body}: {answer.status} {text.decode()}")
            return json.loads(text)
        finally:
            connection.close()

    def command(self, kind, bench=None, **body):
        path = f"/api/v1/benches/{bench}/commands" if bench else "/api/v1/commands"
        return self.request("POST", path, {"kind": kind, "saw": {}, "idempotency_key": str(uuid.uuid4()), **body})

    def wait_for_ports(self):
        end = time.monotonic() + START_S
        while any(port["state"] not in ("open", "silent") for port in self.get("/api/v1/ports")):
            if time.monotonic() > end:
                raise RuntimeError(f"ports are not open: {self.get('/api/v1/ports')}")
            time.sleep(0.05)

    def begin_walks(self):
        self.command("publish", family="fb", person="R. Field", reason="new size")
        for number in range(1, len(self.terminals) + 1):
            bench = f"bench-{number}"
            self.command("state_person", bench, person="R. Field")
            lot = self.command("open_lot", bench, lot_name=f"L-{number}", family="fb", size="FB-25", first=1,
                               last=SERIALS)["lot"]
            self.command("begin_walk", bench, lot=lot, stage="final")

    def kept(self):
        return self.rows("SELECT count(*) FROM entry WHERE kind = 'reading'")

    def heard(self):
        """Readings of all gauges since the ports were opened: decoded and counted, whether asked for or not."""
        return sum(gauge["readings"] for gauge in self.get("/api/v1/ports/recent"))

    def plan(self):
        benches = [f"bench-{number}" for number in range(1, len(self.terminals) + 1)]
        return {**super().plan(), "address": self.address, "benches": benches}


class Heard(Ours):
    """The daemon with gauges that press while no walk is active: heard, decoded, counted, shown to nobody."""

    def begin_walks(self):
        pass

    def plan(self):
        return {**super().plan(), "benches": []}


def press(how, sides, binaries, cores, **plan):
    """Runs bench_press over both sides; its blocks as they come."""
    terminals = [terminal for side in sides for terminal in side.terminals]
    process = subprocess.Popen([str(Path(binaries) / "bench_press"), how], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                               pass_fds=terminals, preexec_fn=pinned(cores))
    try:
        process.stdin.write(json.dumps({"sides": [side.plan() for side in sides], **plan}).encode())
        process.stdin.close()
        for line in process.stdout:
            yield json.loads(line)
        if process.wait() != 0:
            raise RuntimeError(f"bench_press {how} ended with {process.returncode}")
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        process.stdout.close()
