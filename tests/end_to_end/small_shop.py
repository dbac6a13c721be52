"""Configurations for tests: a corner of the invented shop whose gauges all have a button, and one for endless serials."""
import re

from bench import DEMO, patched
from terminals import push_line

GAUGES = {  # id: (kind, range)
    "height-gauge": ("height-gauge", "0", "300"),
    "micrometer": ("outside-micrometer", "0", "50"),
    "bore-gauge": ("bore-gauge", "20", "30"),
    "groove-gauge": ("groove-gauge", "1", "8"),
    "depth-gauge": ("depth-gauge", "0", "10"),
    "inside-micrometer": ("inside-micrometer", "4", "12"),
}

FEATURES = """
[[feature]]
key = "length"
balloon = "3"
name = "overall length"
tells_sizes_apart = true
nominal = "length"
plus_minus = "0.1 mm"
gauge_kind = "height-gauge"
material = "outside"
method = "Flange face down on the plate. Part at rest, burr taken off."

[[feature]]
key = "outside-diameter"
balloon = "1"
name = "outside diameter"
class = "critical"
nominal = "outside"
lower_deviation = "0.026 mm"
upper_deviation = "0.042 mm"
gauge_kind = "outside-micrometer"
material = "outside"

[[feature]]
key = "bore"
balloon = "2"
name = "bore"
class = "critical"
nominal = "bore"
lower_deviation = "0"
upper_deviation = "0.021 mm"
gauge_kind = "bore-gauge"
material = "inside"

[[feature]]
key = "flange-diameter"
balloon = "4"
name = "flange diameter"
nominal = "flange"
plus_minus = "0.1 mm"
gauge_kind = "outside-micrometer"
material = "outside"

[[feature]]
key = "flange-thickness"
balloon = "5"
name = "flange thickness"
nominal = "6 mm"
plus_minus = "0.05 mm"
gauge_kind = "outside-micrometer"
material = "outside"

[[feature]]
key = "seat-length"
balloon = "6"
name = "seat length under the flange"
nominal = "length - 6 mm"
plus_minus = "0.1 mm"
gauge_kind = "height-gauge"
material = "outside"

[[feature]]
key = "groove-width"
balloon = "7"
name = "grease groove, width"
nominal = "3 mm"
plus_minus = "0.1 mm"
gauge_kind = "groove-gauge"
material = "inside"

[[feature]]
key = "groove-depth"
balloon = "8"
name = "grease groove, depth"
lower = "1.2 mm"
upper = "1.4 mm"
plausible_lower = "0.6 mm"
plausible_upper = "2.4 mm"
gauge_kind = "depth-gauge"
material = "inside"

[[feature]]
key = "bolt-hole"
balloon = "12"
name = "bolt hole {n} of 4"
count = 4
nominal = "5.5 mm"
lower_deviation = "0"
upper_deviation = "0.18 mm"
gauge_kind = "inside-micrometer"
material = "inside"
"""

SIZES = """size,print_revision,part_number,print_unit,length,outside,bore,flange
FB-25,C,FB-25-C,mm,30,32,25,44
FB-25L,C,FB-25L-C,mm,32,32,25,44
"""

FAMILY = """[family]
key = "fb"
title = "Flanged bushing for winches (invented data)"
sizes = "fb.sizes.csv"

[columns]
length = "mm"
outside = "mm"
bore = "mm"
flange = "mm"
"""

SHOP = """dialect_folders = ["x"]
families = ["fb.family.toml"]

[shop]
name = "Winch bushings (invented data)"

[daemon]
address = "127.0.0.1"
port = 0
data = "data"
port_folder = "ports"

[reasons]
retake = ["part or gauge was not clean", "gauge slipped"]
pass_over = ["gauge not available"]
publish = ["new size"]

[[person]]
name = "R. Field"
role = "inspector"

[[person]]
name = "J. Okoro"
role = "lead"
"""


def _gauge(name, kind, lower, upper, bench, port=None, channel=None):
    text = f"""
[[gauge]]
id = "{name}"
name = "{name}"
kind = "{kind}"
bench = "{bench}"
port = "{port or name}"
unit = "mm"
unit_fixed = true
range_lower = "{lower}"
range_upper = "{upper}"
resolution = "0.001"
"""
    return text + (f'channel = "{channel}"\n' if channel else "")


def _port(name, dialect="push-line"):
    return f'\n[[port]]\nid = "{name}"\npath = "{name}"\ndialect = "{dialect}"\n'


def small_shop(**windows):
    """One bench, six gauges with a button each, FB-25 and FB-25L with twelve measured features."""
    toml = SHOP + '\n[[bench]]\nid = "bench-1"\nname = "bench 1"\n'
    for name, (kind, lower, upper) in GAUGES.items():
        toml += _port(name) + _gauge(name, kind, lower, upper, "bench-1")
    return {"tallystick.toml": patched(toml, **windows), "fb.family.toml": FAMILY + FEATURES, "fb.sizes.csv": SIZES}


def one_feature_shop(benches=1, **windows):
    """Benches with one gauge each, and one feature so wide that every value accepts: for thousands of presses."""
    toml = SHOP
    for number in range(1, benches + 1):
        name = f"gauge-{number}"
        toml += f'\n[[bench]]\nid = "bench-{number}"\n' + _port(name)
        toml += _gauge(name, "height-gauge", "0", "999.999", f"bench-{number}")
    feature = """
[[feature]]
key = "length"
balloon = "3"
name = "overall length"
nominal = "500 mm"
plus_minus = "499 mm"
gauge_kind = "height-gauge"
"""
    family = FAMILY.split("[columns]")[0] + feature
    sizes = "size,print_revision,part_number,print_unit\nFB-25,C,FB-25-C,mm\n"
    return {"tallystick.toml": patched(toml, **windows), "fb.family.toml": family, "fb.sizes.csv": sizes}


def demo_shop(**windows):
    """The demo's own configuration, on other folders."""
    files = {name: (DEMO / name).read_text(encoding="utf-8") 
             for name in ("fb.family.toml", "fb.sizes.csv", "fb.svg", "fs.family.toml", "fs.sizes.csv", "fs.svg")}
    # A machine under test may stall for longer than a gauge at a bench ever pauses.
    family = files["fb.family.toml"].replace('capture = "span"', 'capture = "span"\nlongest_gap_ms = 8000')
    files["fb.family.toml"] = re.sub(r"(?m)^longest_gap_ms = 1000.*\n", "", family)
    files["tallystick.toml"] = patched((DEMO / "tallystick.toml").read_text(encoding="utf-8"), **windows)
    return files


def good_value(feature, size="FB-25"):
    """What the gauge shows on a good part. The four bolt holes are bolt-hole-1 to bolt-hole-4."""
    length = {"FB-25": 30, "FB-25L": 32}[size]
    values = {"length": f"{length}.012", "outside-diameter": "32.034", "bore": "25.011", "flange-diameter": "43.985",
              "flange-thickness": "6.008", "seat-length": f"{length - 6}.020", "groove-width": "3.015",
              "groove-depth": "1.290"}
    return "5.590" if feature.startswith("bolt-hole-") else values[feature]


def measure(shop, count, bench="bench-1", last_digit=None):
    """So many values, each by the gauge that the page names. `last_digit`: makes them tell who measured them."""
    for _ in range(count):
        step = shop.wait_for(lambda view: view["state"] == "step", bench=bench)["step"]
        value = good_value(step["feature"])
        if last_digit is not None:
            value = value[:-1] + str(last_digit)
        shop.take(step["gauges"][0]["id"], push_line(value), bench=bench)
