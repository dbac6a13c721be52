"""A display of a bench: a WebSocket client that keeps the view as a page does, and every message that came."""
import copy
import json
import threading
import time

import websocket  # Debian's python3-websocket


class Display:
    """Connects for as long as it lives, and anew where the connection ends."""

    def __init__(self, address_of, bench, name="display-1"):
        self.address_of, self.bench, self.name = address_of, bench, name
        self.view, self.messages, self.tones = {}, [], []
        self.connections = 0
        self.fault = None
        self.changed = threading.Condition()
        self.running, self.socket = True, None
        self.thread = threading.Thread(target=self._run, daemon=True, name=f"display of {bench}")
        self.thread.start()

    def _run(self):
        while self.running:
            address = self.address_of()
            if address is None:
                time.sleep(0.005)
                continue
            try:
                self.socket = websocket.create_connection(
                    f"ws://{address}/api/v1/benches/{self.bench}/live?display={self.name}", timeout=5)
                self.connections += 1
                while self.running:
                    text = self.socket.recv()
                    if not text:
                        break
                    self._take(json.loads(text))
            except (OSError, websocket.WebSocketException) as error:
                self.fault = error
            finally:
                if self.socket:
                    self.socket.close()
            with self.changed:
                self.view = {}
                self.changed.notify_all()
            time.sleep(0.01)

    def _take(self, message):
        if message["type"] == "alive":
            return
        with self.changed:
            if message["type"] == "snapshot":
                self.view = message["view"]
            else:
                self.view = {**self.view, **message["view"]}
            self.messages.append(message)
            sound = message["view"].get("sound")
            if sound and (not self.tones or self.tones[-1]["key"] != sound["key"]):
                self.tones.append(sound)
            self.changed.notify_all()

    def now(self):
        with self.changed:
            return copy.deepcopy(self.view)

    def wait_for(self, wanted, seconds=10.0, what=None):
        """The first view that `wanted` holds for. AssertionError with the last view where none comes in time."""
        end = time.monotonic() + seconds
        with self.changed:
            while True:
                if self.view and wanted(self.view):
                    return copy.deepcopy(self.view)
                left = end - time.monotonic()
                if left <= 0 or not self.running:
                    raise AssertionError(f"{what or 'the view that was waited for'} did not come in {seconds} s; last: "
                                         + json.dumps(_short(self.view)))
                self.changed.wait(left)

    def said(self):
        """Every reading and answer that this display was told of, oldest first, by key."""
        out = {}
        with self.changed:
            for message in self.messages:
                last = message["view"].get("last")
                if last and last.get("key"):
                    out.setdefault(last["key"], last)
        return out

    def close(self):
        self.running = False
        self.thread.join(timeout=10)


def _short(view):
    """What a failure's text needs of a view."""
    kept = {name: view.get(name) for name in ("state", "ask", "hold", "actions", "walk", "settings_due", "keeping", "person")}
    step = view.get("step") or {}
    kept["step"] = {name: step.get(name) for name in ("kind", "feature", "place", "gauge", "phase", "attempt", "gauges")}
    last = view.get("last") or {}
    kept["last"] = {name: last.get(name) for name in ("key", "what", "feature", "value", "verdict", "why", "repeated")}
    kept["gauges"] = {gauge["id"]: f"{gauge['port_state']} {gauge.get('port_why') or ''}" for gauge in view.get("gauges") or []
                      if gauge["port_state"] != "open"}
    return kept
