"""Gauges, pedals and code cards that type: from keys to a walk's result, and the actions of a bench. Data invented."""
import json
import re
import threading
import unittest

from bench import BIN, Shop, wait_until
from small_shop import small_shop
from typing_devices import Devices

PLAYED = BIN.parent / "tests" / "tallystickd_played"
GAUGE = "height-gauge"

PEDALS = """
[[port]]
id = "pedal"
driver = "keyboard"
usb_serial = "P-7"
bench = "bench-1"
[[port.action]]
key = "f13"
does = "good"
[[port.action]]
key = "f14"
does = "not_good"
[[port.action]]
key = "f15"
does = "again"

[[port]]
id = "cards"
driver = "keyboard"
usb_serial = "S-1"
bench = "bench-1"
gap_ms = 1000
[[port.action]]
text = "CARD-AGAIN-SLIPPED"
does = "again"
reason = "gauge slipped"
"""


def typing_shop():
    files = small_shop()
    files["tallystick.toml"] = re.sub(
        rf'(\[\[port\]\]\nid = "{GAUGE}"\n)path = ".*"\ndialect = ".*"\n',
        r'\1driver = "keyboard"\nusb_serial = "C-0042"\ngap_ms = 1000\ndialect = "typed-line"\n', files["tallystick.toml"]) + PEDALS
    return files


class PlayedShop(Shop):
    """A shop whose daemon has input devices that the test plays."""

    def __init__(self, files):
        super().__init__(files, start=False)
        self.program = PLAYED
        self.devices = Devices(self.folder / "devices")
        self.before = ["/usr/bin/env", f"TALLYSTICK_PLAYED={self.folder}/devices"]
        try:
            for name, serial in (("event3", "C-0042"), ("event4", "P-7"), ("event5", "S-1")):
                self.devices.plug(name, serial)
            self.start()
        except BaseException:
            self.close()
            raise

    def close(self):
        super().close()
        if hasattr(self, "devices"):
            self.devices.close()

    def port(self, name):
        return next(port for port in self.get("/api/v1/ports") if port["port"] == name)

    def settle(self, name=GAUGE):
        """Open, and the pause has passed after which what is typed counts."""
        wait_until(lambda: self.port(name)["state"] == "open", what="the open port")
        threading.Event().wait(1.1)  # longer than gap_ms

    def pedal(self, key):
        threading.Event().wait(0.3)  # nobody presses before the screen can have been seen
        self.devices.press("event4", key)

    def card(self, text):
        threading.Event().wait(0.3)
        self.devices.type("event5", text)

    def acts(self):
        """[(body of the input, outcome)] of every action that is kept."""
        return [(json.loads(text)["body"], json.loads(outcome)) for text, outcome in
                self.journal("SELECT input, outcome FROM entry WHERE kind = 'act' ORDER BY branch, seq")]

    def frames(self, name, gauge=""):
        return next((each["frames"] for each in self.get("/api/v1/ports/recent") if each["port"] == name and each["gauge"] == gauge), [])


class Typing(unittest.TestCase):
    def test_a_caliper_types_into_a_result_and_survives_being_unplugged_in_the_middle(self):
        with PlayedShop(typing_shop()) as shop:
            shop.begin("FB-25", 1, 3)
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "length")
            shop.settle()

            # Unplugged in the middle of a value: no number, now or later.
            shop.devices.type("event3", "30.0", enter=False)
            shop.devices.unplug("event3")
            view = shop.wait_for(lambda view: any(gauge["id"] == GAUGE and gauge["port_state"] in ("lost", "absent")
                                                  for gauge in view["gauges"]), 3)
            self.assertEqual(view["state"], "step")
            self.assertEqual([frame["refusal"] for frame in shop.frames(GAUGE, GAUGE)], ["incomplete"])
            self.assertEqual(shop.export_csv()[0], [])

            shop.devices.plug("event9", "C-0042")  # in another socket, under another number
            shop.settle()
            self.assertTrue(shop.port(GAUGE)["node"].endswith("event9.keys"))
            shop.devices.type("event9", "30.012")
            view = shop.wait_for(lambda view: (view["last"] or {}).get("what") == "counted")
            self.assertEqual((view["last"]["feature"], view["last"]["verdict"], view["last"]["value"]), ("length", "accept", "30.012"))
            self.assertEqual([raw for _, _, _, raw, _ in shop.entries("reading")], [b"30.012\r"])
            self.assertEqual([(row["value"], row["verdict"]) for row in shop.export_csv()[0]], [("30.012", "accept")])
            gauge = next(each for each in shop.get("/api/v1/gauges") if each["id"] == GAUGE)
            self.assertEqual((gauge["port_state"], gauge["card"]["port"]), ("open", GAUGE))

    def test_pedal_and_card_act_as_the_page_does(self):
        with PlayedShop(typing_shop()) as shop:
            shop.begin("FB-25", 1, 3)
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "length")
            shop.settle("cards")
            shop.devices.type("event3", "30.012")
            shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "seat-length")

            # "Again" without a reason has two to choose from: nothing is done, the page is told to ask.
            events = len(shop.entries())
            shop.pedal("f15")
            view = shop.wait_for(lambda view: view["press"] is not None)
            self.assertEqual((view["press"]["action"], view["press"]["code"], view["press"]["port"]), ("again", "to_choose", "pedal"))
            self.assertEqual(len(shop.entries()), events)
            first = view["press"]["number"]

            # The card states its reason: the last value is taken again.
            shop.card("CARD-AGAIN-SLIPPED")
            view = shop.wait_for(lambda view: (view["last"] or {}).get("what") == "retake")
            self.assertEqual(view["step"]["feature"], "length")
            self.assertIsNone(view["press"])
            self.assertEqual([body for body, _ in shop.acts()],
                             [{"port": "cards", "code": "CARD-AGAIN-SLIPPED", "action": "again", "reason": "gauge slipped"}])

            # "Good" means nothing where a gauge pushes.
            shop.pedal("f13")
            view = shop.wait_for(lambda view: view["press"] is not None)
            self.assertEqual((view["press"]["code"], view["press"]["number"] > first), ("not_now", True))

            # One reason only: "not good" passes the step over.
            shop.pedal("f14")
            view = shop.wait_for(lambda view: (view["last"] or {}).get("what") == "passed_over")
            self.assertEqual(len(shop.acts()), 2)

            # A code that nobody mapped is refused, shown, and does nothing.
            shop.card("BADGE-12")
            wait_until(lambda: shop.frames("cards") and shop.frames("cards")[-1]["refusal"] == "not_mine", what="the refused code")
            self.assertEqual(bytes.fromhex(shop.frames("cards")[-1]["bytes_hex"]), b"BADGE-12")
            self.assertEqual(len(shop.acts()), 2)
            self.assertEqual([frame["cause"] for frame in shop.frames("pedal")], ["again", "good", "not_good"])

            # Parked: the pedal's "good" takes it up, as the page's key does.
            walk = shop.view()["walk"]["key"]
            shop.command("park")
            shop.wait_for(lambda view: view["walk"] is None)
            shop.pedal("f13")
            view = shop.wait_for(lambda view: view["walk"] is not None)
            self.assertEqual(view["walk"]["key"], walk)

            # Without a display nobody would see what it does, so it passes no step over.
            shop.displays["bench-1"].close()
            wait_until(lambda: shop.entries("display_went"), 20, "the display's leaving")
            shop.pedal("f14")
            wait_until(lambda: (shop.get("/api/v1/benches/bench-1")["press"] or {}).get("code") == "not_now", what="the refusal")
            self.assertEqual(len(shop.acts()), 2)

    def test_two_that_fit_are_refused_and_named(self):
        files = typing_shop()
        files["tallystick.toml"] = files["tallystick.toml"].replace('usb_serial = "P-7"', 'usb_id = "1d6b:0104"')
        with PlayedShop(files) as shop:
            port = shop.port("pedal")
            self.assertEqual((port["state"], port["code"]), ("backing_off", "port_ambiguous"))
            self.assertIn("event3.keys", port["why"])
            self.assertIn("event4.keys", port["why"])
            self.assertTrue(port["hint"])


class Faults(unittest.TestCase):
    """What `tallystick check` says of keyboard ports, with the line."""

    def faults(self, old, new):
        files = typing_shop()
        self.assertIn(old, files["tallystick.toml"])
        files["tallystick.toml"] = files["tallystick.toml"].replace(old, new, 1)
        with Shop(files, start=False) as shop:
            return shop.tool("check", shop.config, status=1)[0]

    def test_each_fault_is_told(self):
        for old, new, told in [
                ('usb_serial = "C-0042"', 'usb_id = "1d6b"', "no USB numbers"),
                ('usb_serial = "C-0042"\n', "", "nothing says which device it is"),
                ('usb_serial = "C-0042"', 'usb_serial = "C-0042"\nlayout = "xx"', "layout"),
                ('usb_serial = "C-0042"', 'usb_serial = "C-0042"\nends = []', "nothing would ever end"),
                ('usb_serial = "C-0042"', 'usb_serial = "C-0042"\nends = ["space"]', "ends nothing"),
                ('key = "f13"', 'key = "f113"', 'there is no key "f113"'),
                ('key = "f13"', 'key = "f14"', "acts already"),
                ('key = "f13"', 'key = "f13"\ntext = "X"', "one of them only"),
                ('does = "good"', 'does = "ask"', "no gauge that it is asked"),
                ('does = "good"', 'does = "ask"\ngauge = "nobody"', 'no sound gauge "nobody"'),
                ('does = "good"', 'does = "ask"\ngauge = "micrometer"', "speaks by itself"),
                ('does = "good"', 'does = "good"\nreason = "gauge slipped"', "takes none"),
                ('reason = "gauge slipped"', 'reason = "tired"', "not in the shop's list"),
                ('usb_serial = "P-7"\nbench = "bench-1"', 'usb_serial = "P-7"', "belong to no bench"),
                ('usb_serial = "P-7"\nbench = "bench-1"', 'usb_serial = "P-7"\nbench = "bench-9"', "bench-9"),
                ('text = "CARD-AGAIN-SLIPPED"', 'text = "X"\ndoes = "good"\n[[port.action]]\nkey = "x"', "is typed in texts"),
                ('usb_serial = "P-7"', 'usb_serial = "C-0042"', "has this"),
                ('dialect = "typed-line"', 'dialect = "asked-line"', "a keyboard cannot be asked"),
                ('dialect = "typed-line"', "", "dialect")]:
            with self.subTest(told):
                self.assertIn(told, self.faults(old, new))

    def test_a_gauge_at_a_port_that_only_acts(self):
        out = self.faults('port = "micrometer"', 'port = "pedal"')
        self.assertIn('gauge "micrometer" types here, and the port has no dialect', out)


if __name__ == "__main__":
    unittest.main()
