"""Gauges on Linux's own USB serial driver, in a virtual machine: they keep their identity, no value is lost or invented,
their line settings arrive. What a serial adapter is told stands in QEMU's trace. All data invented."""
import os
import re
import statistics
import time
import unittest
from decimal import Decimal
from pathlib import Path

from guest_shop import GuestShop, by_usb_shop, free_port, machine_for
from bench import wait_until
from terminals import push_line

CYCLES = int(os.environ.get("TALLYSTICK_USB_CYCLES", "200"))     # fewer while working on the test
GROWTH_KIB = 4096        # resident memory that 180 cycles with their 360 results may take


def percentile(values, share):
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(len(ordered) * share))]


class UsbGauges(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.number = free_port()
        cls.machine = cls.enterClassContext(machine_for(cls.number, trace=("usb_serial_set_*",), hub=True))

    def adapters(self):
        machine = self.machine
        return {name: machine.serial_adapter(name, serial, port) for name, serial, port in (
            ("a-1", "A1", "1"), ("a-3", "A1", "3"), ("b-2", "B7", "2"), ("a-hub", "A1", "8.1"), ("b-hub", "B7", "8.2"),
            ("b-4", "B7", "4"), ("twin-5", "0001", "5"), ("twin-6", "0001", "6"))}

    def test_identity_values_and_settings(self):
        adapters = self.adapters()
        files = by_usb_shop([("gauge-a", "bench-1", 'usb_serial = "A1"', "push-line"),
                             ("gauge-b", "bench-2", 'usb_serial = "B7"', "push-seven"),
                             ("twin", None, 'usb_serial = "0001"', "push-line"),
                             ("made-here", None, 'usb_serial = "ACM7"', "push-seven")], self.number)
        with GuestShop(self.machine, files, benches=("bench-1", "bench-2")) as shop:
            self.shop = shop
            with self.subTest("nothing is plugged in"):
                self.assertEqual({port["port"]: port["code"] for port in shop.get("/api/v1/ports")},
                                 dict.fromkeys(("gauge-a", "gauge-b", "twin", "made-here"), "port_absent"))
            for gauge, adapter in (("gauge-a", adapters["a-1"]), ("gauge-b", adapters["b-2"])):
                shop.cables[gauge] = adapter
                adapter.plug()
            for gauge in ("gauge-a", "gauge-b"):
                wait_until(lambda: shop.port(gauge)["state"] == "open", 60, f"{gauge}'s open port")
            self.line_settings()
            for bench, lot in (("bench-1", "L-1"), ("bench-2", "L-2")):
                shop.begin("FB-25", 1, 900, bench=bench, lot_name=lot, publish=bench == "bench-1")
            self.two_hundred_cycles(adapters)
            self.the_hub_is_tripped_over(adapters)
            self.one_serial_number_twice(adapters)
            self.an_adapter_of_the_communication_class()
            self.doctor()
            shop.stop()
            self.the_journal_is_sound()

    def line_settings(self):
        """What libserialport set, as the guest's terminal layer and the adapter itself have it."""
        for gauge, wanted, told in (
                ("gauge-a", ("speed 9600 baud", " cs8 ", "-parenb", "-cstopb"), ("9600", "parity N, data bits 8, stop bits 1")),
                ("gauge-b", ("speed 4800 baud", " cs7 ", " parenb", "-parodd", " cstopb"),
                 ("4800", "parity E, data bits 7, stop bits 2"))):
            with self.subTest("line settings", gauge=gauge):
                node = self.shop.port(gauge)["node"]
                said = " ".join(self.machine.done(f"stty -a -F {node}"))
                for word in wanted:
                    self.assertIn(word, f" {said} ")
                trace = Path(self.machine.trace).read_text(encoding="utf-8", errors="replace")
                self.assertIn(f"baud rate {told[0]}", trace)
                self.assertIn(told[1], trace)

    def two_hundred_cycles(self, adapters):
        """Gauge A goes from socket 1 to socket 3 and back, in the middle of a frame; gauge B measures meanwhile."""
        shop, machine = self.shop, self.machine
        machine.start("udevadm monitor --kernel --subsystem-match=tty")
        told_a, told_b, sent_untold, back, attached = [], [], [], [], []
        there, elsewhere = adapters["a-1"], adapters["a-3"]
        early = None
        for cycle in range(CYCLES):
            value = f"{300 + cycle}.{cycle:03d}"
            shop.measure("gauge-a", value)
            told_a.append(Decimal(value))
            if cycle % 2:
                value = f"{300 + cycle}.9{cycle % 100:02d}"
                there.send(push_line(value))                               # nobody waits for its being told
                sent_untold.append(Decimal(value))
            there.send(b"+999.9")                                          # half a frame
            there.unplug()
            value = f"{600 + cycle}.{cycle:03d}"
            shop.measure("gauge-b", value, "bench-2")
            told_b.append(Decimal(value))
            plugged = time.monotonic()
            elsewhere.plug()
            _, node = machine.output.expect(r"KERNEL\[.*\] add .*/tty/ttyUSB", 60, plugged)
            _, taken = machine.output.expect("port gauge-a is back", 60, plugged)
            back.append(taken - plugged), attached.append(taken - node)
            there, elsewhere = elsewhere, there
            shop.cables["gauge-a"] = there
            time.sleep(0.05)                                               # the gap after which its first press counts
            if cycle == CYCLES // 10:
                early = shop.grown()
        late = shop.grown()
        print(f"\n{CYCLES} times unplugged and plugged into another socket: plugging in to open p50 "
              f"{statistics.median(back) * 1000:.0f} ms, p99 {percentile(back, 0.99) * 1000:.0f} ms, most "
              f"{max(back) * 1000:.0f} ms; of it from the node's appearing to open p50 {statistics.median(attached) * 1000:.0f} ms, p99 "
              f"{percentile(attached, 0.99) * 1000:.0f} ms, most {max(attached) * 1000:.0f} ms; resident memory after {CYCLES // 10 + 1} and "
              f"{CYCLES}: {early[0]} and {late[0]} KiB, descriptors {early[1]} and {late[1]} (boot {machine.boot_seconds:.1f} s)", flush=True)
        with self.subTest("attached within a second of the node's appearing"):
            # A busy host stretches all of the emulation: how much is told by the boot, 5 s on an idle one.
            self.assertLess(statistics.median(attached), max(1.0, machine.boot_seconds / 5))
        with self.subTest("nothing grows"):
            self.assertLess(late[1] - early[1], 10)                        # a file of the record's may just be open
            self.assertLess(late[0] - early[0], GROWTH_KIB)
        with self.subTest("nothing told is lost, nothing is invented"):
            kept = shop.values()
            self.assertEqual([value for value in kept["gauge-a"] if value not in sent_untold], told_a)
            self.assertEqual(len(kept["gauge-a"]), len(set(kept["gauge-a"])))
            self.assertEqual(kept["gauge-b"], told_b)
        with self.subTest("the other gauge's line was never lost"):
            self.assertEqual(shop.port("gauge-b")["losses"], 0)
            self.assertEqual(shop.port("gauge-a")["losses"], CYCLES)
            self.assertEqual(shop.port("gauge-a")["path"], "usb_serial A1")

    def the_hub_is_tripped_over(self, adapters):
        """09:00: two gauges are lost at once at their hub; plugged in elsewhere they are back, each as itself."""
        shop, machine = self.shop, self.machine
        for gauge, key in (("gauge-a", "a-hub"), ("gauge-b", "b-hub")):
            losses = shop.port(gauge)["losses"]
            shop.cables[gauge].unplug()
            shop.cables[gauge] = adapters[key]
            adapters[key].plug()
            wait_until(lambda: shop.port(gauge)["state"] == "open" and shop.port(gauge)["losses"] == losses + 1, 60, gauge)
        hub = machine.done("grep -l 'QEMU USB Hub' /sys/bus/usb/devices/*/product")[0].rsplit("/", 1)[0]
        steps = {bench: shop.wait_for(lambda view: view.get("walk"), 60, bench=bench)["walk"]["part"] for bench in ("bench-1", "bench-2")}
        before = {gauge: shop.port(gauge)["losses"] for gauge in ("gauge-a", "gauge-b")}
        machine.done(f"echo 0 > {hub}/authorized")
        with self.subTest("the page says which gauges, and since when"):
            for bench, gauge in (("bench-1", "gauge-a"), ("bench-2", "gauge-b")):
                view = shop.wait_for(lambda view: view["gauges"][0]["port_state"] not in ("open", "silent"), 60, bench=bench)
                self.assertEqual(view["gauges"][0]["id"], gauge)
                self.assertEqual(view["walk"]["part"], steps[bench])       # the walk stays where it is
                lost = shop.port(gauge)
                self.assertEqual(lost["losses"], before[gauge] + 1)
                self.assertGreater(lost["away_since_utc_us"], 0)
                self.assertTrue(lost["why"] and lost["hint"])
        began = time.monotonic()
        adapters["a-3"].plug(), adapters["b-4"].plug()
        took = {}
        while len(took) < 2:
            match, when = machine.output.expect(r"port (gauge-[ab]) is back", 60, began)
            took[match[1]] = when - began
        shop.cables.update({"gauge-a": adapters["a-3"], "gauge-b": adapters["b-4"]})
        print("two gauges plugged in elsewhere at once: back after " +
              ", ".join(f"{gauge} {seconds * 1000:.0f} ms" for gauge, seconds in sorted(took.items())), flush=True)
        time.sleep(0.05)
        with self.subTest("each is itself"):
            shop.measure("gauge-a", "111.111")
            shop.measure("gauge-b", "222.222", "bench-2")
            kept = shop.values()
            self.assertEqual((kept["gauge-a"][-1], kept["gauge-b"][-1]), (Decimal("111.111"), Decimal("222.222")))
        adapters["a-hub"].unplug(), adapters["b-hub"].unplug()

    def one_serial_number_twice(self, adapters):
        shop, machine = self.shop, self.machine
        first, second = adapters["twin-5"], adapters["twin-6"]
        first.plug()
        wait_until(lambda: shop.port("twin")["state"] == "open", 60, "the first of two alike")
        second.plug()
        with self.subTest("a twin that comes later is told of; the line that is held stays"):
            wait_until(lambda: shop.port("twin")["warnings"], 60, "the warning")
            self.assertIn("socket 1-6", shop.port("twin")["warnings"][0])
            self.assertEqual(shop.port("twin")["state"], "open")
        first.unplug()
        with self.subTest("the one that is left is not taken for the one that went"):
            wait_until(lambda: shop.port("twin")["code"] == "port_ambiguous", 60, "the refusal of the one left")
            self.assertIn("socket 1-5", shop.port("twin")["why"])
        first.plug()
        with self.subTest("two candidates are refused as ambiguous, both named, none opened"):
            wait_until(lambda: shop.port("twin")["why"].startswith("2 lines are usb_serial 0001"), 60, "the refusal of both")
            port = shop.port("twin")
            for socket in ("1-5", "1-6"):
                self.assertRegex(port["why"], rf"/dev/ttyUSB\d in socket {socket}\b")
            self.assertIn("usb_port", port["hint"])
            self.assertEqual((port["code"], port["node"]), ("port_ambiguous", ""))
            held = " ".join(machine.done(f"ls -l /proc/{shop.pid}/fd 2>/dev/null || true"))
            for node in re.findall(r"/dev/ttyUSB\d", port["why"]):
                self.assertNotIn(node, held)
            self.assertIn("/dev/ttyUSB", held)                             # the two gauges' own
        first.unplug(), second.unplug()

    def an_adapter_of_the_communication_class(self):
        """cdc_acm: the guest makes such a device itself, by a software host controller and a serial gadget."""
        shop, machine = self.shop, self.machine
        machine.done("modprobe dummy_hcd && modprobe g_serial use_acm=1 iManufacturer=Invented iProduct=Gauge "
                     "iSerialNumber=ACM7")
        with self.subTest("an ACM line by its serial number"):
            wait_until(lambda: shop.port("made-here")["state"] == "open", 60, "the ACM line")
            self.assertEqual(shop.port("made-here")["node"], "/dev/ttyACM0")
            self.assertIn(" cs7 ", " ".join(machine.done("stty -a -F /dev/ttyACM0")))
            machine.done("stty -F /dev/ttyGS0 raw -echo; usleep 100000; printf '+001.500\\r' >/dev/ttyGS0")
            wait_until(lambda: shop.port("made-here")["last_heard_utc_us"] > 0, 60, "its reading")
        machine.done("rmmod g_serial")
        wait_until(lambda: shop.port("made-here")["code"] == "port_absent", 60, "its loss")

    def doctor(self):
        with self.subTest("doctor finds the ports by what they are on USB"):
            stranger = self.machine.serial_adapter("stranger-7", "C9", "7")
            stranger.plug()
            self.machine.wait_node("/dev/serial/by-id/usb-QEMU_QEMU_USB_SERIAL_C9-if00-port0")
            self.machine.done("echo auto > /sys/bus/usb/devices/1-3/power/control")
            _, lines = self.machine.sh("/tallystick/tallystick doctor --config /shop/tallystick.toml --user tallystick")
            said = "\n".join(lines)
            self.assertRegex(said, r"good  port  usb_serial A1 \(/dev/ttyUSB\d\)")
            self.assertRegex(said, r"fault  port  usb_serial ACM7")
            self.assertRegex(said, r'good  port  /dev/ttyUSB\d: plugged in, and no port.s: .*; its key is usb_serial = "C9"')
            self.assertIn("usb_suspends", self.machine.sh(
                "/tallystick/tallystick doctor --config /shop/tallystick.toml --user tallystick --json")[1][-1])

    def the_journal_is_sound(self):
        machine = self.machine
        with self.subTest("verify in the guest"):
            status, lines = machine.sh("/tallystick/tallystick verify /tmp/data/journal.sqlite3", 60)
            self.assertEqual(status, 0, lines[-5:])


if __name__ == "__main__":
    unittest.main()
