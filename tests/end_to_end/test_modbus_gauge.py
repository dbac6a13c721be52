"""A gauge whose value stands in registers, into a walk's result: against a server made by libmodbus, over a serial line
and over TCP. Data invented."""
import os
import re
import subprocess
import unittest

from bench import BIN, ROOT, Shop, wait_until
from small_shop import small_shop

PEER = BIN.parent / "tests" / "modbus_peer"
GAUGE = "height-gauge"


class Peer:
    """libmodbus as a server."""

    def __init__(self, way, unit):
        self.process = subprocess.Popen([PEER, way, str(unit)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        word, self.place = self.process.stdout.readline().split()
        assert word == "ready"

    def put(self, kind, address, *words):
        for offset, word in enumerate(words):
            self.process.stdin.write(f"{kind} {address + offset} {word & 0xFFFF}\n")
            self.process.stdin.flush()
            assert self.process.stdout.readline() == "set\n"

    def length(self, tenths_of_um, status=0):
        self.put("input", 0, tenths_of_um >> 16, tenths_of_um, status)

    def close(self):
        self.process.stdin.close()
        self.process.wait(timeout=10)
        self.process.stdout.close()


def register_shop(port_lines, channel, dialect="register-probe", speaks="asked"):
    files = small_shop()
    toml = re.sub(rf'(\[\[port\]\]\nid = "{GAUGE}"\n)path = ".*"\ndialect = ".*"\n',
                  rf'\1{port_lines}dialect = "{dialect}"\n', files["tallystick.toml"])
    files["tallystick.toml"] = toml.replace(f'port = "{GAUGE}"\n',
                                            f'port = "{GAUGE}"\nchannel = "{channel}"\nspeaks = "{speaks}"\n')
    return files


@unittest.skipUnless(os.access(PEER, os.X_OK), "libmodbus-dev is absent: the peer was not built")
class ModbusGauge(unittest.TestCase):
    def port(self, shop):
        return next(port for port in shop.get("/api/v1/ports") if port["port"] == GAUGE)

    def ask(self, shop):
        before = (shop.view()["last"] or {}).get("key")
        shop.act("good")
        return shop.wait_for(lambda view: (view["last"] or {}).get("key") not in (None, before))

    def measure(self, way, port_lines, frame_of):
        peer = Peer(way, 3)
        self.addCleanup(peer.close)
        with Shop(register_shop(port_lines(peer.place), "3/length"), start=False) as shop:
            os.symlink(peer.place, shop.folder / "ports" / "probe") if way == "rtu" else None
            shop.start()
            peer.length(300120)
            shop.begin("FB-25", 1, 3)
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "length")
            view = self.ask(shop)
            self.assertEqual((view["last"]["feature"], view["last"]["verdict"]), ("length", "accept"))
            rows, _, _ = shop.export_csv()
            self.assertEqual([(row["feature"], row["value"], row["verdict"]) for row in rows],
                             [("length", "30.012", "accept")])
            self.assertEqual([raw[frame_of] for _, _, _, raw, _ in shop.entries("reading")],
                             [bytes([3, 4, 6]) + (300120).to_bytes(4, "big") + b"\0\0"])

            # No value: nothing is measured, the walk says so and waits.
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "seat-length")
            peer.length(2147483647)
            view = self.ask(shop)
            self.assertEqual(view["last"]["what"], "not_answered")
            self.assertEqual(len(shop.export_csv()[0]), 1)
            peer.length(240200)
            view = self.ask(shop)
            self.assertEqual((view["last"]["feature"], view["last"]["verdict"]), ("seat-length", "accept"))
            self.assertEqual([row["value"] for row in shop.export_csv()[0]], ["30.012", "24.02"])

    def test_over_a_serial_line(self):
        self.measure("rtu", lambda place: 'driver = "modbus-rtu"\npath = "probe"\n', slice(0, -2))

    def test_over_tcp(self):
        self.measure("tcp", lambda place: f'driver = "modbus-tcp"\naddress = "127.0.0.1:{place}"\n', slice(6, None))

    def test_a_float_and_an_exception_of_the_peer(self):
        peer = Peer("tcp", 3)
        self.addCleanup(peer.close)
        lines = f'driver = "modbus-tcp"\naddress = "127.0.0.1:{peer.place}"\n'
        with Shop(register_shop(lines, "3/height")) as shop:
            peer.put("holding", 107, 0x4189, 0x41F0)  # 30.032 as binary32, low word first (Python's struct)
            shop.begin("FB-25", 1, 3)
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "length")
            view = self.ask(shop)
            self.assertEqual((view["last"]["feature"], view["last"]["verdict"]), ("length", "accept"))
            self.assertEqual([row["value"] for row in shop.export_csv()[0]], ["30.032"])
        # The peer has 200 registers: what lies beyond is declined by libmodbus itself.
        files = register_shop(lines, "3/far", dialect="far")
        far = (ROOT / "config/dialects/register-probe.dialect.toml").read_text(encoding="utf-8")
        files["own/far.dialect.toml"] = far.replace('name = "register-probe"', 'name = "far"').replace(
            'name = "height"', 'name = "far"').replace("address = 107", "address = 1070")
        files["tallystick.toml"] = re.sub(r"dialect_folders = \[(.*)\]", r'dialect_folders = [\1, "own"]',
                                          files["tallystick.toml"])
        with Shop(files) as shop:
            shop.begin("FB-25", 1, 3)
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "length")
            self.assertEqual(self.ask(shop)["last"]["what"], "not_answered")
            recent = next(one for one in shop.get("/api/v1/ports/recent") if one["gauge"] == GAUGE)
            self.assertEqual(recent["frames"][-1]["refusal"], "declined")
            self.assertIn("illegal data address", recent["frames"][-1]["detail"])

    def test_polled_samples_are_no_presses(self):
        peer = Peer("tcp", 5)
        self.addCleanup(peer.close)
        lines = f'driver = "modbus-tcp"\naddress = "127.0.0.1:{peer.place}"\n'
        with Shop(register_shop(lines, "runout", "register-stream", "streams")) as shop:
            peer.put("input", 1, 30012)
            shop.begin("FB-25", 1, 3)
            wait_until(lambda: any(one["gauge"] == GAUGE and one["readings"] > 3
                                   for one in shop.get("/api/v1/ports/recent")), what="polled samples")
            self.assertEqual(shop.export_csv()[0], [])

    def test_check_tells_what_does_not_fit(self):
        for channel, dialect, what in (("3/width", "register-probe", "there is no register"),
                                       ("248/length", "register-probe", "unit address 248"),
                                       ("3/force", "register-probe", "is in N"),
                                       ("3/length", "push-line", "has no register map")):
            files = register_shop('driver = "modbus-rtu"\npath = "probe"\n', channel, dialect)
            with self.subTest(channel), Shop(files, start=False) as shop:
                out, _ = shop.tool("check", shop.config, status=1)
                self.assertIn(what, out)
                self.assertRegex(out, r"tallystick\.toml:\d+")


if __name__ == "__main__":
    unittest.main()
