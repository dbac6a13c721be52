"""One bench, one bore gauge that is set on masters, one feature: for what follows when a master says otherwise. Invented data."""
from bench import Refused, Shop, patched
from small_shop import FAMILY, FEATURES, SHOP, SIZES, _port
from terminals import push_line

GAUGE = "bore-gauge"
REASON = "measured on another gauge since"   # of the list that stands where the configuration has none
BORE = "[[feature]]\nkey = \"bore\"" + FEATURES.split("[[feature]]\nkey = \"bore\"")[1].split("[[feature]]")[0]

MASTERS = """
[[master]]
id = "ring-25"
name = "ring 25.002"
size = "25.0024"
deviation = "-0.0004"
unit = "mm"
calibrated = "2026-03-31"
calibration_due = "2099-12-31"

[[master]]
id = "ring-29"
name = "ring 29.000"
size = "29.000"
uncertainty = "0.001"
unit = "mm"
calibration_due = "2099-12-31"

[[master]]
id = "ring-old"
name = "ring 25.000, old"
size = "25.000"
unit = "mm"
calibration_due = "2020-01-31"
"""


def bore_shop(setting='master = "ring-25"\nlimit = "0.002"\n'):
    toml = SHOP + '\n[[bench]]\nid = "bench-1"\nname = "bench 1"\n' + MASTERS + _port(GAUGE) + f"""
[[gauge]]
id = "{GAUGE}"
name = "{GAUGE}"
kind = "bore-gauge"
bench = "bench-1"
port = "{GAUGE}"
unit = "mm"
unit_fixed = true
range_lower = "20"
range_upper = "30"
resolution = "0.001"
[gauge.setting]
{setting}void_on = ["person"]
"""
    return {"tallystick.toml": patched(toml), "fb.family.toml": FAMILY + "\n" + BORE, "fb.sizes.csv": SIZES}


class BoreShop(Shop):
    def __init__(self, **more):
        super().__init__(bore_shop(**more))
        self.command("state_person", touch=False, person="R. Field")
        self.publish()

    def bore(self, value="25.011", what="counted"):
        return self.take(GAUGE, push_line(value), what)

    def set_gauge(self, value="25.003"):
        return self.bore(value, "setting")

    def one_walk(self, lot, stage, first, last, value="25.011", end=True):
        """A walk over these parts, each with one bore."""
        self.begin_walk(lot, stage, first=first, last=last)
        for serial in range(first, last + 1):
            self.wait_for(lambda view: view["state"] == "step" and view["walk"]["serial"] == serial)
            self.bore(value)
        if end:
            self.wait_for(lambda view: view["state"] == "done")
            self.act("good")
            self.wait_for(lambda view: not view.get("walk"))

    def fail_gauge(self, value="25.006"):
        """Another person is at the bench, so the gauge is due: the ring reads outside, wiped, again outside."""
        self.command("state_person", touch=False, person="M. Lind")
        self.wait_for(lambda view: view["settings_due"])
        self.set_gauge(value)
        return self.set_gauge(value)

    def suspects(self, **wanted):
        return [row for row in self.get("/api/v1/suspects") if all(row[name] == value for name, value in wanted.items())]

    def decide(self, decision, rows, **more):
        return self.command("clear_suspect", bench=None, touch=False, decision=decision, results=[row["fact"] for row in rows],
                            person="J. Okoro", reason=more.pop("reason", REASON), note=more.pop("note", "looked at the gauge's error"), **more)

    def the_day(self):
        """Until 11:05: the lot of yesterday (six, closed and released), first parts 1 and 2, in process 5 to 30, eight final."""
        self.set_gauge()
        old = self.open_lot("FB-25L", 6, lot_name="L-24")
        self.one_walk(old, "final", 1, 6)
        self.command("close_lot", bench=None, touch=False, lot=old, person="J. Okoro")
        self.command("release", bench=None, touch=False, lot=old, person="J. Okoro", order="order 117")
        lot = self.open_lot("FB-25", 60, lot_name="L-25")
        for serial in (1, 2):
            self.one_walk(lot, "in process", serial, serial)
            self.command("run_release", bench=None, touch=False, lot=lot, person="J. Okoro")
            if serial == 1:
                self.command("run_change", bench=None, touch=False, lot=lot, change="tool", person="T. Brandt")
        for serial in range(5, 31, 5):
            self.one_walk(lot, "in process", serial, serial)
        self.begin_walk(lot, "final", first=2, last=10)
        for serial in range(2, 10):
            self.wait_for(lambda view: view["state"] == "step" and view["walk"]["serial"] == serial)
            self.bore()
        self.wait_for(lambda view: view["walk"]["serial"] == 10)
        return old, lot


__all__ = ["BoreShop", "GAUGE", "REASON", "Refused", "bore_shop"]
