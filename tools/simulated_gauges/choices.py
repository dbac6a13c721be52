"""What a person at the tray chooses ("good", "too large", ...) becomes the value that a gauge shows."""
import json
import random
import urllib.request
from decimal import Decimal

from .gauge import INCH, Refused, convert

CHOICES = ("good", "too-large", "too-small", "other-size", "wrong-unit", "in-inches")
OTHER_SIZE_MM = Decimal("2.003")  # the long bushing that strayed in, as in the demo's story


def _limits(found):
    """Decimals of a step, or of a setting that is due (a master's size and how far a reading may lie from it)."""
    number = {key: Decimal(found[key]) if found.get(key) else None for key in ("nominal", "lower", "upper", "size", "limit")}
    if number["size"] is not None and number["limit"] is not None:
        number["lower"], number["upper"] = number["size"] - number["limit"], number["size"] + number["limit"]
    number["feature"] = found.get("feature")
    gauges = [one["id"] for one in found.get("gauges") or []] + ([found["gauge"]] if found.get("gauge") else [])
    return {"gauges": gauges, "unit": found["unit"], "now": bool(found.get("now")), **{key: number[key] for key in ("nominal", "lower", "upper", "feature")}}


def wanted_by(daemon, bench, patience_s=1.0):
    """What the bench asks for, the present step first, then the settings that are due: a list of {now, gauges, unit, feature,
    nominal, lower, upper}, Decimals or None; empty where nothing is asked for, or no daemon answers. The one place that knows
    the shape of the daemon's answer (daemon/walk/VIEW.md)."""
    if not daemon:
        return []
    try:
        with urllib.request.urlopen(f"{daemon}/api/v1/benches/{bench}", timeout=patience_s) as answer:
            view = json.load(answer)
        step = view.get("step")
        found = ([{**step, "now": True}] if step else []) + (view.get("settings_due") or [])
        return [_limits(one) for one in found if one.get("unit")]
    except (OSError, ValueError, ArithmeticError, AttributeError, KeyError, TypeError):
        return []


def limits_of(gauge, wanted):
    """Lower, upper, unit and whether they are the bench's: for a gauge as `list` describes it."""
    for one in wanted:
        lower, upper = one["lower"], one["upper"]
        if gauge["id"] not in one["gauges"]:
            continue
        size = gauge.get("features", {}).get(one.get("feature"))
        if lower is None and upper is None and size is not None:
            reach = max(3 * Decimal(gauge["spread"]), 3 * Decimal(gauge["step"]))
            return Decimal(size) - reach, Decimal(size) + reach, one["unit"], True
        if lower is None and upper is None:
            continue
        if lower is None:
            lower = min(Decimal(0), upper)
        if upper is None:
            upper = lower + abs(lower) / 100 + Decimal("0.01")
        return lower, upper, one["unit"], True
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
    unit = gauge["own_unit"] if choice == "good" else gauge["unit"]   # whoever measures well sets it back first
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
    value = (value / step).quantize(Decimal(1)) * step + 0  # no negative zero
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
