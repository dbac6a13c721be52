"""Pseudo-terminals that stand for the gauges' serial lines: exact bytes in, requests answered, streams sent, cables pulled.

One thread serves all of them. A terminal's name is a link, as the links of /dev/serial are.
"""
import errno
import os
import select
import termios
import threading
import time


class Terminal:
    """One line. `answer`: request bytes -> reply bytes, for gauges that are asked; `stream`: called every `period` seconds
    for bytes to send, for gauges that talk by themselves."""

    def __init__(self, link, answer=None, stream=None, period=0.05):
        self.link, self.answer, self.stream, self.period = link, answer, stream, period
        self.received = bytearray()     # all that the daemon ever sent here
        self.request = bytearray()
        self.next_send = 0.0
        self.master = None
        self.lock = threading.Lock()

    def plug(self):
        with self.lock:
            if self.master is not None:
                return
            self.master, slave = os.openpty()
            attributes = termios.tcgetattr(slave)
            attributes[3] &= ~(termios.ECHO | termios.ICANON)
            termios.tcsetattr(slave, termios.TCSANOW, attributes)
            os.set_blocking(self.master, False)
            name = os.ttyname(slave)
            beside = f"{self.link}.new"
            os.symlink(name, beside)
            os.replace(beside, self.link)
            os.close(slave)  # only the daemon holds it, so that its exclusive claim ends with it

    def unplug(self):
        with self.lock:
            if self.master is None:
                return
            os.unlink(self.link)
            os.close(self.master)
            self.master = None

    def send(self, data):
        """All bytes, in order; waits while the line is full, but for a bounded time."""
        end = time.monotonic() + 5
        view = memoryview(data)
        while view:
            with self.lock:
                if self.master is None:
                    raise RuntimeError(f"{self.link}: pressed while unplugged")
                try:
                    view = view[os.write(self.master, view):]
                    continue
                except OSError as error:
                    if error.errno not in (errno.EAGAIN, errno.EIO):
                        raise
            if time.monotonic() > end:
                raise TimeoutError(f"{self.link}: nobody takes the bytes")
            time.sleep(0.002)

    def send_if_taken(self, data):
        """A sample of a stream: lost where nobody reads, as on a wire."""
        with self.lock:
            if self.master is not None and data:
                try:
                    os.write(self.master, data)
                except OSError:
                    pass

    def serve(self):
        """Takes what the daemon sent, and answers it."""
        with self.lock:
            if self.master is None:
                return
            try:
                data = os.read(self.master, 4096)
            except OSError:  # nobody has it open, or nothing there
                return
        self.received += data
        self.request += data
        if self.answer:
            reply = self.answer(self.request)
            if reply:
                self.send(reply)


class Terminals:
    """All lines of a shop, served by one thread until closed."""

    def __init__(self):
        self.all = {}
        self.running = True
        self.thread = threading.Thread(target=self._run, daemon=True, name="terminals")
        self.thread.start()

    def add(self, name, terminal):
        terminal.plug()
        self.all[name] = terminal

    def _run(self):
        while self.running:
            now = time.monotonic()
            for terminal in list(self.all.values()):
                if terminal.stream and terminal.master is not None and now >= terminal.next_send:
                    terminal.next_send = now + terminal.period
                    terminal.send_if_taken(terminal.stream())
            masters = {t.master: t for t in list(self.all.values()) if t.answer and t.master is not None}
            try:
                ready, _, _ = select.select(list(masters), [], [], 0.02)
            except (OSError, ValueError):  # one was unplugged meanwhile
                continue
            for master in ready:
                masters[master].serve()
            if ready:
                time.sleep(0.001)  # a line that nobody has open is always "ready"

    def close(self):
        self.running = False
        self.thread.join(timeout=10)
        for terminal in self.all.values():
            terminal.unplug()


def asked_line(value_of):
    """A gauge of the dialect "asked-line": value_of() -> "+30.0012" or None for silence."""
    def answer(request):
        if b"\r" not in request:
            return None
        asked = bytes(request[:request.index(b"\r") + 1])
        del request[:len(asked)]
        value = value_of() if asked == b"V?\r" else None
        return f"V {value}\r".encode() if value else None
    return answer


# How a value stands on the line, dialect by dialect (config/dialects has them, written the other way).
def push_line(value):
    sign, digits = ("-", value[1:]) if value.startswith("-") else ("+", value)
    whole, _, rest = digits.partition(".")
    return f"{sign}{whole:0>3}.{rest:0<3}\r".encode()


def status_columns(value, unit="mm", status="N"):
    sign, digits = ("-", value[1:]) if value.startswith("-") else ("+", value)
    return f"{status} {sign}{digits:>9} {unit}\r\n".encode()


def channel_unit(channel, value, unit="mm"):
    whole, _, rest = value.partition(".")
    return f"{channel}A+{whole:0>4}.{rest:0<3} {unit}\r\n".encode()


def stream_line(value):
    sign, digits = ("-", value[1:]) if value.startswith("-") else (" ", value)
    return f"{sign}{digits}\n".encode()
