"""What simulated-gauges.toml says, checked whole: every fault is told, with its place and remedy."""
import difflib
import tomllib
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation

SPEAKS = ("pushed", "asked", "streams")
UNITS = ("mm", "in", "degC")
FAULTS = ("partial", "garbage", "double", "silence")


@dataclass
class Wire:
    """How a value is written on the line; `frame` has places {channel} {sign} {value} {unit} {status}."""
    name: str
    frame: str
    decimals: dict           # by unit
    integers: int = 1        # at least so many digits before the point
    most_integers: int = 9   # and at most
    pad: str = "0"           # what fills them
    width: int = 0           # of the whole value, filled from the left with blanks; 0: as long as it is
    plus: str = "+"
    minus: str = "-"
    status: str = ""
    request: bytes = b""     # what asks for a value

    @property
    def unit_in_frame(self):
        return "{unit}" in self.frame


@dataclass
class GaugeSettings:
    id: str
    port: str
    wire: str
    bench: str
    speaks: str = "pushed"
    channel: str = ""
    unit: str = "mm"
    resolution: Decimal = Decimal("0.001")
    nominal: Decimal = Decimal(0)     # of the size; in `unit`
    spread: Decimal = Decimal(0)      # one standard deviation
    drift: Decimal = Decimal(0)       # added with every press
    master_size: Decimal | None = None  # given: it shows the difference to this
    period_ms: int = 50               # of a stream
    reply_after_ms: int = 20          # of one that is asked
    turn_ms: int = 0                  # of a stream: a press turns the part under it, so long a turn; 0: it stands still
    turns: int = 2                    # by one press
    features: dict = field(default_factory=dict)   # sizes of features that have no limits of their own, by key


@dataclass
class Settings:
    seed: int = 1
    daemon: str = ""
    faults: dict = field(default_factory=dict)   # probability of each by a press
    wires: dict = field(default_factory=dict)
    gauges: list = field(default_factory=list)


class Faulty(Exception):
    """The settings cannot be used; `faults` are all the reasons."""

    def __init__(self, faults):
        super().__init__("\n".join(faults))
        self.faults = faults


class _Reader:
    def __init__(self, file):
        self.file, self.faults = file, []

    def fault(self, where, what, hint):
        self.faults.append(f"{self.file}: {where}: {what} ({hint})")

    def known(self, where, table, keys):
        for key in table:
            if key in keys:
                continue
            near = difflib.get_close_matches(key, keys, 1)
            self.fault(where, f"unknown key \"{key}\"", f"did you mean \"{near[0]}\"?" if near else "keys: " + ", ".join(keys))

    def take(self, where, table, key, kind, default=None):
        if key not in table:
            if default is None:
                self.fault(where, f"{key} is missing", f"write {key} = ...")
            return default
        value = table[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.fault(where, f"{key} is {value!r}", "write a whole number" if kind is int else "write it as a quoted text"
                       if kind is str else "compare with the others of its kind")
            return default
        return value

    def decimal(self, where, table, key, default):
        if key not in table:
            return default
        if not isinstance(table[key], str):
            self.fault(where, f"{key} is {table[key]!r}", "write it as a quoted decimal, so that no digit is lost")
            return default
        try:
            value = Decimal(table[key])
            if value.is_finite():
                return value
        except InvalidOperation:
            pass
        self.fault(where, f"{key} is \"{table[key]}\"", "write a plain decimal")
        return default

    def one_of(self, where, key, value, choices):
        if value is not None and value not in choices:
            near = difflib.get_close_matches(value, list(choices), 1)
            self.fault(where, f"{key} is \"{value}\"",
                       f"did you mean \"{near[0]}\"?" if near else "choose from: " + ", ".join(choices))


def _wire(reader, name, table):
    where = f"wire.{name}"
    reader.known(where, table, ["frame", "decimals", "integers", "most_integers", "pad", "width", "plus", "minus", "status", "request"])
    decimals = reader.take(where, table, "decimals", dict, {})
    for unit, count in decimals.items():
        reader.one_of(where, "a unit of decimals", unit, UNITS)
        if not isinstance(count, int) or not 0 <= count <= 9:
            reader.fault(where, f"decimals.{unit} is {count!r}", "write a whole number from 0 to 9")
    return Wire(name, reader.take(where, table, "frame", str, None) or "{value}", decimals,
                reader.take(where, table, "integers", int, 1),
                reader.take(where, table, "most_integers", int, 9), reader.take(where, table, "pad", str, "0"),
                reader.take(where, table, "width", int, 0), reader.take(where, table, "plus", str, "+"),
                reader.take(where, table, "minus", str, "-"), reader.take(where, table, "status", str, ""),
                reader.take(where, table, "request", str, "").encode("latin-1"))


GAUGE_KEYS = ["id", "port", "wire", "bench", "speaks", "channel", "unit", "resolution", "nominal", "spread", "drift",
              "master_size", "period_ms", "reply_after_ms", "turn_ms", "turns", "features"]


def _gauge(reader, number, table, wires):
    where = f"gauge {table.get('id', number + 1)}"
    reader.known(where, table, GAUGE_KEYS)
    one = GaugeSettings(*(reader.take(where, table, key, str, None) or "?" for key in ("id", "port", "wire", "bench")))
    for key in ("speaks", "channel", "unit"):
        setattr(one, key, reader.take(where, table, key, str, getattr(one, key)))
    for key in ("resolution", "nominal", "spread", "drift", "master_size"):
        setattr(one, key, reader.decimal(where, table, key, getattr(one, key)))
    for key in ("period_ms", "reply_after_ms"):
        setattr(one, key, reader.take(where, table, key, int, getattr(one, key)))
        if getattr(one, key) < 1:
            reader.fault(where, f"{key} is {getattr(one, key)}", "write at least 1")
            setattr(one, key, 1)
    one.turn_ms, one.turns = reader.take(where, table, "turn_ms", int, 0), reader.take(where, table, "turns", int, 2)
    if "turn_ms" in table and not (one.speaks == "streams" and 8 * one.period_ms <= one.turn_ms <= 600_000):
        reader.fault(where, f"turn_ms is {one.turn_ms}", "only a stream shows a turn, of eight of its frames at least")
    sizes = reader.take(where, table, "features", dict, {})
    one.features = {key: reader.decimal(f"{where}, features", sizes, key, Decimal(0)) for key in sizes}
    if not 1 <= one.turns <= 100:
        reader.fault(where, f"turns is {one.turns}", "write 1 to 100")
    reader.one_of(where, "speaks", one.speaks, SPEAKS)
    reader.one_of(where, "unit", one.unit, UNITS)
    if one.resolution <= 0:
        reader.fault(where, "resolution is not above zero", "write its step, such as \"0.001\"")
        one.resolution = Decimal("0.001")
    if "wire" in table:
        reader.one_of(where, "wire", one.wire, wires)
    wire = wires.get(one.wire)
    if wire and one.unit not in wire.decimals:
        reader.fault(where, f"wire {wire.name} says no decimals for {one.unit}", f"add {one.unit} to its decimals")
    if wire and one.speaks == "asked" and not wire.request:
        reader.fault(where, f"it is asked, but wire {wire.name} has no request", "write the request's bytes")
    return one


def read(text, file):
    """Settings from TOML text. Raises Faulty with all faults."""
    reader = _Reader(file)
    try:
        root = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Faulty([f"{file}: {error}"]) from None
    reader.known("top", root, ["seed", "daemon", "faults", "wire", "gauge"])
    out = Settings(reader.take("top", root, "seed", int, 1), reader.take("top", root, "daemon", str, ""))
    odds = root.get("faults", {})
    reader.known("faults", odds, list(FAULTS))
    for name, value in odds.items():
        if not isinstance(value, (int, float)) or isinstance(value, bool) or not 0 <= value <= 1:
            reader.fault("faults", f"{name} is {value!r}", "write a probability from 0 to 1")
        else:
            out.faults[name] = float(value)
    out.wires = {name: _wire(reader, name, table) for name, table in root.get("wire", {}).items()}
    out.gauges = [_gauge(reader, number, table, out.wires) for number, table in enumerate(root.get("gauge", []))]
    ids, places = set(), set()
    for one in out.gauges:
        if one.id in ids:
            reader.fault(f"gauge {one.id}", "there are two of this id", "give each its own")
        if (one.port, one.channel) in places:
            reader.fault(f"gauge {one.id}", "another gauge has the same port and channel", "give each its own channel")
        ids.add(one.id)
        places.add((one.port, one.channel))
    if not out.gauges:
        reader.fault("top", "there is no gauge", "add [[gauge]] tables")
    if reader.faults:
        raise Faulty(reader.faults)
    return out
