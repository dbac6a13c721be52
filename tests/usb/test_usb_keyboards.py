"""Gauges that type, on Linux's own USB keyboard driver, in a virtual machine: their keys reach no console, a burst that is cut
by a pull leaves nothing behind, two that type at once are not mixed. All data invented."""
import time
import unittest
from decimal import Decimal

from guest_shop import GuestShop, by_usb_shop, free_port, machine_for
from bench import wait_until


class UsbKeyboards(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.number = free_port()
        cls.machine = cls.enterClassContext(machine_for(cls.number, screens=("screen1", "screen2")))

    def console(self):
        """What the guest's console was typed so far."""
        return self.machine.done("cat /tmp/console")

    def opened(self, name, losses=0):
        wait_until(lambda: self.shop.port(name)["state"] == "open" and self.shop.port(name)["losses"] == losses, 60, name)

    def test_keys_go_to_the_daemon_alone(self):
        machine = self.machine
        one, two = machine.keyboard("one", "K1", "3", "screen1"), machine.keyboard("two", "K2", "4", "screen2")
        one.plug(), two.plug()
        for serial in ("K1", "K2"):
            machine.wait_node(f"/dev/input/by-id/usb-QEMU_QEMU_USB_Keyboard_{serial}-event-kbd")
        machine.done("cat /dev/tty1 >/tmp/console &")
        one.type("11.11\n")
        wait_until(lambda: self.console() == ["11.11"], 30, "the console's line")  # without the daemon it gets the keys

        naming = 'driver = "keyboard"\nusb_serial = "{}"'
        files = by_usb_shop([("caliper-1", "bench-1", naming.format("K1"), "typed-line"),
                             ("caliper-2", "bench-2", naming.format("K2"), "typed-line")], self.number)
        with GuestShop(machine, files, benches=("bench-1", "bench-2")) as shop:
            self.shop = shop
            self.opened("caliper-1"), self.opened("caliper-2")
            for bench, lot in (("bench-1", "L-1"), ("bench-2", "L-2")):
                shop.begin("FB-25", 1, 50, bench=bench, lot_name=lot, publish=bench == "bench-1")

            one.type("22.22\n")
            shop.told("22.22")
            two.type("222.222\n")
            shop.told("222.222", "bench-2")

            # Both at once, key by key.
            for first, second in zip("333.33\n", "44.444\n"):
                one.type(first), two.type(second)
            shop.told("333.33"), shop.told("44.444", "bench-2")

            # Pulled in the middle of a number; and again just before its Enter.
            for losses, cut, after in ((1, "9.9", "55.55"), (2, "99.99", "66.66")):
                one.type(cut)
                one.unplug()
                wait_until(lambda: shop.port("caliper-1")["code"] in ("port_lost", "port_absent"), 60, "the loss")
                self.assertEqual(shop.port("caliper-2")["losses"], 0)
                one.plug()
                self.opened("caliper-1", losses)
                time.sleep(0.2)
                one.type(after + "\n")
                shop.told(after)
            two.type("77.77\n")
            shop.told("77.77", "bench-2")

            self.assertEqual(shop.values(), {"caliper-1": [Decimal(value) for value in ("22.22", "333.33", "55.55", "66.66")],
                                             "caliper-2": [Decimal(value) for value in ("222.222", "44.444", "77.77")]})
            self.assertEqual(self.console(), ["11.11"])   # nothing of all that reached it
            shop.stop()
        one.type("88.88\n")
        wait_until(lambda: self.console() == ["11.11", "88.88"], 30, "the console's line after the daemon's end")


if __name__ == "__main__":
    unittest.main()
