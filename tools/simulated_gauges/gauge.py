"""One simulated gauge: what it shows, and how that is written on the line. No input or output here."""
import math
import random
from decimal import ROUND_HALF_EVEN, Decimal

INCH = Decimal("25.4")  # exact: international yard and pound agreement, 1959


class Refused(Exception):
    """A command that cannot be done: code, what was found, what to do."""

    def __init__(self, code, what, hint):
        super().__init__(what)
        self.code, self.what, self.hint = code, what, hint


def convert(value, unit, into):
    """Between mm and in; exact as far as Decimal goes."""
    if unit == into:
        return value
    return value * INCH if unit == "in" else value / INCH


def write_frame(wire, value, unit, channel=""):
    """The bytes of a value with the digits of the wire. Never rounds: Refused where it has too many digits."""
    if unit not in wire.decimals:
        raise Refused("wrong_unit", f"{wire.name} cannot be set to {unit}", "choose from: " + ", ".join(wire.decimals))
    shown = value.quantize(Decimal(1).scaleb(-wire.decimals[unit]))
    if shown != value:
        raise Refused("too_many_digits", f"{value} {unit} has more decimals than {wire.name} sends",
                      f"give at most {wire.decimals[unit]}")
    whole, _, rest = f"{abs(shown):f}".partition(".")
    text = whole.rjust(wire.integers, wire.pad) + ("." + rest if rest else "")
    text = text.rjust(wire.width)
    if len(whole.lstrip("0 ")) > wire.most_integers or (wire.width and len(text) > wire.width):
        raise Refused("out_of_range", f"{value} {unit} has more digits than {wire.name} sends", "give a smaller value")
    places = {"channel": channel, "sign": wire.minus if shown < 0 else wire.plus, "value": text, "unit": unit,
              "status": wire.status}
    return wire.frame.format_map(places).encode("latin-1")


class Gauge:
    """State of one gauge. Values are what it shows, in its present unit; `nominal` is of the size."""

    def __init__(self, settings, wire, seed, faults):
        self.settings, self.wire = settings, wire
        self.unit = settings.unit
        self.nominal, self.spread, self.drift = settings.nominal, settings.spread, settings.drift
        # Odds are by a press. A stream has none unless it is told so: at some hundred frames a turn none would stay whole.
        self.faults = dict(faults) if settings.speaks != "streams" else {}
        self.reply_after_ms, self.period_ms = settings.reply_after_ms, settings.period_ms
        self.answers = True          # False: it is switched off or its cable is out
        self.presses = 0
        self.held = None             # a value that it shows until another is set
        self.turn_ms, self.turns = settings.turn_ms, settings.turns
        self.turning = None          # (what a turn spans, frames still to come) while the part under it turns
        self.random = random.Random(f"{seed}/{settings.id}")

    def step(self):
        """Its resolution in its present unit, never finer than the wire writes."""
        finest = Decimal(1).scaleb(-self.wire.decimals[self.unit])
        return max(self.settings.resolution if self.unit == self.settings.unit else finest, finest)

    def on_grid(self, value):
        """The nearest value that it can show."""
        step = self.step()
        return (value / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step + 0  # no negative zero

    def shown(self, size, unit):
        """What it shows for a size: converted into its present unit, the difference to its master where it reads that."""
        if self.settings.master_size is not None:
            size -= convert(self.settings.master_size, self.settings.unit, unit)
        return self.on_grid(convert(size, unit, self.unit))

    def turn(self, span):
        """The part under it turns from its lowest point, out of true by half of `span` (its eccentricity); then it stands."""
        frames = self.frames_a_turn() * self.turns
        for height in (Decimal(0), span):
            self.frame(self.on_grid(height))  # refused here rather than when it is sent
        self.turning, self.held = (span, frames), self.on_grid(Decimal(0))
        return frames * self.period_ms

    def frames_a_turn(self):
        """Even, so that the highest point is one of them."""
        return max(8, self.turn_ms // self.period_ms // 2 * 2)

    def turned(self):
        """The next value of a turn: half of its span less so much of its cosine."""
        span, left = self.turning
        self.turning = (span, left - 1) if left > 1 else None
        angle = 2 * math.pi * (left % self.frames_a_turn()) / self.frames_a_turn()
        return self.on_grid(span / 2 * (1 - Decimal(str(round(math.cos(angle), 12)))))

    def next_value(self):
        """One of a turn, a held value, else one around the nominal."""
        if self.turning is not None:
            return self.turned()
        if self.held is not None:
            return self.held
        noise = Decimal(str(round(self.random.gauss(0, 1), 6)))
        size = self.nominal + self.drift * self.presses + self.spread * noise
        return self.shown(size, self.settings.unit)

    def frame(self, value):
        return write_frame(self.wire, value, self.unit, self.settings.channel)

    def with_faults(self, frame):
        """What really goes over the line: a list of (delay in ms, bytes). Draws the odd fault."""
        draw = {name: self.random.random() < odds for name, odds in sorted(self.faults.items())}
        if draw.get("silence"):
            return "silence", []
        if draw.get("partial"):
            return "partial", [(0, frame[: self.random.randrange(1, len(frame))])]
        if draw.get("garbage"):
            noise = bytes(self.random.choice([b for b in range(256) if b not in (10, 13)])
                          for _ in range(self.random.randrange(1, 12)))
            return "garbage", [(0, noise), (300, frame)]
        if draw.get("double"):
            return "double", [(0, frame), (35, frame)]
        return "", [(0, frame)]

    def set(self, key, text):
        """Changes one key from text."""
        if key in ("unit", "value", "turn_ms"):
            self.turning = None
        if key == "unit":
            if text not in self.wire.decimals:
                raise Refused("wrong_unit", f"it cannot be set to {text}", "choose from: " + ", ".join(self.wire.decimals))
            self.unit = text
            self.held = None
        elif key in ("nominal", "spread", "drift"):
            setattr(self, key, decimal(text))
        elif key == "value":
            if text == "none":
                self.held = None
            else:
                value = decimal(text)
                self.frame(value)  # refused here rather than when it is sent
                self.held = value
        elif key in ("reply_after_ms", "period_ms", "turn_ms"):
            if not text.isdecimal() or not (0 if key == "turn_ms" else 1) <= int(text) <= 600_000:
                raise Refused("wrong_value", f"{key} is \"{text}\"", "give 1 to 600000 (turn_ms 0: it stands still)")
            setattr(self, key, int(text))
        elif key in ("answers", "faults"):
            if text not in ("on", "off"):
                raise Refused("wrong_value", f"{key} is \"{text}\"", "say on or off")
            if key == "answers":
                self.answers = text == "on"
            elif text == "off":
                self.faults = {}
            else:
                raise Refused("wrong_value", "faults can only be switched off as a whole", "say fault.partial 0.1 and so on")
        elif key.startswith("fault."):
            odds = decimal(text)
            if not 0 <= odds <= 1:
                raise Refused("wrong_value", f"{key} is {text}", "give 0 to 1")
            self.faults[key.removeprefix("fault.")] = float(odds)
        else:
            raise Refused("unknown_key", f"there is no key \"{key}\"",
                          "keys: unit, value, nominal, spread, drift, answers, reply_after_ms, period_ms, turn_ms, faults, "
                          "fault.partial, fault.garbage, fault.double, fault.silence")


def decimal(text):
    """A plain decimal from text."""
    if len(text) > 24 or not text.isascii() or not text.lstrip("+-").replace(".", "", 1).isdecimal() or len(text) - len(text.lstrip("+-")) > 1:
        raise Refused("not_a_number", f"\"{text}\" is no plain decimal", "write it like 25.007")
    return Decimal(text)
