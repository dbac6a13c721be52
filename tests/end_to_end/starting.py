"""The daemon started as a person starts it, without a bench around it: first setup, safe start, broken files. Invented data."""
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import threading
from pathlib import Path

BIN = Path(os.environ.get("TALLYSTICK_BIN", Path(__file__).resolve().parents[2] / "build" / "release" / "bin"))


class Daemon:
    """Waits for its first address. `before`: words of a command that starts it in surroundings of its own."""

    def __init__(self, config, *arguments, before=(), environment=None, port=0, program=BIN / "tallystickd"):
        self.lines, self.addresses = [], []
        self.changed = threading.Condition()
        self.process = subprocess.Popen([*before, str(program), "--config", str(config), "--setup-port", str(port), *arguments],
                                        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, text=True,
                                        env=dict(os.environ, **(environment or {})))
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()
        self.wait_for_address(1)

    def _read(self):
        for line in self.process.stdout:
            with self.changed:
                self.lines.append(line.rstrip("\n"))
                if found := re.search(r"listening on http://(\S+)", line):
                    self.addresses.append(found[1])
                self.changed.notify_all()

    def wait_for_address(self, count):
        """The `count`-th address that it listened on: the first is the lobby's or the house's."""
        with self.changed:
            if not self.changed.wait_for(lambda: len(self.addresses) >= count, 20):
                raise AssertionError("it did not come up: " + "\n".join(self.lines[-20:]))
            self.address = self.addresses[count - 1]
            return self.address

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self.reader.join(timeout=10)
        self.process.stdout.close()

    def end(self):
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(timeout=20)

    def request(self, method, path, body=None):
        """(status, JSON or text)"""
        connection = http.client.HTTPConnection(self.address, timeout=20)
        try:
            connection.request(method, path, None if body is None else json.dumps(body),
                               {} if body is None else {"Content-Type": "application/json"})
            answer = connection.getresponse()
            data = answer.read().decode("utf-8")
            return answer.status, json.loads(data) if "json" in answer.getheader("Content-Type", "") else data
        finally:
            connection.close()

    def get(self, path):
        status, body = self.request("GET", path)
        if status != 200:
            raise AssertionError(f"{path}: {status}: {body}")
        return body


def free_port():
    """One that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def tool(*arguments):
    """(exit status, standard output, standard error)"""
    done = subprocess.run([BIN / "tallystick", *map(str, arguments)], capture_output=True, text=True, timeout=60)
    return done.returncode, done.stdout, done.stderr
