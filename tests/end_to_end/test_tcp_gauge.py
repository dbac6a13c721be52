"""A gauge behind a serial device server: its bytes over TCP into a walk's result; the server goes and comes. Data invented."""
import re
import socket
import threading
import unittest

from bench import Shop, wait_until
from small_shop import small_shop
from terminals import push_line

GAUGE = "height-gauge"


class DeviceServer:
    """A server for one program at a time, on a port that the system chose, which it keeps while it is away."""

    def __init__(self):
        self.connection, self.listener, self.number = None, None, 0
        self.come()

    def come(self):
        self.listener = socket.socket()
        self.listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.listener.bind(("127.0.0.1", self.number))
        self.number = self.listener.getsockname()[1]
        self.listener.listen(4)
        threading.Thread(target=self._serve, args=(self.listener,), daemon=True).start()

    def _serve(self, listener):
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            self.connection = connection

    def go(self):
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        self.cut()

    def cut(self):
        if self.connection:
            self.connection.close()
            self.connection = None

    def send(self, data):
        self.connection.sendall(data)


def tcp_shop(number, more=""):
    files = small_shop()
    files["tallystick.toml"] = re.sub(
        rf'(\[\[port\]\]\nid = "{GAUGE}"\n)path = ".*"\n',
        rf'\1driver = "tcp"\naddress = "127.0.0.1:{number}"\n{more}', files["tallystick.toml"])
    return files


class TcpGauge(unittest.TestCase):
    def setUp(self):
        self.server = DeviceServer()
        self.addCleanup(self.server.go)

    def port(self, shop):
        return next(port for port in shop.get("/api/v1/ports") if port["port"] == GAUGE)

    def settle(self, shop):
        """The port is open, and the gap has passed after which the first press counts."""
        wait_until(lambda: self.port(shop)["state"] == "open", what="the open port")
        threading.Event().wait(0.3)

    def test_a_result_by_its_bytes_and_the_server_goes_and_comes(self):
        with Shop(tcp_shop(self.server.number)) as shop:
            self.settle(shop)
            self.assertEqual(self.port(shop)["path"], f"127.0.0.1:{self.server.number}")
            shop.begin("FB-25", 1, 3)
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "length")

            # Cut in the middle of a frame: no number.
            whole = push_line("30.012")
            self.server.send(whole[:-3])
            wait_until(lambda: self.port(shop)["bytes"] >= len(whole) - 3, what="the half frame")
            self.server.go()
            wait_until(lambda: self.port(shop)["code"] == "port_refused", what="the refused connection")
            lost = self.port(shop)
            self.assertEqual(lost["losses"], 1)
            self.assertIn("another one has it", lost["why"])
            self.assertTrue(lost["hint"])
            self.assertEqual(shop.view()["state"], "step")  # the walk stays where it is
            self.assertEqual(shop.export_csv()[0], [])

            self.server.come()
            self.settle(shop)
            before = shop.view()["last"]
            self.server.send(whole)
            view = shop.wait_for(lambda view: (view["last"] or {}).get("what") == "counted" and view["last"] != before)
            self.assertEqual(view["last"]["feature"], "length")
            self.assertEqual(view["last"]["verdict"], "accept")
            rows, _, _ = shop.export_csv()
            self.assertEqual([(row["feature"], row["value"], row["verdict"]) for row in rows],
                             [("length", "30.012", "accept")])
            raws = [raw for _, _, kind, raw, _ in shop.entries("reading")]
            self.assertEqual(raws, [whole])

            # The next step is the same gauge's, over the same connection.
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "seat-length")
            self.server.send(push_line("24.020"))
            shop.wait_for(lambda view: view["last"]["feature"] == "seat-length" and view["last"]["verdict"] == "accept")
            self.assertEqual(self.port(shop)["losses"], 1)

    def test_check_tells_a_wrong_address_with_its_line(self):
        files = tcp_shop(self.server.number)
        files["tallystick.toml"] = files["tallystick.toml"].replace(f"127.0.0.1:{self.server.number}", "127.0.0.1")
        with Shop(files, start=False) as shop:
            out, _ = shop.tool("check", shop.config, status=1)
            line = 1 + files["tallystick.toml"].split('address = "127.0.0.1"\ndialect')[0].count("\n")
            self.assertIn("names no port", out)
            self.assertIn(f"tallystick.toml:{line}", out)

    def test_a_dialect_that_ends_frames_by_a_pause_is_refused(self):
        files = tcp_shop(self.server.number)
        files["tallystick.toml"] = re.sub(r'(address = "127.0.0.1:\d+"\ndialect = )"push-line"', r'\1"gap-crc"',
                                          files["tallystick.toml"])
        with Shop(files, start=False) as shop:
            out, _ = shop.tool("check", shop.config, status=1)
            self.assertIn("a network keeps none", out)


if __name__ == "__main__":
    unittest.main()
