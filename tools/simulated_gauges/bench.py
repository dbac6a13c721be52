"""All gauges on one loop: ports, streams, answers, and the control socket. One thread, no waiting in it."""
import heapq
import itertools
import json
import os
import selectors
import socket
import sys
import time

from . import gauge as gauges
from .gauge import Refused
from .terminal import Terminal

LONGEST_LINE = 4096


class Client:
    """One connection of the control socket: lines in, a line of JSON out for each."""

    def __init__(self, connection):
        self.connection, self.received, self.unsent = connection, b"", b""


class Bench:
    def __init__(self, settings, folder, socket_path, faults=True):
        self.settings, self.folder, self.socket_path = settings, folder, socket_path
        self.gauges = {one.id: gauges.Gauge(one, settings.wires[one.wire], settings.seed, settings.faults if faults else {})
                       for one in settings.gauges}
        self.terminals = {port: Terminal(folder, port) for port in dict.fromkeys(one.port for one in settings.gauges)}
        self.heard = {port: b"" for port in self.terminals}
        self.selector = selectors.DefaultSelector()
        self.timers, self.order = [], itertools.count()
        self.running = True
        self.listener = None

    # --- life ---

    def open(self):
        os.makedirs(self.folder, exist_ok=True)
        if os.path.exists(self.socket_path):
            self._refuse_second()
        self.listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        before = os.umask(0o177)  # only the user who started it may press
        try:
            self.listener.bind(self.socket_path)
        finally:
            os.umask(before)
        self.listener.listen(16)
        self.listener.setblocking(False)
        self.selector.register(self.listener, selectors.EVENT_READ, ("listener", None))
        for port in self.terminals:
            self._plug(port)
        for one in self.gauges.values():
            if one.settings.speaks == "streams":
                self.after(one.period_ms, lambda one=one: self._stream(one))

    def _refuse_second(self):
        probe = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            probe.connect(self.socket_path)
        except OSError:
            os.unlink(self.socket_path)  # left over from one that was killed
        else:
            raise Refused("already_running", f"simulated gauges already run at {self.socket_path}",
                          "end them first, or give another --folder")
        finally:
            probe.close()

    def close(self):
        if self.listener:  # else another one's: it is left alone
            for terminal in self.terminals.values():
                terminal.unplug()
            self.listener.close()
            if os.path.exists(self.socket_path):
                os.unlink(self.socket_path)

    def run(self):
        while self.running:
            wait = max(0.0, self.timers[0][0] - time.monotonic()) if self.timers else None
            for key, _ in self.selector.select(wait):
                kind, who = key.data
                {"listener": self._accept, "port": self._from_port, "client": self._from_client}[kind](who)
            while self.timers and self.timers[0][0] <= time.monotonic():
                try:
                    heapq.heappop(self.timers)[2]()
                except Refused as refused:  # a value that the gauge cannot show: nothing is sent
                    print(f"simulate-gauges: {refused.what} ({refused.hint})", file=sys.stderr)

    def after(self, milliseconds, what):
        heapq.heappush(self.timers, (time.monotonic() + milliseconds / 1000, next(self.order), what))

    # --- ports ---

    def _plug(self, port):
        terminal = self.terminals[port]
        if terminal.plugged:
            self.selector.unregister(terminal.master)
        terminal.plug()
        self.heard[port] = b""
        self.selector.register(terminal.master, selectors.EVENT_READ, ("port", port))

    def _unplug(self, port):
        terminal = self.terminals[port]
        if terminal.plugged:
            self.selector.unregister(terminal.master)
        terminal.unplug()

    def _from_port(self, port):
        terminal = self.terminals[port]
        if not terminal.plugged:
            return
        data = terminal.read()
        if data is None:
            # The program closed its end. A pseudo-terminal keeps what that program set on it (its claim to be alone,
            # if it was killed), so the next one gets a new one, under the same name.
            self._plug(port)
            return
        for one in self.gauges.values():
            if one.settings.port == port and one.settings.speaks == "asked":
                self._asked(port, one, data)

    def _asked(self, port, one, data):
        self.heard[port] = (self.heard[port] + data)[-LONGEST_LINE:]
        while one.wire.request in self.heard[port]:
            self.heard[port] = self.heard[port].partition(one.wire.request)[2]
            if one.answers:
                self.after(one.reply_after_ms, lambda: self._send(one, one.next_value()))

    def _stream(self, one, due=None):
        # By the frame that was due, not by when this came to it: a turn takes its time on a busy machine too.
        now = time.monotonic()
        due = max((due or now) + one.period_ms / 1000, now - 1)
        heapq.heappush(self.timers, (due, next(self.order), lambda: self._stream(one, due)))
        if one.answers:
            self._send(one, one.next_value(), counted=False)

    def _put(self, one, data):
        terminal = self.terminals[one.settings.port]
        return terminal.plugged and terminal.write(data)

    def _send(self, one, value, counted=True):
        """Writes a value as the gauge would, with the odd fault. Returns what happened, for the answer."""
        if counted:
            one.presses += 1
        fault, pieces = one.with_faults(one.frame(value))
        taken = True
        for delay, data in pieces:
            if delay:
                self.after(delay, lambda data=data: self._put(one, data))
            else:
                taken = self._put(one, data)
        return {"value": str(value), "unit": one.unit, "fault": fault, "taken": taken,
                "sent_hex": b"".join(data for _, data in pieces).hex()}

    # --- control ---

    def _accept(self, _):
        connection, _ = self.listener.accept()
        connection.setblocking(False)
        self.selector.register(connection, selectors.EVENT_READ, ("client", Client(connection)))

    def _from_client(self, client):
        try:
            data = client.connection.recv(LONGEST_LINE)
        except BlockingIOError:
            data = b""
        except OSError:
            return self._drop(client)
        else:
            if not data and not client.unsent:
                return self._drop(client)
        client.received += data
        *lines, client.received = client.received.split(b"\n")
        for line in lines:
            client.unsent += json.dumps(self.answer(line.decode("utf-8", "replace"))).encode() + b"\n"
        if len(client.received) > LONGEST_LINE or len(client.unsent) > 1 << 20:
            return self._drop(client)
        try:
            client.unsent = client.unsent[client.connection.send(client.unsent):] if client.unsent else b""
        except BlockingIOError:
            pass
        except OSError:
            return self._drop(client)
        events = selectors.EVENT_READ | (selectors.EVENT_WRITE if client.unsent else 0)
        self.selector.modify(client.connection, events, ("client", client))
        return None

    def _drop(self, client):
        self.selector.unregister(client.connection)
        client.connection.close()

    def answer(self, line):
        """One command, one answer."""
        words = line.split()
        try:
            if not words:
                raise Refused("empty", "the line is empty", "commands: press, raw, unplug, plug, set, list")
            command = COMMANDS.get(words[0])
            if not command:
                raise Refused("unknown_command", f"there is no command \"{words[0]}\"",
                              "commands: press, raw, unplug, plug, set, list")
            least, most, function = command
            if not least <= len(words) - 1 <= most:
                raise Refused("wrong_words", f"{words[0]} takes {least} to {most} words, not {len(words) - 1}",
                              "press GAUGE [VALUE] | raw GAUGE HEX | unplug GAUGE | plug GAUGE | set GAUGE KEY VALUE | list")
            return {"ok": True, **function(self, *words[1:])}
        except Refused as refused:
            return {"ok": False, "code": refused.code, "what": refused.what, "hint": refused.hint}

    def gauge(self, name):
        if name in self.gauges:
            return self.gauges[name]
        raise Refused("unknown_gauge", f"there is no gauge \"{name}\"", "gauges: " + ", ".join(self.gauges))

    def press(self, name, text=None):
        one = self.gauge(name)
        value = gauges.decimal(text) if text is not None else None
        if value is not None:
            one.frame(value)  # refused before anything happens
        if not self.terminals[one.settings.port].plugged:
            raise Refused("unplugged", f"the port of {name} is unplugged", f"plug {name}")
        if one.settings.speaks == "streams" and one.turn_ms:
            span = value if value is not None else abs(one.shown(one.nominal, one.settings.unit))
            takes = one.turn(span)
            return {"gauge": name, "spans": str(span), "turns": one.turns, "takes_ms": takes, "unit": one.unit, "speaks": "streams"}
        if one.settings.speaks != "pushed":
            # It has no button: it shows the value from now on, and gives it when it is asked or next streams.
            one.held = value
            return {"gauge": name, "shows": str(one.next_value()), "unit": one.unit, "speaks": one.settings.speaks}
        return {"gauge": name, **self._send(one, one.next_value() if value is None else value)}

    def raw(self, name, text):
        one = self.gauge(name)
        try:
            data = bytes.fromhex(text)
        except ValueError:
            raise Refused("not_hex", f"\"{text}\" is no hex", "write pairs of 0-9 a-f without blanks") from None
        return {"gauge": name, "sent_hex": data.hex(), "taken": self._put(one, data)}

    def unplug(self, name):
        port = self.gauge(name).settings.port
        self._unplug(port)
        return {"port": port, "plugged": False}

    def plug(self, name):
        port = self.gauge(name).settings.port
        if not self.terminals[port].plugged:
            self._plug(port)
        return {"port": port, "plugged": True}

    def set(self, name, key, text):
        for one in self.gauges.values() if name == "*" else [self.gauge(name)]:
            one.set(key, text)
        return {"gauge": name, "key": key, "value": text}

    def list(self):
        return {"daemon": self.settings.daemon, "folder": self.folder, "gauges": [self.described(one) for one in self.gauges.values()]}

    def described(self, one):
        settings = one.settings
        return {"id": settings.id, "bench": settings.bench, "port": settings.port, "channel": settings.channel,
                "speaks": settings.speaks, "wire": settings.wire, "unit": one.unit, "own_unit": settings.unit,
                "unit_in_frame": one.wire.unit_in_frame, "units": list(one.wire.decimals), "decimals": one.wire.decimals, "step": str(one.step()),
                "nominal": str(one.nominal), "spread": str(one.spread),
                "features": {key: str(size) for key, size in settings.features.items()},
                "master_size": None if settings.master_size is None else str(settings.master_size),
                "plugged": self.terminals[settings.port].plugged, "presses": one.presses, "answers": one.answers,
                "held": None if one.held is None else str(one.held)}


COMMANDS = {"press": (1, 2, Bench.press), "raw": (2, 2, Bench.raw), "unplug": (1, 1, Bench.unplug),
            "plug": (1, 1, Bench.plug), "set": (3, 3, Bench.set), "list": (0, 0, Bench.list)}
