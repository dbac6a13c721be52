"""The bench of the end-to-end tests: the real daemon on pseudo-terminals, a display, a person's hands. All data invented.

    with Shop(small_shop()) as shop:
        shop.begin("FB-25", 1, 5)
        shop.press("micrometer", push_line("25.011"))
        shop.wait_for(lambda view: view["last"]["verdict"] == "accept")

A Shop lives in a temporary folder of its own and leaves no process behind.
"""
import csv
import http.client
import io
import json
import os
import re
import signal
import sqlite3
import subprocess
import tempfile
import threading
import time
import uuid
from pathlib import Path
from urllib.parse import urlencode

import contract
import terminals
from display import Display

ROOT = Path(__file__).resolve().parents[2]
BIN = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build" / "release" / "bin"))
DEMO = ROOT / "config" / "demo"
START_S = 20


def patched(toml, look_time=0, look_after_reject=0, repeat_window=0, settings=True, void_on=None):
    """A tallystick.toml for a test: any free port, folders of the shop, windows of time that need no waiting."""
    toml = re.sub(r"(?m)^port = .*$", "port = 0", toml, count=1)
    toml = re.sub(r"(?m)^data = .*$", 'data = "data"', toml)
    toml = re.sub(r"(?m)^port_folder = .*$", 'port_folder = "ports"', toml)
    toml = re.sub(r"(?m)^dialect_folders = .*$", f'dialect_folders = ["{ROOT}/config/dialects"]', toml)
    windows = f"look_time_s = {look_time}\nlook_time_after_reject_s = {look_after_reject}\nrepeat_window_s = {repeat_window}\n"
    toml = toml.replace("[[gauge]]\n", "[[gauge]]\n" + windows)
    if void_on is not None:
        toml = re.sub(r"(?m)^void_on = .*$", f"void_on = {json.dumps(void_on)}", toml)
    if not settings:  # gauges that read sizes need no master here; those that read differences do
        toml = re.sub(r'(?s)(reads = "size"[^\[]*?)\[gauge\.setting\]\n(?:[a-z_]+ = .*\n)+', r"\1", toml)
    return toml


class Refused(Exception):
    """A problem (RFC 9457) as the daemon answered it."""

    def __init__(self, status, body):
        super().__init__(f"{status}: {body}")
        self.status, self.body = status, body
        self.code = body.get("code") if isinstance(body, dict) else None


class Shop:
    """`files`: name -> text of the configuration folder, tallystick.toml among them. `lines`: port id -> Terminal maker
    taking the link's path; every other port of the configuration gets a plain Terminal."""

    def __init__(self, files, lines=None, benches=("bench-1",), start=True):
        self.temporary = tempfile.TemporaryDirectory(prefix="tallystick-end-to-end-")
        self.folder = Path(self.temporary.name)
        self.process, self.address, self.output = None, None, []
        self.program = BIN / "tallystickd"
        self.before = []                     # words of a command that starts the daemon, to watch it
        self.touches = 0                     # commands that stand for a hand on pedal, key or screen
        self.displays, self.terminals = {}, None
        try:
            for name, text in files.items():
                path = self.folder / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(text, encoding="utf-8")
            self.config = self.folder / "tallystick.toml"
            ports = self.folder / "ports"
            ports.mkdir(exist_ok=True)
            self.terminals = terminals.Terminals()
            for port, path in re.findall(r'\[\[port\]\]\nid = "([^"]+)"\npath = "([^"]+)"', files["tallystick.toml"]):
                make = (lines or {}).get(port, terminals.Terminal)
                self.terminals.add(port, make(str(ports / path)))
            for bench in benches:
                self.displays[bench] = Display(lambda: self.address, bench)
            if start:
                self.start()
        except BaseException:
            self.close()
            raise

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    # ---- the daemon's process

    def start(self, ready=True):
        self.process = subprocess.Popen([*self.before, self.program, "--config", self.config], stdout=subprocess.PIPE,
                                        stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, text=True, errors="replace")
        found = threading.Event()
        process = self.process

        def read():
            for line in process.stdout:
                self.output.append(line.rstrip("\n"))
                listening = re.search(r"listening on http://(\S+)", line)
                if listening and process is self.process:
                    self.address = listening[1]
                    found.set()
            found.set()

        self.reader = threading.Thread(target=read, daemon=True)
        self.reader.start()
        if not found.wait(START_S) or self.address is None:
            raise AssertionError("the daemon did not come up: " + "\n".join(self.output[-30:]))
        if ready:
            for bench in self.displays:
                self.wait_for(lambda view: True, START_S, "the first view", bench=bench)
            self.wait_for_ports()

    def wait_for_ports(self):
        """The register is read and every port is open; then the first press of a gauge is a whole frame."""
        cards = self.config.read_text(encoding="utf-8").split("[[gauge]]")[1:]
        for bench in self.displays:
            count = sum(f'\nbench = "{bench}"\n' in card for card in cards)
            self.wait_for(lambda view: len(view["gauges"]) == count and all(
                gauge["port_state"] in ("open", "silent") for gauge in view["gauges"]), 10, "every port open", bench=bench)
        time.sleep(0.05)  # an idle gap on the slowest line

    def kill(self, how=signal.SIGKILL):
        """Ends the daemon at once, and waits until it is gone. Its exit status."""
        self.address = None
        self.process.send_signal(how)
        try:
            return self.process.wait(timeout=20)
        finally:
            self.reader.join(timeout=10)
            self.process.stdout.close()

    def stop(self):
        status = self.kill(signal.SIGTERM)
        if status != 0:
            raise AssertionError(f"exit status {status}: " + "\n".join(self.output[-30:]))

    def restart(self):
        self.kill()
        self.start()

    def close(self):
        self.address = None
        if self.process:
            if self.process.poll() is None:
                self.process.kill()
            self.process.wait()
            self.reader.join(timeout=10)
            self.process.stdout.close()
        for display in self.displays.values():
            display.close()  # its connection has ended with the daemon
        if self.terminals:
            self.terminals.close()
        self.temporary.cleanup()

    # ---- HTTP

    def request(self, method, path, body=None, headers=None):
        """(status, headers, bytes). `body`: sent as JSON, or as it is where it is bytes."""
        connection = http.client.HTTPConnection(self.address, timeout=20)
        try:
            data = body if body is None or isinstance(body, bytes) else json.dumps(body)
            connection.request(method, path, data, {**({} if body is None else {"Content-Type": "application/json"}), **(headers or {})})
            answer = connection.getresponse()
            headers, data = dict(answer.getheaders()), answer.read()
            contract.check(method, path, body, answer.status, headers, data)
            return answer.status, headers, data
        finally:
            connection.close()

    def get(self, path):
        status, _, data = self.request("GET", path)
        if status != 200:
            raise Refused(status, json.loads(data) if data else {})
        return json.loads(data)

    def command(self, kind, bench="bench-1", touch=True, **body):
        """A command of a person, told with what the display shows. Raises Refused."""
        saw = body.pop("saw", None)
        if saw is None and bench:
            view = self.view(bench)
            walk = view.get("walk") or {}
            saw = {name: text for name, text in (("walk", walk.get("key")), ("part", walk.get("part")), ("ask", view.get("ask")))
                   if text}
        body = {"kind": kind, "saw": saw or {}, "idempotency_key": body.pop("idempotency_key", str(uuid.uuid4())), **body}
        self.touches += touch
        path = f"/api/v1/benches/{bench}/commands" if bench else "/api/v1/commands"
        status, _, data = self.request("POST", path, body)
        answer = json.loads(data)
        if status != 200:
            raise Refused(status, answer)
        return answer

    def act(self, action, bench="bench-1", reason=None, **wanted):
        """Pedal, key or touch."""
        body = {"action": action, **({"reason": reason} if reason else {}), **wanted}
        return self.command("act", bench, **body)

    # ---- the bench

    def view(self, bench="bench-1"):
        return self.displays[bench].now()

    def wait_for(self, wanted, seconds=10.0, what=None, bench="bench-1"):
        return self.displays[bench].wait_for(wanted, seconds, what)

    def press(self, port, data):
        """The gauge's button: these very bytes on its line."""
        self.terminals.all[port].send(data)

    def take(self, port, data, what="counted", bench="bench-1", seconds=10):
        """A press, and the view that tells of it: `what` in words of `last.what`, or None for any."""
        before = (self.view(bench).get("last") or {}).get("key")
        self.press(port, data)
        return self.wait_for(lambda view: (view.get("last") or {}).get("key") not in (None, before)
                             and what in (None, view["last"]["what"]), seconds, f"{port} {data!r} -> {what}", bench)

    def publish(self, family="fb", person="J. Okoro", reason="new size"):
        return self.command("publish", bench=None, touch=False, family=family, person=person, reason=reason)

    def open_lot(self, size, last, first=1, lot_name="L-1", family="fb", bench="bench-1", **more):
        return self.command("open_lot", bench, touch=False, lot_name=lot_name, family=family, size=size, first=first,
                            last=last, **more)["lot"]

    def begin(self, size, first=1, last=5, stage="final", person="R. Field", bench="bench-1", lot_name="L-1", tools=None,
              publish=True, **lot):
        """Person stated, edition published, lot opened, walk begun. (lot, walk)"""
        self.command("state_person", bench, touch=False, person=person)
        if publish:
            self.publish()
        key = self.open_lot(size, last, first, lot_name, bench=bench, **lot)
        walk = self.begin_walk(key, stage, bench, tools)
        return key, walk

    def begin_walk(self, lot, stage="final", bench="bench-1", tools=None, **more):
        body = {"lot": lot, "stage": stage, **more}
        if tools:
            body["tools"] = tools
        walk = self.command("begin_walk", bench, touch=False, **body)["walk"]
        self.wait_for(lambda view: (view.get("walk") or {}).get("key") == walk, bench=bench)
        return walk

    # ---- what is kept

    def export_csv(self, **parameters):
        """(rows as dicts, cursor, bytes)"""
        status, headers, data = self.request("GET", "/api/v1/export.csv" + _query(parameters))
        if status != 200:
            raise Refused(status, json.loads(data))
        rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))
        return rows, headers["Tallystick-Cursor"], data

    def export_jsonl(self, **parameters):
        status, headers, data = self.request("GET", "/api/v1/export.jsonl" + _query(parameters))
        if status != 200:
            raise Refused(status, json.loads(data))
        return [json.loads(line) for line in data.decode("utf-8").splitlines()], headers["Tallystick-Cursor"]

    def journal(self, sql, *values):
        """Rows of the journal, read beside the daemon."""
        connection = sqlite3.connect(f"file:{self.folder}/data/journal.sqlite3?mode=ro", uri=True, timeout=10)
        try:
            return connection.execute(sql, values).fetchall()
        finally:
            connection.close()

    def entries(self, kind=None):
        """[(journal id, seq, kind, raw, outcome)] in order, `kind` or all."""
        sql = ("SELECT branch.journal, entry.seq, entry.kind, entry.raw, entry.outcome FROM entry JOIN branch ON "
               "branch.number = entry.branch")
        rows = self.journal(sql + (" WHERE entry.kind = ?" if kind else "") + " ORDER BY entry.branch, entry.seq",
                            *([kind] if kind else []))
        return [(journal, seq, what, raw, json.loads(outcome) if outcome else {}) for journal, seq, what, raw, outcome in rows]

    def tool(self, *arguments, status=0):
        """The companion command line. (standard output, standard error)"""
        done = subprocess.run([BIN / "tallystick", *map(str, arguments)], capture_output=True, timeout=120)
        out, error = done.stdout.decode("utf-8"), done.stderr.decode("utf-8")
        if done.returncode != status:
            raise AssertionError(f"tallystick {arguments}: exit status {done.returncode}\n{out}{error}")
        return out, error


def _query(parameters):
    return "?" + urlencode(parameters) if parameters else ""


def wait_until(wanted, seconds=10.0, what="it"):
    end = time.monotonic() + seconds
    while not wanted():
        if time.monotonic() > end:
            raise AssertionError(f"{what} did not come in {seconds} s")
        time.sleep(0.01)
