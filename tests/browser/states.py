"""States of a bench's view (daemon/walk/VIEW.md), each once. All data invented: family FB, turned flanged bushings."""
import datetime
import math


def stamp(seconds_ago):
    at = datetime.datetime.now(datetime.timezone.utc) - datetime.timedelta(seconds=seconds_ago)
    return at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def gauge(id_, name, kind, speaks="pushed", heard=180, **more):
    return {"id": id_, "name": name, "kind": kind, "speaks": speaks, "unit": "mm", "port_state": "open", "state": "open",
            "since_utc": stamp(7000), "last_heard_utc": stamp(heard), "fit": True, "why": None, "void_at_utc": None,
            "parts_left": None, **more}


def lost(card, seconds):
    return {**card, "port_state": "lost", "state": "lost", "since_utc": stamp(seconds)}


def unfit(card, why):
    return {**card, "fit": False, "why": why}


MICROMETER = gauge("micrometer-25-50", "micrometer 25-50", "outside-micrometer")
BORE = gauge("bore-gauge-25", "bore gauge 20-30", "bore-gauge", heard=340, void_at_utc=stamp(-9000), parts_left=25)
HEIGHT = gauge("height-gauge", "height gauge", "height-gauge", speaks="asked", heard=60)
INDICATOR = gauge("indicator", "lever indicator", "indicator", speaks="streams", heard=1)

WALK = {"key": "a1/7", "lot": "a1/5", "lot_name": "26-118", "family": "fb", "size": "FB-25", "print_revision": "C",
        "part_number": "25-0118", "title": "Flanged bushing FB-25", "stage": "in process", "drawing": "d1", "edition": "e1",
        "edition_number": 2, "part": "a1/40", "serial": 15, "slot": None, "part_stage": "in process", "part_held": False,
        "done": 14, "total": 60, "first": 1, "last": 60, "need": "", "machine": "lathe 3"}

REASONS = {"retake": ["burr", "dirt", "slipped"], "pass_over": ["no time", "not on this print", "gauge away"],
           "answer_back": ["burr", "dirt", "slipped"], "retake_previous": ["burr", "dirt", "slipped"]}


def actions(good=None, not_good=None, again=None):
    made = lambda does: {"does": does, "reasons": REASONS.get(does)} if does else None
    return {"good": made(good), "not_good": made(not_good), "again": made(again)}


def step(**more):
    return {"index": 5, "count": 14, "done": 4, "feature": "bore", "balloon": "3", "name": "bore", "class": "critical",
            "kind": "reading", "place": "middle", "place_index": 1, "places": ["front", "middle", "back"], "unit": "mm",
            "nominal": "25", "lower": "25.000", "upper": "25.021", "decimals": 3,
            "method": "Let the gauge centre itself; keep it out of the groove.", "question": None, "tool": None, "tool_id": None,
            "edge": "bore", "ruler": "down", "material": "inside", "attempt": 1, "gauge_kind": "bore-gauge", "gauges": [BORE],
            **more}


OUTSIDE = {"feature": "outside", "balloon": "2", "name": "outside diameter", "place": "middle", "places": ["front", "middle"],
           "nominal": "32", "lower": "32.026", "upper": "32.042", "method": "Across the axis. Part at rest, faces wiped.",
           "edge": "outside", "ruler": "up", "material": "outside", "gauges": [MICROMETER], "index": 4}
LENGTH = {"feature": "length", "balloon": "1", "name": "overall length", "place": None, "places": [], "nominal": "30",
          "lower": "29.9", "upper": "30.1", "decimals": 2, "edge": "end-face", "ruler": "right", "material": "outside",
          "method": "Flange face down on the plate, from above. Part at rest, burr taken off.", "gauges": [HEIGHT], "index": 1}
ANSWER = {"place": None, "places": [], "unit": None, "nominal": None, "lower": None, "upper": None, "method": None,
          "edge": "grease-hole", "ruler": None, "material": None, "gauges": []}


def last(**more):
    return {"key": "a1/99", "what": "counted", "feature": "outside", "balloon": "2", "name": "outside diameter", "place": "middle",
            "kind": "reading", "serial": 15, "value": "32.038", "unit": "mm", "decimals": 3, "lower": "32.026", "upper": "32.042",
            "nominal": "32", "verdict": "accept", "side": "upper", "by": "0.004", "material_left": False, "stands": False,
            "measured_again": False, "typed": False, "confirmed": False, "gauge": "micrometer-25-50",
            "gauge_name": "micrometer 25-50", "sent": {"value": "32.038", "unit": "mm"}, "edge": "outside", "ruler": "up",
            "material": "outside", "utc": stamp(3), "repeated": False, "result": None, "why": None, **more}


TOO_LARGE = {"value": "32.054", "verdict": "reject", "side": "upper", "by": "0.012", "material_left": True,
             "sent": {"value": "32.054", "unit": "mm"}}
NOTHING_JUDGED = {"feature": None, "name": None, "place": None, "verdict": "", "side": None, "by": None, "edge": None,
                  "lower": None, "upper": None, "nominal": None}


def hold(kind, **more):
    return {"kind": kind, "hard": False, "gauge": None, "gauge_name": None, "value": None, "unit": "mm", "sent": None,
            "would_be": None, "fits_size": None, "fits_lower": None, "fits_upper": None, "lower": None, "upper": None,
            "why": None, "key": "a1/98", **more}


def earlier(*values):
    return [{"serial": serial + 1, "value": value} for serial, value in enumerate(values)]


OUTSIDE_EARLIER = earlier("32.029", "32.030", "32.0305", "32.031", "32.0315", "32.033", "32.0325", "32.034", "32.0345", "32.035",
                          "32.036", "32.0355", "32.037")
DUE = {"gauge": "bore-gauge-25", "name": "bore gauge 20-30", "master": "ring-25", "size": "25.002", "limit": "0.002", "unit": "mm",
       "phase": "as_found", "attempt": 1, "reads": "difference", "why": "never_set"}
DUE_BLOCK = {**DUE, "gauge": "micrometer-25-50", "name": "micrometer 25-50", "master": "block-25", "size": "25.000", "why": "power"}
SETTING = {"kind": "setting", **DUE, "nominal": "25.002", "lower": "25.000", "upper": "25.004"}
PARKED = {**WALK, "walk": "a1/3", "lot_name": "26-117", "size": "FB-25L", "serial": 7, "last": 12, "balloon": "1",
          "name": "overall length", "since_utc": stamp(60000)}

COMMON = {"ask": "ask-1", "state": "step", "keeping": {"kept": True, "code": "", "why": "", "hint": ""}, "clock": {"trusted": True, "code": "", "why": ""},
          "person": "R. Field", "person_how": "name stated, not signed in", "walk": WALK, "step": step(),
          "earlier": earlier("25.009", "25.010", "25.0105", "25.011", "25.0102", "25.012", "25.0115"), "last": None, "hold": None,
          "actions": actions(None, "pass_over", "retake"),
          "next": {"feature": "bore", "balloon": "3", "name": "bore", "place": "back", "kind": "reading", "gauge_name": "bore gauge 20-30"},
          "settings_due": [], "tools_wanted": [], "parked": [], "gauges": [MICROMETER, BORE, HEIGHT, INDICATOR], "sound": None,
          "suspects": 0, "capture": None, "trace": None, "asked_gauge": None, "sure_to_end": False}

IDLE = {"state": "idle", "walk": None, "step": None, "next": None, "actions": actions(), "earlier": [], "person": None}
PLUG = {"step": step(**{**ANSWER, "feature": "thread", "balloon": "11", "name": "thread of the grease hole M6", "kind": "no_go",
                        "method": "Plug M6, by hand, without force.", "question": "NO-GO stops within two turns? Yes is good.",
                        "tool": "thread-plug-m6", "tool_id": "plug-m6-1", "index": 11}),
        "earlier": [], "last": last(), "actions": actions("as_it_should", "not_as_it_should", "answer_back")}

RUNOUT = {**dict(feature="runout", balloon="7", name="runout of the flange face to the bore", kind="capture", place=None, places=[], nominal=None, lower=None,
                 upper="0.020", method="On the mandrel, tip near the rim. One slow turn by hand, a little more than whole. Spindle stopped.",
                 edge="flange-face", ruler="left", material=None, gauges=[INDICATOR], index=10,
                 capture={"kind": "span", "movement": None, "window": None, "settle_ms": None, "end_after_ms": None, "turns": None})}
TRACE = {"gauge": "lever-indicator", "kind": "span", "value_of": "span", "unit": "mm", "waits": False, "samples": 131, "ms": 6550, "end_after_ms": None,
         "value": "0.0092", "last": "0.0061", "least": "-0.0023", "greatest": "0.0069",
         "points": [[50 * n, f"{round(46 * math.sin(n / 20) + 23 + (n % 7) / 3) / 10000:.4f}"] for n in range(1, 132)]}

HOLES = {**ANSWER, "feature": "hole-y-4", "balloon": "7.4", "name": "bolt hole 4 of 4, up", "kind": "reading", "unit": "mm", "gauges": [HEIGHT],
         "method": "Mandrel turned a quarter; zero on the axis.", "edge": None, "judged": False, "limits_of": None, "judging": "absolute",
         "decision": "simple", "serves": [{"feature": "bolt-circle", "balloon": "8", "name": "bolt circle"},
                                          {"feature": "bolt-position", "balloon": "9", "name": "bolt holes, position to the axis"}]}
TAKEN = {"feature": "hole-y-4", "balloon": "7.4", "name": "bolt hole 4 of 4, up", "place": None, "value": "-26.004", "verdict": None, "side": None, "by": None,
         "lower": None, "upper": None, "nominal": None, "edge": None, "limits_of": None, "sent": {"value": "-26.004", "unit": "mm"}, "gauge_name": "height gauge"}
DERIVED = [{"feature": "bolt-circle", "balloon": "8", "name": "bolt circle", "value": "52.008503127", "unit": "mm", "nominal": "52.000", "lower": "51.900",
            "upper": "52.100", "verdict": "accept", "side": "", "by": "", "decimals": 3, "computation": "bolt_circle_diameter", "why": "",
            "working": [{"name": "centre_x", "value": "0.00325", "unit": "mm"}, {"name": "centre_y", "value": "0.00175", "unit": "mm"},
                        {"name": "radius", "value": "26.0042515635", "unit": "mm"}]},
           {"feature": "bolt-position", "balloon": "9", "name": "bolt holes, position to the axis", "value": "0.408156833", "unit": "mm", "nominal": "", "lower": "",
            "upper": "0.200", "verdict": "reject", "side": "upper", "by": "0.208156833", "decimals": 3, "computation": "bolt_circle_position", "why": "",
            "working": [{"name": "worst_hole", "value": "2", "unit": ""}]}]

STATES = {
    "taken": {"step": step(**HOLES), "earlier": [], "last": last(**TAKEN, derived=[])},
    "derived": {"step": step(**OUTSIDE, limits_of="before_finish", judged=True), "last": last(**{**TAKEN, "stands": False}, derived=DERIVED),
                "walk": {**WALK, "part_held": True}},
    "undecided": {"step": step(**OUTSIDE, attempt=2, decision="stringent", uncertainty="0.003", judging="half_even", limits_of="print"), "earlier": OUTSIDE_EARLIER,
                  "last": last(value="32.041", verdict="undecided", side="upper", by="0.001", limits_of="print", judging="absolute", decision="stringent")},
    "accept": {"last": last()},
    "reject": {"step": step(**OUTSIDE, attempt=2), "earlier": OUTSIDE_EARLIER, "last": last(**TOO_LARGE)},
    "stands": {"last": last(**TOO_LARGE, stands=True, measured_again=True), "walk": {**WALK, "part_held": True}},
    "one-count": {"step": step(**{**OUTSIDE, "place": "front"}), "earlier": OUTSIDE_EARLIER,
                  "last": last(value="32.0420001", verdict="reject", side="upper", by="0.0000001", material_left=True)},
    "at-limit": {"step": step(**{**OUTSIDE, "place": "front"}), "last": last(value="32.042", by="0.000")},
    "bore": {"step": step(place="back"), "last": last(feature="bore", balloon="3", name="bore", value="25.0125", lower="25.000",
             upper="25.021", nominal="25", by="0.0085", edge="bore", ruler="down", material="inside", measured_again=True,
             gauge_name="bore gauge 20-30", sent={"value": "0.0105", "unit": "mm"})},
    "size": {"state": "hold", "step": step(**LENGTH), "earlier": earlier("29.98", "30.01"), "actions": actions(None, "it_is_so", "part_anew"),
             "hold": hold("size", gauge="height-gauge", gauge_name="height gauge", value="32.003", fits_size="FB-25L", fits_lower="31.9",
                          fits_upper="32.1", lower="29.9", upper="30.1", sent={"value": "32.003", "unit": "mm"}),
             "last": last(**NOTHING_JUDGED, what="held", why="size", value="32.003", gauge_name="height gauge", sent={"value": "32.003", "unit": "mm"})},
    "unit": {"state": "hold", "step": step(**LENGTH), "actions": actions(None, None, "forget_hold"),
             "hold": hold("unit", gauge="height-gauge", gauge_name="height gauge", value="1.1811", would_be="29.99994", lower="29.9", upper="30.1",
                          why="inches_shown_as_mm"),
             "last": last(**NOTHING_JUDGED, what="held", why="unit", value="1.1811", gauge_name="height gauge", sent=None)},
    "wrong-gauge": {"state": "hold", "actions": actions(None, None, "forget_hold"),
                    "hold": hold("wrong_gauge", gauge="micrometer-25-50", gauge_name="micrometer 25-50", value="25.01", lower="25.000",
                                 upper="25.021", why="wrong_kind"),
                    "last": last(**NOTHING_JUDGED, what="held", why="wrong_gauge", value="25.01", sent=None)},
    "resumed": {"state": "resumed", "walk": {**WALK, "size": "FB-25L", "lot_name": "26-117", "serial": 7, "total": 12, "done": 6, "last": 12},
                "step": step(**{**LENGTH, "nominal": "32", "lower": "31.9", "upper": "32.1"}), "actions": actions("go_on", "set_repeated_aside", "tell_again"),
                "earlier": earlier("31.98", "32.01", "31.97"),
                "last": last(feature="length", balloon="3", name="overall length", place=None, serial=7, value="31.938", lower="31.9", upper="32.1",
                             side="lower", by="0.038", gauge_name="height gauge", edge="end-face", ruler="right", utc=stamp(86400), repeated=True, sent=None)},
    "setting": {"state": "setting", "step": SETTING, "settings_due": [DUE, DUE_BLOCK], "actions": actions(),
                "gauges": [unfit(BORE, "never_set"), unfit(MICROMETER, "power"), HEIGHT]},
    "as-left": {"state": "setting", "step": {**SETTING, "phase": "as_left", "why": "failed"}, "actions": actions(), "suspects": 22,
                "settings_due": [{**DUE, "phase": "as_left", "why": "failed"}],
                "last": last(**{**NOTHING_JUDGED, "lower": "25.000", "upper": "25.004", "nominal": "25.002"}, what="setting", why="as_found",
                             value="25.006", stands=True, gauge_name="bore gauge 20-30", ruler=None, material=None, serial=None, balloon=None,
                             sent={"value": "0.004", "unit": "mm"}) | {"verdict": "reject", "side": "upper", "by": "0.002"}},
    "lost": {"gauges": [lost(MICROMETER, 75), lost(HEIGHT, 74), BORE], "last": last(), "earlier": OUTSIDE_EARLIER,
             "step": step(**{**OUTSIDE, "place": "front", "gauges": [lost(MICROMETER, 75)]})},
    "look": {"step": step(**{**ANSWER, "feature": "burrs", "balloon": "14", "name": "burrs", "kind": "look", "index": 13,
                             "question": "Grease hole and bolt holes free of burrs, on both sides? Yes is good. Use the lens, not a finger: burrs cut."}),
             "earlier": [], "actions": actions("as_it_should", "not_as_it_should", "answer_back"),
             "last": last(**{**NOTHING_JUDGED, "feature": "chamfers", "name": "chamfers", "edge": "chamfer", "verdict": "accept"}, kind="look",
                          value="good", unit=None, gauge=None, gauge_name=None, sent=None, balloon="13")},
    "plug": PLUG,
    "tool": {**PLUG, "tools_wanted": [{"tool": "thread-plug-m6", "choices": ["plug-m6-1", "plug-m6-2"]}]},
    "radial": {"step": step(feature="hole-2", balloon="10.2", name="bolt hole 2 of 4", place=None, places=[], nominal="6.6", lower="6.6",
                            upper="6.75", decimals=2, method="Bolt circle 68; count clockwise from the grease hole, seen on the flange face.",
                            edge="bolt-hole-2", ruler="radial", index=9),
               "earlier": earlier("6.66", "6.68"),
               "last": last(feature="hole-1", balloon="10.1", name="bolt hole 1 of 4", place=None, value="6.71", decimals=2, lower="6.6", upper="6.75",
                            by="0.04", edge="bolt-hole-1", ruler="radial", material="inside", gauge_name="caliper", sent=None)},
    "one-sided": {"state": "capture", "actions": actions(None, "drop_capture", "restart_capture"), "earlier": earlier("0.011", "0.009"),
                  "step": step(feature="runout", balloon="7", name="runout of the flange face to the bore", kind="capture", place=None, places=[],
                               nominal=None, lower=None, upper="0.020", method="On the mandrel.", edge="flange-face", ruler="left",
                               material=None, gauges=[INDICATOR], index=10),
                  "last": last(feature="runout", balloon="7", name="runout of the flange face to the bore", place=None, kind="capture",
                               value="0.0204", lower=None, upper="0.020", nominal=None, verdict="reject", by="0.0004", material=None,
                               gauge_name="lever indicator", edge="flange-face", ruler="left", sent=None)},
    "begin-capture": {"step": step(**RUNOUT), "actions": actions("begin_capture", "pass_over", "retake"), "last": last(), "earlier": earlier("0.011", "0.009")},
    "trace": {"state": "capture", "step": step(**RUNOUT), "actions": actions("end_capture", "drop_capture", "restart_capture"), "trace": TRACE,
              "capture": "lever-indicator", "last": last(), "earlier": earlier("0.011", "0.009")},
    "trace-waits": {"state": "capture", "actions": actions(None, "drop_capture", "restart_capture"), "capture": "lever-indicator", "last": last(),
                    "step": step(**{**RUNOUT, "capture": {**RUNOUT["capture"], "movement": "0.0005", "end_after_ms": 5000, "turns": 1}}),
                    "trace": {**TRACE, "waits": True, "end_after_ms": 5000, "value": "0.0001", "last": "-0.0001", "least": "-0.0001", "greatest": "0", "samples": 40,
                              "points": [[50 * n, "0.0000" if n % 9 else "-0.0001"] for n in range(1, 41)]}},
    "trace-broke": {"state": "hold", "step": step(**RUNOUT), "actions": actions("begin_capture", None, "forget_hold"),
                    "hold": hold("capture", gauge="lever-indicator", gauge_name="lever indicator", upper="0.020", why="frame_refused"),
                    "last": last(**NOTHING_JUDGED, what="held", why="capture", value=None, gauge_name="lever indicator", sent=None)},
    "no-edge": {"step": step(edge=None), "last": last(edge=None)},
    "idle": {**IDLE},
    "parked": {**IDLE, "parked": [PARKED]},
    "due": {**IDLE, "parked": [PARKED], "settings_due": [DUE, DUE_BLOCK], "gauges": [unfit(BORE, "never_set"), unfit(MICROMETER, "power"), HEIGHT]},
    "between": {"state": "between_parts", "step": None, "next": None, "last": last(), "actions": actions("begin_part", "end_walk", "retake_previous")},
    "release": {"state": "hard_hold", "hold": hold("setup_not_released", hard=True, unit=None), "step": None, "next": None, "last": last(),
                "walk": {**WALK, "need": "release", "serial": None}, "actions": actions(None, None, "retake_previous")},
    "not-kept": {"keeping": {"kept": False, "code": "disk_full", "why": "the disk is full", "hint": "free space; the daemon goes on by itself"},
                 "clock": {"trusted": False, "code": "clock_before_record", "why": "UTC is before the last journalled time"}, "last": last()},
    "inch": {"walk": {**WALK, "size": "FB-100", "lot_name": "26-119"}, "earlier": [], "step": step(nominal="1.0000", lower="1.0000", upper="1.0008", unit="in"),
             "last": last(feature="bore", name="bore", place="front", value="1.00059", unit="in", lower="1.0000", upper="1.0008", nominal="1.0000",
                          by="0.00021", edge="bore", ruler="down", material="inside", sent={"value": "25.415", "unit": "mm"})},
    "early": {"last": last(**NOTHING_JUDGED, what="too_early", why="look_time", value="25.012", gauge_name="bore gauge 20-30", sent=None)},
    "moved": {"last": last(what="moved", value=None, verdict="", side=None, by=None, balloon="3", name="bore", feature="bore", edge="bore",
                           gauge_name="bore gauge 20-30", lower="25.000", upper="25.021", sent=None)},
}

PAGE = {"shop": "Winch bushings (invented data)", "decimal_mark": ".", "theme": "system", "language": "en",
        "people": [{"name": "R. Field", "role": "inspector"}, {"name": "J. Okoro", "role": "lead"}], "benches": [],
        "run_changes": [{"change": "tool", "name": "tool", "then": "first_part_and_release"}, {"change": "wear_offset", "name": "wear offset", "then": "features_named"}],
        "masters": [{"id": "ring-25", "name": "ring 25.002"}, {"id": "block-25", "name": "block 25"}],
        "tools": [{"id": "plug-m6-1", "name": "thread plug M6 6H, no. 1"}, {"id": "plug-m6-2", "name": "thread plug M6 6H, no. 2"}]}

LISTS = {"editions": [{"sha": "e1", "family": "fb", "size": "FB-25", "print_revision": "C", "part_number": "25-0118", "number": 2},
                      {"sha": "e2", "family": "fb", "size": "FB-25L", "print_revision": "C", "part_number": "25-0119", "number": 1},
                      {"sha": "e0", "family": "fb", "size": "FB-16", "print_revision": "A", "part_number": "16-0118", "number": 1, "withdrawn": True}],
         "lots": [{"key": "a1/5", "lot_name": "26-118", "family": "fb", "size": "FB-25", "print_revision": "C", "first": 1, "last": 60}],
         "words": {"tools": [{"id": "plug-m6-1", "kind": "thread-plug-m6", "may_be_used": True}, {"id": "plug-m6-2", "kind": "thread-plug-m6", "may_be_used": True}],
                   "run_changes": [{"change": "wear_offset", "follows": "features_named"}, {"change": "tool", "follows": "first_part_and_release"}],
                   "retake_reasons": REASONS["retake"], "pass_reasons": REASONS["pass_over"]},
         "edition/e1": {"features": [{"key": "bore", "balloon": "3", "name": "bore"}, {"key": "outside", "balloon": "2", "name": "outside diameter"}]},
         "gauges": [], "walks": [], "suspects": []}


def views(page=None):
    return {"common": COMMON, "benches": STATES, "lists": LISTS, "page": {**PAGE, **(page or {})},
            "faults": [{"severity": "fault", "code": "unknown_key", "what": "unknown key \"gague\"; did you mean \"gauge\"?",
                        "where": "tallystick.toml:14", "hint": "write \"gauge\""}]}
