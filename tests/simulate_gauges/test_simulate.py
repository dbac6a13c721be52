"""The simulated gauges, driven from outside: their ports read as a program would, their bytes decoded by the real
decoder where the build is at hand."""
# quick: needs no daemon
import errno
import http.client
import http.server
import json
import os
import select
import signal
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty
import tomllib
import unittest
from decimal import Decimal
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "tools" / "simulate-gauges"
SETTINGS = ROOT / "config" / "demo" / "simulated-gauges.toml"
sys.path.insert(0, str(ROOT / "tools"))

from simulated_gauges import choices, gauge, settings  # noqa: E402


class Simulated:
    """The program, running; ends with the `with`."""

    def __init__(self, *arguments, config=SETTINGS, faults=False):
        self.folder = tempfile.TemporaryDirectory()
        self.ports = os.path.join(self.folder.name, "ports")
        self.arguments = [str(PROGRAM), "run", "--config", str(config), "--folder", self.ports, *arguments]
        if not faults:
            self.arguments.append("--no-faults")

    def __enter__(self):
        self.process = subprocess.Popen(self.arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        line = self.process.stdout.readline()
        if not line:
            raise AssertionError(self.process.stderr.read())
        self.ready = json.loads(line)
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.process.stdout.close()
        self.process.stderr.close()
        self.folder.cleanup()

    def command(self, *words):
        """The command line itself: exit status and answer."""
        done = subprocess.run([str(PROGRAM), *words, "--socket", self.ready["socket"]], capture_output=True, text=True,
                              timeout=20)
        return done.returncode, json.loads(done.stdout) if done.stdout else done.stderr

    def open(self, port):
        line = os.open(os.path.join(self.ports, port), os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(line)
        termios.tcflush(line, termios.TCIFLUSH)
        return line


def read(line, size, patience_s=3.0):
    """At least `size` bytes, or what came until patience ended."""
    data, end = b"", time.monotonic() + patience_s
    while len(data) < size and time.monotonic() < end:
        if select.select([line], [], [], 0.05)[0]:
            try:
                got = os.read(line, 4096)
            except OSError as error:
                if error.errno == errno.EIO:
                    break
                raise
            if not got:
                break
            data += got
    return data


class Ports(unittest.TestCase):
    def test_a_press_sends_the_value_given_as_its_dialect_writes_it(self):
        with Simulated("--no-tray") as bench:
            for port, name, value, bytes_wanted in (
                    ("micrometer-25-50", "micrometer-25-50", "32.034", b"+032.034\r"),
                    ("bore-gauge-20-30", "bore-gauge-20-30", "-0.007", b"N -    0.007 mm\r\n"),
                    ("bore-gauge-inch", "bore-gauge-inch", "0.00035", b"+00.00035\r"),
                    ("receiver", "radio-groove-gauge", "3.005", b"05A+0003.005 mm\r\n")):
                line = bench.open(port)
                status, answer = bench.command("press", name, value)
                self.assertEqual(status, 0, answer)
                self.assertEqual(read(line, len(bytes_wanted)), bytes_wanted)
                self.assertEqual(bytes.fromhex(answer["sent_hex"]), bytes_wanted)
                os.close(line)

    def test_an_asked_gauge_answers_its_request_and_nothing_else(self):
        with Simulated("--no-tray") as bench:
            line = bench.open("height-gauge")
            status, answer = bench.command("press", "height-gauge", "30.012")
            self.assertEqual((status, answer["shows"]), (0, "30.012"))
            self.assertEqual(read(line, 1, 0.3), b"")
            os.write(line, b"X\r")
            self.assertEqual(read(line, 1, 0.3), b"")
            os.write(line, b"V")
            os.write(line, b"?\r")
            self.assertEqual(read(line, 10), b"V +30.012\r")
            self.assertTrue(bench.command("set", "height-gauge", "answers", "off")[1]["ok"])
            os.write(line, b"V?\r")
            self.assertEqual(read(line, 1, 0.3), b"")
            os.close(line)

    def test_a_stream_streams_and_shows_what_it_is_set_to(self):
        with Simulated("--no-tray") as bench:
            line = bench.open("lever-indicator")
            self.assertGreaterEqual(read(line, 80).count(b"\n"), 10)
            self.assertTrue(bench.command("set", "lever-indicator", "turn_ms", "0")[1]["ok"])
            bench.command("press", "lever-indicator", "-0.0035")
            read(line, 16)
            frames = read(line, 40).split(b"\n")[1:-1]
            self.assertEqual(set(frames), {b"-0.0035"})
            os.close(line)

    def test_a_part_turns_under_an_indicator_out_of_true_by_its_eccentricity(self):
        """One press, two turns: e * (1 - cos), so each spans 2 * e exactly, and it stands before and after."""
        with Simulated("--no-tray") as bench:
            line = bench.open("lever-indicator")
            for key, value in (("turn_ms", "400"), ("period_ms", "10")):
                self.assertTrue(bench.command("set", "lever-indicator", key, value)[1]["ok"])
            heard, running = bytearray(), threading.Event()

            def listen():  # a line that nobody reads loses frames
                while not running.is_set():
                    heard.extend(read(line, 1, 0.1))

            listener = threading.Thread(target=listen, daemon=True)
            listener.start()
            answer = bench.command("press", "lever-indicator", "0.0111")[1]
            self.assertEqual((answer["spans"], answer["turns"], answer["takes_ms"]), ("0.0111", 2, 800))
            end = time.monotonic() + 30
            while not bytes(heard).endswith(b" 0.0000\n" * 20) and time.monotonic() < end:
                time.sleep(0.005)
            running.set()
            listener.join()
            frames = [Decimal(frame.decode()) for frame in bytes(heard).split(b"\n")[1:-1]]
            first = next(n for n, value in enumerate(frames) if n > 0 and frames[n - 1] == 0 < value)
            turned = frames[first - 1:first + 79]
            self.assertEqual((min(turned), max(turned)), (Decimal(0), Decimal("0.0111")))
            self.assertEqual(turned.count(Decimal("0.0111")), 2)
            for turn in (turned[:40], turned[40:]):
                rises = [b - a for a, b in zip(turn, turn[1:])]
                self.assertTrue(all(rise >= 0 for rise in rises[:20]) and all(rise <= 0 for rise in rises[20:]), turn)
            self.assertEqual(set(frames[first + 80:]), {Decimal(0)})
            self.assertEqual(bench.command("press", "lever-indicator", "999999999999")[1]["code"], "out_of_range")
            os.close(line)

    def test_unplug_is_a_hang_up_and_plug_brings_the_same_name_back(self):
        with Simulated("--no-tray") as bench:
            line = bench.open("depth-gauge")
            key = os.path.join(bench.ports, "depth-gauge")
            before = os.readlink(key)
            self.assertEqual(bench.command("unplug", "depth-gauge"), (0, {"ok": True, "port": "depth-gauge", "plugged": False}))
            poll = select.poll()
            poll.register(line)
            self.assertTrue(poll.poll(2000)[0][1] & select.POLLHUP)
            self.assertFalse(os.path.lexists(key))
            self.assertEqual(bench.command("press", "depth-gauge", "1.200")[1]["code"], "unplugged")
            bench.command("plug", "depth-gauge")
            self.assertNotEqual(os.readlink(key), before)  # `line` still holds the old number
            os.close(line)
            line = bench.open("depth-gauge")
            bench.command("press", "depth-gauge", "1.200")
            self.assertEqual(read(line, 9), b"+001.200\r")
            os.close(line)

    def test_a_program_that_was_killed_leaves_the_port_free_for_the_next(self):
        with Simulated("--no-tray") as bench:
            key = os.path.join(bench.ports, "depth-gauge")
            claim = ("import fcntl, os, signal, sys; d = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY); "
                     "fcntl.ioctl(d, 0x540C); os.kill(os.getpid(), signal.SIGKILL)")  # TIOCEXCL
            node = os.readlink(key)
            subprocess.run([sys.executable, "-c", claim, key], timeout=10)
            end = time.monotonic() + 3
            while os.readlink(key) == node and time.monotonic() < end:
                time.sleep(0.01)
            line = bench.open("depth-gauge")
            bench.command("press", "depth-gauge", "1.205")
            self.assertEqual(read(line, 9), b"+001.205\r")
            os.close(line)

    def test_raw_bytes_go_out_as_they_are(self):
        with Simulated("--no-tray") as bench:
            line = bench.open("groove-gauge")
            self.assertEqual(bench.command("raw", "groove-gauge", "2b3030320d00ff")[0], 0)
            self.assertEqual(read(line, 7), bytes.fromhex("2b3030320d00ff"))
            self.assertEqual(bench.command("raw", "groove-gauge", "2")[1]["code"], "not_hex")
            os.close(line)

    def test_what_cannot_be_is_refused_with_a_remedy(self):
        with Simulated("--no-tray") as bench:
            for words, code in ((("press", "micrometer-25-51"), "unknown_gauge"),
                                (("press", "micrometer-25-50", "32.0345"), "too_many_digits"),
                                (("press", "micrometer-25-50", "1e3"), "not_a_number"),
                                (("press", "micrometer-25-50", "1234.5"), "out_of_range"),
                                (("set", "bore-gauge-20-30", "unit", "in"), "wrong_unit"),
                                (("set", "micrometer-25-50", "colour", "red"), "unknown_key")):
                status, answer = bench.command(*words)
                self.assertEqual((status, answer.get("code")), (1, code), words)
                self.assertTrue(answer["hint"])
        status, said = subprocess.getstatusoutput(f"{PROGRAM} list --socket {bench.ready['socket']}")
        self.assertEqual(status, 2)
        self.assertIn("start tools/simulate-gauges first", said)

    def test_a_second_one_in_the_same_folder_is_refused_and_disturbs_nothing(self):
        with Simulated("--no-tray") as bench:
            done = subprocess.run(bench.arguments, capture_output=True, text=True, timeout=20)
            self.assertEqual(done.returncode, 2)
            self.assertIn("already run", done.stderr)
            line = bench.open("depth-gauge")
            self.assertEqual(bench.command("press", "depth-gauge", "1.200")[0], 0)
            os.close(line)

    def test_ending_it_takes_links_and_socket_away(self):
        with Simulated("--no-tray") as bench:
            bench.process.send_signal(signal.SIGTERM)
            self.assertEqual(bench.process.wait(10), 0)
            self.assertEqual(os.listdir(bench.ports), [])


class Values(unittest.TestCase):
    def frames(self, seed, faults=False, presses=40):
        shop = settings.read(SETTINGS.read_text(), "demo")
        one = next(g for g in shop.gauges if g.id == "micrometer-25-50")
        made = gauge.Gauge(one, shop.wires[one.wire], seed, {"partial": 0.2, "garbage": 0.2, "double": 0.2, "silence": 0.2}
                           if faults else {})
        out = []
        for _ in range(presses):
            value = made.next_value()
            made.presses += 1
            out.append((value, *made.with_faults(made.frame(value))))
        return out

    def test_the_same_seed_gives_the_same_bytes(self):
        self.assertEqual(self.frames(7, True), self.frames(7, True))
        self.assertNotEqual(self.frames(7, True), self.frames(8, True))

    def test_values_lie_around_the_nominal_with_spread_and_drift(self):
        values = [float(value) for value, *_ in self.frames(3, presses=400)]
        first, last = sum(values[:100]) / 100, sum(values[300:]) / 100
        # Drift is 0.0004 a press, over 300 presses from middle to middle; the mean of 100 scatters by spread / 10.
        self.assertAlmostEqual(first, 32.034 + 0.0004 * 49.5, delta=0.001)
        self.assertAlmostEqual(last - first, 0.12, delta=0.001)
        self.assertGreater(len(set(values)), 50)

    def test_every_fault_comes_up_and_each_is_what_it_says(self):
        seen = {}
        for value, fault, pieces in self.frames(11, True, 300):
            whole = f"+{value:07.3f}\r".encode()
            seen[fault] = seen.get(fault, 0) + 1
            sent = b"".join(data for _, data in pieces)
            if fault == "":
                self.assertEqual(sent, whole)
            elif fault == "partial":
                self.assertTrue(whole.startswith(sent) and 0 < len(sent) < len(whole))
            elif fault == "garbage":
                self.assertTrue(sent.endswith(whole) and len(sent) > len(whole))
            elif fault == "double":
                self.assertEqual(sent, whole * 2)
            elif fault == "silence":
                self.assertEqual(sent, b"")
        self.assertEqual(set(seen), {"", "partial", "garbage", "double", "silence"})

    def test_inches_are_exact(self):
        # 1 in = 25.4 mm exactly: international yard and pound agreement, 1959.
        self.assertEqual(gauge.convert(Decimal("0.4375"), "in", "mm"), Decimal("11.1125"))
        self.assertEqual(gauge.convert(Decimal("25.4"), "mm", "in"), 1)


class Settings(unittest.TestCase):
    def test_all_faults_are_told_at_once(self):
        text = SETTINGS.read_text().replace('wire = "push-line"', 'wire = "push-lime"', 1) \
            .replace('nominal = "32.034"', "nominal = 32.034", 1).replace('speaks = "asked"', 'speeks = "asked"', 1)
        with self.assertRaises(settings.Faulty) as caught:
            settings.read(text, "x.toml")
        said = "\n".join(caught.exception.faults)
        self.assertIn('did you mean "push-line"', said)
        self.assertIn("quoted decimal", said)
        self.assertIn('did you mean "speaks"', said)

    def test_gauges_and_ports_are_those_of_the_demo_shop(self):
        demo = tomllib.loads((ROOT / "config/demo/tallystick.toml").read_text())
        masters = {one["id"]: one["size"] for one in demo["master"]}
        ports = {one["id"]: one for one in demo["port"]}
        registered = {one["id"]: one for one in demo["gauge"] if one["port"] in ports}
        shop = settings.read(SETTINGS.read_text(), "demo")
        self.assertEqual({one.id for one in shop.gauges}, set(registered))
        for one in shop.gauges:
            card = registered[one.id]
            self.assertEqual(one.port, ports[card["port"]]["path"], one.id)
            self.assertEqual(one.wire, card.get("dialect", ports[card["port"]]["dialect"]), one.id)
            self.assertEqual((one.channel, one.bench, one.speaks, one.unit),
                             (card.get("channel", ""), card["bench"], card["speaks"], card["unit"]), one.id)
            self.assertEqual(one.resolution, Decimal(card["resolution"]), one.id)
            if card.get("reads") == "difference":
                self.assertEqual(one.master_size, Decimal(masters[card["setting"]["master"]]), one.id)
            else:
                self.assertIsNone(one.master_size, one.id)

    def test_what_is_sent_is_what_the_real_decoder_reads(self):
        program = Path(os.environ.get("TALLYSTICK_BIN", "")) / "tallystick"
        if not os.access(program, os.X_OK):
            self.skipTest("the built tallystick (TALLYSTICK_BIN)")
        shop = settings.read(SETTINGS.read_text(), "demo")
        for one in shop.gauges:
            wire = shop.wires[one.wire]
            for unit in wire.decimals:
                made = gauge.Gauge(one, wire, 5, {})
                made.unit = unit
                values = [made.next_value() for _ in range(5)] + [made.on_grid(Decimal("-0.04"))]
                sent = b"".join(made.frame(value) for value in values)
                done = subprocess.run([program, "decode", ROOT / f"config/dialects/{one.wire}.dialect.toml"], input=sent,
                                      capture_output=True, timeout=20)
                found = [json.loads(line) for line in done.stdout.splitlines()]
                with self.subTest(gauge=one.id, unit=unit):
                    self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
                    self.assertEqual([Decimal(row["value"]) for row in found], values)
                    self.assertEqual({row["channel"] or "" for row in found}, {one.channel})
                    if wire.unit_in_frame:
                        self.assertEqual({row["unit"] for row in found}, {unit})


WANTED = [{"now": True, "gauges": ["micrometer-25-50"], "unit": "mm", "nominal": Decimal("32"),
           "lower": Decimal("32.026"), "upper": Decimal("32.042")}]


class FakeDaemon(http.server.BaseHTTPRequestHandler):
    """Answers with a bench's view, in the shape of daemon/walk/VIEW.md."""
    view = {"step": {"unit": "mm", "nominal": "32", "lower": "32.026", "upper": "32.042",
                     "gauges": [{"id": "micrometer-25-50"}]},
            "settings_due": [{"gauge": "bore-gauge-20-30", "size": "25.002", "limit": "0.002", "unit": "mm"}]}

    def do_GET(self):
        body = json.dumps(self.view if self.path == "/api/v1/benches/bench-1" else {}).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        pass


class Tray(unittest.TestCase):
    @staticmethod
    def request(port, method, path, body=None, **headers):
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        kind = {"Content-Type": "application/json"} if body is not None else {}
        line.request(method, path, None if body is None else json.dumps(body), {**kind, **headers})
        answer = line.getresponse()
        data = answer.read()
        line.close()
        return answer.status, data

    def listed(self, bench, name):
        return next(one for one in bench.command("list")[1]["gauges"] if one["id"] == name)

    def test_choices_lie_where_they_say(self):
        with Simulated("--no-tray") as bench:
            micrometer, bore = self.listed(bench, "micrometer-25-50"), self.listed(bench, "bore-gauge-20-30")
        for _ in range(50):
            value, unit, from_bench = choices.shown_for(micrometer, "good", WANTED)
            self.assertTrue(from_bench and unit == "mm" and Decimal("32.026") <= Decimal(value) <= Decimal("32.042"))
        self.assertGreater(Decimal(choices.shown_for(micrometer, "too-large", WANTED)[0]), Decimal("32.042"))
        self.assertLess(Decimal(choices.shown_for(micrometer, "too-small", WANTED)[0]), Decimal("32.026"))
        self.assertGreater(Decimal(choices.shown_for(micrometer, "other-size", WANTED)[0]), Decimal("34"))
        value, unit, _ = choices.shown_for(micrometer, "wrong-unit", WANTED)
        self.assertEqual((unit, value[:4]), ("in", "1.26"))
        # It shows the difference to its ring of 25.002.
        wanted = [{"gauges": ["bore-gauge-20-30"], "unit": "mm", "lower": Decimal(25), "upper": Decimal("25.021")}]
        shown = Decimal(choices.shown_for(bore, "good", wanted)[0])
        self.assertTrue(Decimal("-0.002") <= shown <= Decimal("0.019"))
        # Only a greatest value: the runout.
        wanted = [{"gauges": ["micrometer-25-50"], "unit": "mm", "lower": None, "upper": Decimal("0.020")}]
        self.assertTrue(0 < Decimal(choices.shown_for(micrometer, "good", wanted)[0]) < Decimal("0.020"))

    def test_the_page_presses_what_the_bench_asks_for(self):
        daemon = http.server.ThreadingHTTPServer(("127.0.0.1", 0), FakeDaemon)
        threading.Thread(target=daemon.serve_forever, daemon=True).start()
        try:
            with Simulated("--tray", "0", "--daemon", f"http://127.0.0.1:{daemon.server_port}") as bench:
                port = int(bench.ready["tray"].rstrip("/").rpartition(":")[2])
                status, page = self.request(port, "GET", "/")
                self.assertEqual(status, 200)
                self.assertIn(b"all data invented", page)
                state = json.loads(self.request(port, "GET", "/state")[1])
                self.assertEqual(state["wanted"], ["micrometer-25-50"])
                line = bench.open("micrometer-25-50")
                status, answer = self.request(port, "POST", "/act", {"gauge": "micrometer-25-50", "do": "good"})
                self.assertEqual(status, 200, answer)
                self.assertEqual(json.loads(answer)["limits_from"], "bench")
                shown = Decimal(read(line, 9)[1:-1].decode())
                self.assertTrue(Decimal("32.026") <= shown <= Decimal("32.042"))
                # One whose setting is due shows its ring, not a part: the difference is within the limit.
                ring = json.loads(self.request(port, "POST", "/act", {"gauge": "bore-gauge-20-30", "do": "good"})[1])
                self.assertEqual(ring["limits_from"], "bench")
                self.assertLessEqual(abs(Decimal(ring["value"])), Decimal("0.002"))
                answer = json.loads(self.request(port, "POST", "/act", {"gauge": "micrometer-25-50", "do": "unplug"})[1])
                self.assertEqual((answer["ok"], answer["plugged"]), (True, False))
                os.close(line)
        finally:
            daemon.shutdown()
            daemon.server_close()

    def test_in_inches_is_for_once_and_wrong_unit_stays(self):
        with Simulated("--no-tray", "--daemon", "http://127.0.0.1:9") as bench:
            line = bench.open("receiver")
            self.assertEqual(bench.command("press", "radio-micrometer-25-50", "--choice", "in-inches")[1]["limits_from"],
                             "gauge's own nominal")
            self.assertRegex(read(line, 18), rb"^02A\+0001\.26\d\d in\r\n$")
            self.assertEqual(self.listed(bench, "radio-micrometer-25-50")["unit"], "mm")
            os.close(line)
            bench.command("press", "height-gauge", "--choice", "wrong-unit")
            self.assertEqual(self.listed(bench, "height-gauge")["unit"], "in")
            line = bench.open("height-gauge")
            os.write(line, b"V?\r")
            self.assertRegex(read(line, 11), rb"^V \+1\.18\d{3}\r$")
            os.close(line)

    def test_pages_from_elsewhere_are_refused(self):
        with Simulated("--tray", "0") as bench:
            port = int(bench.ready["tray"].rstrip("/").rpartition(":")[2])
            press = {"gauge": "depth-gauge", "do": "press", "value": "1.200"}
            self.assertEqual(self.request(port, "POST", "/act", press, Host=f"bench.example:{port}")[0], 403)
            self.assertEqual(self.request(port, "GET", "/state", Host="bench.example")[0], 403)
            self.assertEqual(self.request(port, "POST", "/act", press, Origin="http://bench.example")[0], 403)
            self.assertEqual(self.request(port, "POST", "/act", press, **{"Content-Type": "text/plain"})[0], 400)
            self.assertEqual(self.request(port, "POST", "/act", {"gauge": "depth-gauge"})[0], 400)
            self.assertEqual(self.request(port, "POST", "/act", {"gauge": "a b", "do": "press"})[0], 400)
            self.assertEqual(self.listed(bench, "depth-gauge")["presses"], 0)
            self.assertEqual(self.request(port, "POST", "/act", press)[0], 200)
            self.assertEqual(self.listed(bench, "depth-gauge")["presses"], 1)


if __name__ == "__main__":
    unittest.main()
