"""Instruments that answer with numbers of IEEE 488.2 and keep an error queue, into a walk's result: over a serial line and
over TCP. Data invented."""
import re
import socket
import threading
import unittest

from bench import Shop
from small_shop import small_shop
from terminals import Terminal

GAUGE = "height-gauge"


class Instrument:
    """Answers what it is asked, line by line. `shown`: the reply to the measuring query, None for silence."""

    def __init__(self):
        self.shown, self.errors, self.asked = None, [], []

    def answer(self, request):
        """Takes whole lines out of `request`; their answers."""
        out = b""
        while b"\n" in request:
            line = bytes(request[:request.index(b"\n") + 1])
            del request[:len(line)]
            self.asked.append(line)
            if line == b"READ:ALL?\n" and self.shown is not None:
                out += self.shown + b"\n"
            elif line == b"SYST:ERR?\n":
                out += (self.errors.pop(0) if self.errors else b'0,"No error"') + b"\n"
        return out or None


class NetworkInstrument:
    """The same over TCP."""

    def __init__(self, instrument):
        self.instrument = instrument
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.number = self.listener.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self):
        try:
            while True:
                connection, _ = self.listener.accept()
                with connection:
                    request = bytearray()
                    while data := connection.recv(4096):
                        request += data
                        if answer := self.instrument.answer(request):
                            connection.sendall(answer)
        except OSError:
            return

    def close(self):
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()


def instrument_shop(port_lines):
    files = small_shop()
    toml = re.sub(rf'(\[\[port\]\]\nid = "{GAUGE}"\n)path = ".*"\ndialect = ".*"\n',
                  rf'\1{port_lines}dialect = "numbers-queue"\n', files["tallystick.toml"])
    files["tallystick.toml"] = toml.replace(f'port = "{GAUGE}"\n', f'port = "{GAUGE}"\nspeaks = "asked"\n')
    return files


class AskedInstrument(unittest.TestCase):
    def setUp(self):
        self.instrument = Instrument()

    def ask(self, shop):
        before = (shop.view()["last"] or {}).get("key")
        shop.act("good")
        return shop.wait_for(lambda view: (view["last"] or {}).get("key") not in (None, before))

    def recent(self, shop):
        return next(one for one in shop.get("/api/v1/ports/recent") if one["gauge"] == GAUGE)["frames"]

    def walk(self, shop):
        shop.begin("FB-25", 1, 3)
        shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "length")
        # The second number is the value, its suffix says in what.
        self.instrument.shown = b"1,+3.00120E+01 MM,0.5"
        view = self.ask(shop)
        self.assertEqual((view["last"]["feature"], view["last"]["verdict"]), ("length", "accept"))
        self.assertEqual([row["value"] for row in shop.export_csv()[0]], ["30.012"])
        self.assertEqual([raw for _, _, _, raw, _ in shop.entries("reading")], [b"1,+3.00120E+01 MM,0.5\n"])
        shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "seat-length")

        # A reply that is missing: the queue says why, and is emptied.
        self.instrument.shown = None
        self.instrument.errors = [b'-410,"Query INTERRUPTED"', b'-221,"Settings ""head"" conflict"']
        self.assertEqual(self.ask(shop)["last"]["what"], "not_answered")
        self.assertEqual(self.instrument.errors, [])
        self.assertTrue(any("its error queue says: -410 Query INTERRUPTED, -221" in line for line in shop.output))
        details = [frame["detail"] for frame in self.recent(shop) if frame["refusal"] == "declined"]
        self.assertEqual(len(details), 2)
        self.assertIn("-410 Query INTERRUPTED", details[0])
        self.assertIn('-221 Settings "head" conflict', details[1])

        # Not a number (SCPI-99): nothing is measured.
        self.instrument.shown = b"1,9.91E+37,0.5"
        self.assertEqual(self.ask(shop)["last"]["what"], "not_answered")
        self.assertIn("out_of_range", [frame["refusal"] for frame in self.recent(shop)])
        self.assertEqual(len(shop.export_csv()[0]), 1)

        self.instrument.shown = b"1,24020 UM,0.5"
        view = self.ask(shop)
        self.assertEqual((view["last"]["feature"], view["last"]["verdict"]), ("seat-length", "accept"))

    def test_over_a_serial_line(self):
        lines = {GAUGE: lambda link: Terminal(link, answer=self.instrument.answer)}
        with Shop(instrument_shop(f'path = "{GAUGE}"\n'), lines=lines) as shop:
            self.walk(shop)

    def test_over_tcp(self):
        server = NetworkInstrument(self.instrument)
        self.addCleanup(server.close)
        with Shop(instrument_shop(f'driver = "tcp"\naddress = "127.0.0.1:{server.number}"\n')) as shop:
            self.walk(shop)


if __name__ == "__main__":
    unittest.main()
