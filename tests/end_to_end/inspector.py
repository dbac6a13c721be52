"""A pair of hands at a bench of the demo shop: does what the page asks for, with values that are good unless told otherwise."""
import math
import time
from decimal import Decimal

from bench import Shop, wait_until
from small_shop import demo_shop
from terminals import Terminal, asked_line, push_line, status_columns, stream_line

MASTERS = {"ring-16": "16.003", "ring-25": "25.002", "ring-32": "32.001", "ring-50": "49.998", "block-25": "25.000",
           "block-50": "50.000", "ring-25-second": "25.001"}
RING_OF = {"bore-gauge-12-20": "ring-16", "bore-gauge-20-30": "ring-25", "bore-gauge-30-42": "ring-32",
           "bore-gauge-42-55": "ring-50", "bore-gauge-second": "ring-25-second"}
LENGTHS = {"FB-25": 30, "FB-25L": 32}
NO_ANSWER_BEFORE_S = 0.85  # a look, check or member takes no answer in the first 0.8 s after it was told


def good_size(feature, size):
    length = Decimal(LENGTHS[size])
    values = {"length": length + Decimal("0.012"), "seat-length": length - Decimal("5.980"),
              "outside-diameter": Decimal("32.034"), "bore": Decimal("25.011"), "flange-diameter": Decimal("43.985"),
              "flange-thickness": Decimal("6.008"), "groove-width": Decimal("3.015"), "groove-depth": Decimal("1.290"),
              "runout-face": Decimal("0.0110"), "runout-outside": Decimal("0.0080")}
    return Decimal("5.590") if feature.startswith("bolt-hole-") else values[feature]


class Inspector:
    """The demo shop's bench 1, and who works at it. `asked` is what the height gauge shows, `indicator` the indicator."""

    def __init__(self, size="FB-25", benches=("bench-1",), look_time=0, **windows):
        self.size, self.bench = size, "bench-1"
        self.asked, self.turning = "+30.0000", []
        self.shop = Shop(demo_shop(look_time=look_time, **windows), benches=benches, lines={
            "height-gauge": lambda link: Terminal(link, answer=asked_line(lambda: self.asked)),
            "lever-indicator": lambda link: Terminal(link, stream=self.indicator, period=0.02),
        })
        self.pedals = self.answers = self.captures = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.shop.close()

    def view(self):
        return self.shop.view(self.bench)

    def last_key(self):
        return (self.view().get("last") or {}).get("key")

    # ---- single gauges

    def bytes_of(self, gauge, size):
        """What the gauge sends for a size in mm."""
        if gauge in RING_OF:
            return status_columns(f"{Decimal(size) - Decimal(MASTERS[RING_OF[gauge]]):.3f}")
        return push_line(f"{Decimal(size):.3f}")

    def press(self, gauge, size, what="counted"):
        return self.shop.take(gauge, self.bytes_of(gauge, size), what, self.bench)

    def pedal(self, shown, what="counted"):
        """Asks the height gauge, which shows `shown` (as it writes it: "+30.0120")."""
        self.asked = shown
        before = self.last_key()
        self.pedals += 1
        self.shop.act("good", self.bench)
        return self.shop.wait_for(lambda view: (view.get("last") or {}).get("key") not in (None, before)
                                  and what in (None, view["last"]["what"]), 10, f"the height gauge's {shown}", self.bench)

    def set_gauges(self):
        """Every gauge that is due is pressed on its master, once."""
        presses = 0
        for due in self.view()["settings_due"]:
            shown = Decimal(MASTERS[due["master"]]) + Decimal("0.001")
            self.press(due["gauge"], shown, "setting")
            presses += 1
        return presses

    # ---- whatever the page asks for

    def step(self, size_of=good_size):
        """One step. The view that tells of it."""
        view = self.shop.wait_for(lambda view: view["state"] in ("step", "setting"), bench=self.bench)
        step = view["step"]
        if step["kind"] == "setting":
            return self.press(step["gauge"], Decimal(step["nominal"]), "setting")
        if step["kind"] == "capture":
            return self.capture(size_of(step["feature"], self.size))
        if step["kind"] != "reading":
            return self.answer()
        gauge, size = step["gauges"][0], size_of(step["feature"], self.size)
        if gauge["speaks"] == "asked":
            return self.pedal(f"{size:+.4f}")
        return self.press(gauge["id"], size)

    def indicator(self):
        """The next frame of the lever indicator: of a turn, else zero."""
        return stream_line(self.turning.pop(0) if self.turning else "0.0000")

    def turn(self, span, frames=80):
        """The part is turned once by hand: out of true, so that the indicator goes from its lowest point over `span` and back."""
        height = [span / 2 * (1 - Decimal(repr(math.cos(2 * math.pi * n / frames)))) for n in range(frames + 1)]
        self.turning = [f"{each:.4f}" for each in height]
        return [Decimal(each) for each in self.turning]

    def capture(self, value):
        """Good, a turn, and good again where the page asks for it. The view that tells of the value."""
        before = self.last_key()
        self.captures += 1
        self.shop.act("good", self.bench)
        view = self.shop.wait_for(lambda view: view["state"] == "capture", 10, "the capture", self.bench)
        by_good = view["actions"]["good"] is not None
        self.turn(value)
        wait_until(lambda: not self.turning, 20, "the end of the turn")
        if by_good:
            time.sleep(0.1)
            self.captures += 1
            self.shop.act("good", self.bench)
        return self.shop.wait_for(lambda view: (view.get("last") or {}).get("key") not in (None, before)
                                  and view["last"]["what"] == "counted", 15, "the capture's value", self.bench)

    def answer(self, action="good"):
        """A look, a member of a plug, a mating check."""
        time.sleep(NO_ANSWER_BEFORE_S)
        before = self.last_key()
        self.answers += 1
        self.shop.act(action, self.bench)
        return self.shop.wait_for(lambda view: (view.get("last") or {}).get("key") not in (None, before), 10,
                                  "the answer", self.bench)

    def part(self, size_of=good_size):
        """Every step of the present part. Its serial."""
        serial = self.shop.wait_for(lambda view: view.get("walk") and view["walk"]["serial"], bench=self.bench)["walk"]["serial"]
        while True:
            view = self.view()
            if view["state"] not in ("step", "setting") or view["walk"]["serial"] != serial:
                return serial
            self.step(size_of)

    def tools(self):
        """States the ids of plugs and mating parts: once a walk, counted apart."""
        for wanted in self.view().get("tools_wanted", []):
            self.shop.command("state_tool", self.bench, touch=False, tool=wanted["tool"], id=wanted["choices"][0])
