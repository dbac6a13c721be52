"""What a person at the tray chooses ("good", "too large", ...) becomes the value that a gauge shows."""
import json
import random
import urllib.request
from decimal import Decimal

from .gauge import INCH, Refused, convert

CHOICES = ("good", "too-large", "too-small", "other-size", "wrong-unit", "in-inches")
OTHER_SIZE_MM = Decimal("2.003")  # the long bushing that strayed in, as in the demo's story


def wanted_by(daemon, bench, patience_s=1.0):
    """What the bench asks for now: {gauges, unit, nominal, lower, upper} as Decimals or None; None: nothing, or no
    daemon. The one place that knows the shape of the daemon's answer (daemon/walk/VIEW.md)."""
    if not daemon:
        return None
    try:
        with urllib.request.urlopen(f"{daemon}/api/v1/benches/{bench}", timeout=patience_s) as answer:
            found = json.load(answer)
        step = found.get("view", found).get("step")
        if not step or not step.get("unit"):
            return None
        number = {key: Decimal(step[key]) if step.get(key) else None for key in ("nominal", "lower", "upper")}
    except (OSError, ValueError, ArithmeticError, AttributeError):
        return None
    gauges = [one["id"] for one in step.get("gauges") or []]
    if step.get("gauge"):
        gauges.append(step["gauge"])
    return {"gauges": gauges, "unit": step["unit"], **number}


def limits_of(gauge, wanted):
    """Lower, upper, unit and whether they are the bench's: for a gauge as `list` describes it."""
    if wanted and gauge["id"] in wanted["gauges"]:
        lower, upper = wanted["lower"], wanted["upper"]
        nominal = wanted["nominal"] if wanted["nominal"] is not None else None
        if lower is None and upper is None and nominal is None:
            pass
        else:
            if lower is None:
                lower = min(Decimal(0), upper) if upper is not None else nominal
            if upper is None:
                upper = lower + abs(lower) / 100 + Decimal("0.01")
            return lower, upper, wanted["unit"], True
    nominal, spread = Decimal(gauge["nominal"]), Decimal(gauge["spread"])
    reach = max(3 * spread, 3 * Decimal(gauge["step"]))
    return nominal - reach, nominal + reach, gauge["own_unit"], False


def size_for(choice, lower, upper, unit, chance=random):
    """The size that the part would have."""
    tolerance = upper - lower
    if choice == "too-large":
        return upper + tolerance / 4
    if choice == "too-small":
        return lower - tolerance / 4
    middle = lower + tolerance * Decimal(str(round(0.35 + 0.3 * chance.random(), 4)))
    if choice == "other-size":
        return middle + (OTHER_SIZE_MM if unit == "mm" else OTHER_SIZE_MM / INCH)
    return middle


def shown_for(gauge, choice, wanted, chance=random):
    """(value text, unit, from the bench?): what the gauge must show for the choice. Refused where it cannot be."""
    if choice not in CHOICES:
        raise Refused("unknown_choice", f"there is no choice \"{choice}\"", "choices: " + ", ".join(CHOICES))
    unit = gauge["unit"]
    if choice in ("wrong-unit", "in-inches"):
        others = [one for one in gauge["units"] if one != gauge["own_unit"]]
        unit = "in" if choice == "in-inches" else others[0] if others else unit
        if unit not in gauge["units"] or (choice == "wrong-unit" and not others):
            raise Refused("wrong_unit", f"{gauge['id']} cannot be switched to that unit", "choose another gauge")
    lower, upper, size_unit, from_bench = limits_of(gauge, wanted)
    size = size_for(choice, lower, upper, size_unit, chance)
    if gauge["master_size"] is not None:
        size -= convert(Decimal(gauge["master_size"]), gauge["own_unit"], size_unit)
    value = convert(size, size_unit, unit)
    step = Decimal(gauge["step"]) if unit == gauge["unit"] else Decimal(1).scaleb(-gauge["decimals"][unit])
    value = (value / step).quantize(Decimal(1)) * step
    # Rounding to the gauge's step must not turn a choice into its opposite at a narrow tolerance.
    if unit == size_unit and gauge["master_size"] is None:
        if choice == "too-large" and value <= upper:
            value += step
        if choice == "too-small" and value >= lower:
            value -= step
    return f"{value:f}", unit, from_bench


def press(ask, gauge_id, choice, chance=random):
    """Presses a gauge with a choice, through `ask` (a function of command words). Returns the answer, which says the
    choice and where its limits came from."""
    listed = ask("list")
    if not listed["ok"]:
        return listed
    found = next((one for one in listed["gauges"] if one["id"] == gauge_id), None)
    if not found:
        return {"ok": False, "code": "unknown_gauge", "what": f"there is no gauge \"{gauge_id}\"",
                "hint": "gauges: " + ", ".join(one["id"] for one in listed["gauges"])}
    try:
        value, unit, from_bench = shown_for(found, choice, wanted_by(listed["daemon"], found["bench"]), chance)
    except Refused as refused:
        return {"ok": False, "code": refused.code, "what": refused.what, "hint": refused.hint}
    if unit != found["unit"]:
        switched = ask("set", gauge_id, "unit", unit)
        if not switched["ok"]:
            return switched
    answer = ask("press", gauge_id, value)
    # "Wrong unit" is a key that somebody touched: it stays so until it is set back, by "good" among others.
    if unit != found["own_unit"] and choice == "in-inches" and found["speaks"] == "pushed":
        ask("set", gauge_id, "unit", found["unit"])
    return {**answer, "choice": choice, "limits_from": "bench" if from_bench else "gauge's own nominal"}
