"""The parts of a run: each yields Figures, and says on the way what it does."""
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import daily
from figures import Figure, percentile
from sides import ROOT, Floor, Heard, Ours, press

LEAST_PAIRS = 5
WARM_UP = 500  # presses: the daemon's WAL has then been begun anew once, and is written over, as the floor's
NANO_TO_MICRO = 1e-3


@contextmanager
def folder(where):
    """A folder of its own on the disk that is measured."""
    with tempfile.TemporaryDirectory(dir=where, prefix="tallystick-bench-") as path:
        yield Path(path)


def paired(blocks, value_of):
    """(ours, floor), an entry a pair of blocks."""
    by_side = {"ours": {}, "floor": {}}
    for block in blocks:
        by_side[block["side"]][block["block"]] = value_of(block)
    numbers = sorted(by_side["ours"].keys() & by_side["floor"].keys())
    return [by_side["ours"][n] for n in numbers], [by_side["floor"][n] for n in numbers]


# ---- from the last byte at the port

def latency(settings):
    """Single presses, one after the other, at an unhurried pace: blocks of ours and of the floor alternate."""
    with folder(settings.folder) as place, \
         Ours(place, settings.binaries, 1, settings.cores_measured, places=12) as ours, \
         Floor(place, settings.binaries, 1, settings.cores_measured) as floor:
        blocks = list(press("one", [ours, floor], settings.binaries, settings.cores_pressing, blocks=settings.blocks,
                            presses=settings.presses, pause_us=2000, warm_up=WARM_UP))
        lost = {side.name: settings.blocks * settings.presses + WARM_UP - side.kept() for side in (ours, floor)}
    if any(lost.values()):
        raise RuntimeError(f"presses were lost or kept twice: {lost}")
    disturbed = sum(block["disturbed"] for block in blocks)
    note = f"{settings.blocks} blocks of {settings.presses} each" + (f"; {disturbed} left out" if disturbed else "")

    def share(name, part):
        return lambda block: percentile(block[name], part) * NANO_TO_MICRO

    ours_p50, floor_p50 = paired(blocks, share("durable_ns", 0.5))
    ours_p99, floor_p99 = paired(blocks, share("durable_ns", 0.99))
    page_p50 = [percentile(block["page_ns"], 0.5) * NANO_TO_MICRO for block in blocks if block["side"] == "ours"]
    page_p99 = [percentile(block["page_ns"], 0.99) * NANO_TO_MICRO for block in blocks if block["side"] == "ours"]
    yield Figure("last byte -> durable, p50", "us", ours_p50, floor_p50, most_ratio=1.4, note=note)
    yield Figure("last byte -> durable, p99", "us", ours_p99, floor_p99, most_ratio=1.5, note="of each block")
    yield Figure("last byte -> the page has it, p50", "us", page_p50, floor_p50, most_ratio=1.6,
                 note="floor: durable, it has no page")
    yield Figure("last byte -> the page has it, p99", "us", page_p99, floor_p99, note="the same")
    frames = [(block["side"], block["frames"] / block["commits"]) for block in blocks if "frames" in block]
    means = [[value for side, value in frames if side == name] for name in ("ours", "floor")]
    if all(means):
        count = min(map(len, means))
        yield Figure("pages in the WAL a press", "", means[0][:count], means[1][:count], note="why it takes longer")


# ---- many gauges

def crowd(settings):
    """Every gauge presses fifty times a second; each has a walk and a page of its own."""
    for gauges in settings.gauges:
        yield from one_crowd(settings, gauges, 50)


def one_crowd(settings, gauges, rate):
    with folder(settings.folder) as place, Ours(place, settings.binaries, gauges, None) as ours, \
         Floor(place, settings.binaries, gauges, None) as floor:
        blocks = list(press("crowd", [ours, floor], settings.binaries, None, blocks=settings.pairs,
                            seconds=settings.crowd_seconds, rate=rate))
        sent = {side.name: sum(block["sent"] for block in blocks if block["side"] == side.name) for side in (ours, floor)}
        kept = {side.name: settle(side, sent[side.name]) for side in (ours, floor)}
        judged = ours.rows("SELECT count(*) FROM fact WHERE kind = 'result'") / max(kept["ours"], 1)
        said = (ours.folder / "log").read_text(errors="replace")
    if kept["floor"] != sent["floor"]:
        raise RuntimeError(f"the floor lost readings: {sent} sent, {kept} kept")
    name = f"{gauges} walks x {rate}/s"
    not_taken = sum(block["refused_by_terminal"] for block in blocks if block["side"] == "ours")
    note = f"{sent['ours']:,} sent"
    if not_taken:
        note += f"; {not_taken:,} more did not fit into a terminal that was not read"
    complaints = said.count("inputs wait; one was refused")
    if complaints:
        note += f"; {complaints:,} refused, the desk's queue was full"
    yield Figure(f"{name}: lost", "", [sent["ours"] - kept["ours"] + not_taken], most=0, note=note)
    ours_cpu, floor_cpu = paired(blocks, lambda block: block["cpu_ns"] / max(block["sent"], 1) * NANO_TO_MICRO)
    yield Figure(f"{name}: CPU a reading sent", "us", ours_cpu, floor_cpu, most_ratio=2,
                 note=f"{judged:.0%} judged, the rest came before the page was told; floor: bare reader with group commit")
    ours_group, floor_group = paired(blocks, lambda block: block["sent"] / max(block["commits"], 1))
    yield Figure(f"{name}: readings sent a commit", "", ours_group, floor_group)
    behind = [block["behind_seconds"] for block in blocks if block["side"] == "ours"]
    yield Figure(f"{name}: behind at the end", "s", behind, note="until the last commit after the last press")


def heard(settings):
    """256 gauges press fifty times a second, and no walk is active: decoded, counted, kept in the ring of what nobody
    asked for."""
    gauges, rate = 256, 50
    with folder(settings.folder) as place, Heard(place, settings.binaries, gauges, None) as ours, \
         Floor(place, settings.binaries, gauges, None, hear=True) as floor:
        before = ours.heard()
        blocks = list(press("crowd", [ours, floor], settings.binaries, None, blocks=settings.pairs,
                            seconds=settings.crowd_seconds, rate=rate))
        sent = sum(block["sent"] for block in blocks if block["side"] == "ours")
        not_taken = sum(block["refused_by_terminal"] for block in blocks if block["side"] == "ours")
        counted = ours.heard() - before
        kept = ours.kept()
    if kept:
        raise RuntimeError(f"{kept} readings went into the record although no walk was active")
    name = f"{gauges} gauges x {rate}/s, no walk"
    yield Figure(f"{name}: lost", "", [sent - counted + not_taken], most=0, note=f"{sent:,} sent, {counted:,} decoded and counted")
    ours_cpu, floor_cpu = paired(blocks, lambda block: block["cpu_ns"] / max(block["sent"], 1) * NANO_TO_MICRO)
    yield Figure(f"{name}: CPU a reading", "us", ours_cpu, floor_cpu, most_ratio=2, note="floor: bare epoll reader, nothing kept")


def flood(settings):
    """Sixteen gauges press as fast as a line of 9,600 baud carries: what a reading with its result costs."""
    gauges, rate = 16, 100
    with folder(settings.folder) as place, Ours(place, settings.binaries, gauges, None) as ours:
        blocks = list(press("crowd", [ours], settings.binaries, None, blocks=settings.pairs, seconds=settings.crowd_seconds,
                            rate=rate))
        sent = sum(block["sent"] for block in blocks)
        kept = settle(ours, sent)
        judged = ours.rows("SELECT count(*) FROM fact WHERE kind = 'result'")
    cpu = sum(block["cpu_ns"] for block in blocks) * NANO_TO_MICRO
    yield Figure("flood: CPU a reading kept", "us", [cpu / max(kept, 1)], most=9, note=f"{kept:,} kept of {sent:,} sent, {judged:,} results")


def settle(side, wanted, patience_s=15):
    """How many readings are kept, once nothing more comes."""
    end = time.monotonic() + patience_s
    kept, since = side.kept(), time.monotonic()
    while kept < wanted and time.monotonic() < end:
        time.sleep(0.2)
        now = side.kept()
        if now != kept:
            kept, since = now, time.monotonic()
        elif time.monotonic() - since > 5:
            break
    return kept


# ---- syncs

def syncs(settings):
    """The real daemon with a counter before its syncs, and, where allowed, the kernel's view of them: single presses, and
    a small crowd that makes groups."""
    counted, groups, traced = [], [], []
    for gauges in (1, 8):
        with folder(settings.folder) as place, Ours(place, settings.binaries, gauges, None, count_syncs=True) as ours:
            for _ in range(LEAST_PAIRS):
                before, commits, kept = ours.syncs(), ours.commits(), ours.kept()
                press_some(ours, settings)
                wal, database, _ = (now - then for now, then in zip(ours.syncs(), before))
                if database == 0:  # no checkpoint fell in: then every sync of the WAL was a commit's
                    counted.append(wal / (ours.commits() - commits))
                    groups.append((ours.kept() - kept) / (ours.commits() - commits))
    with folder(settings.folder) as place, Ours(place, settings.binaries, 1, None) as ours:
        for number in range(LEAST_PAIRS):
            file = place / f"trace-{number}"
            with traced_syncs(ours, file) as tracing:
                commits = ours.commits()
                if tracing:
                    press_some(ours, settings)
                    commits = ours.commits() - commits
            if tracing:
                lines = [line for line in file.read_text().splitlines() if "sync(" in line]
                if not any("sqlite3>" in line for line in lines):
                    traced.append(sum("-wal>" in line for line in lines) / commits)
    if not counted:
        raise RuntimeError("a checkpoint fell into every block: nothing could be counted")
    yield Figure("syncs a commit, counted before the C library", "", counted, exactly=1,
                 note=f"{len(counted)} blocks of 1 and of 8 gauges; up to {max(groups):.2g} readings a commit")
    if traced:
        yield Figure("syncs a commit, counted by strace", "", traced, exactly=1, note=f"{len(traced)} blocks")
    else:
        print("strace is not there or not allowed: left out", file=sys.stderr)


def press_some(side, settings):
    """Something is pressed, and then nothing more comes."""
    if len(side.terminals) == 1:
        list(press("one", [side], settings.binaries, None, blocks=1, presses=40, pause_us=500))
    else:
        list(press("crowd", [side], settings.binaries, None, blocks=1, seconds=0.4, rate=20))
    time.sleep(0.05)


@contextmanager
def traced_syncs(side, file):
    """Follows the daemon's syncs into `file`; gives False where that is not possible."""
    if not shutil.which("strace"):
        yield False
        return
    tracer = subprocess.Popen(["strace", "-f", "-y", "-e", "trace=fsync,fdatasync", "-o", str(file), "-p",
                               str(side.process.pid)], stderr=subprocess.PIPE, text=True)
    first = tracer.stderr.readline()
    if "attached" not in first:
        tracer.kill()
        tracer.wait()
        yield False
        return
    try:
        yield True
    finally:
        tracer.terminate()
        tracer.communicate()


# ---- what the libraries offer

DECODE_GOALS = {"push-line", "channel-unit", "status-columns"}


def libraries(settings):
    """Within one process, in alternating blocks of CPU time."""
    with folder(settings.folder) as place:
        done = subprocess.run([settings.binaries / "bench_pure", ROOT, place, str(settings.pairs), str(settings.block_ms),
                               str(settings.events)], stdout=subprocess.PIPE, text=True, check=True)
    for line in done.stdout.splitlines():
        yield from FIGURES_OF[json.loads(line)["figure"]](json.loads(line))


def decode_frame(said):
    shape = "plain line" if said["dialect"] != "status-columns" else "fixed columns"
    goal = 3 if said["dialect"] in DECODE_GOALS else None
    note = shape if goal else "with a check sum" if said["checks_itself"] else ""
    if said["regular_expression"]:
        note = "through the regular expression library"
    yield Figure(f"decode a frame: {said['dialect']}", "ns", said["ours_ns"], said["floor_ns"], most_ratio=goal, note=note)


def decode_stream(said):
    if said["dialect"] in DECODE_GOALS:
        yield Figure(f"bytes -> reading with its frame: {said['dialect']}", "ns", said["ours_ns"], said["floor_ns"],
                     note="frame, times and bytes kept")


def in_micro(name, goal=None, note=""):
    def make(said):
        values = [value * NANO_TO_MICRO for value in said["ours_ns"]]
        yield Figure(name, "us", values, most=goal, note=note)
    return make


def export(name):
    def make(said):
        yield Figure(name, "ns", said["ours_ns"], said["floor_ns"], most_ratio=1.3,
                     note=f"a row of {round(said['ours_bytes'] / said['rows'])} bytes; {said['rows']:,} rows")
        yield Figure(f"{name}: more memory", "MiB", [round(said["ours_more_mib"] - said["floor_more_mib"], 2)], most=1)
    return make


def chain(name, goal, note):
    def make(said):
        size = round(said["bytes"] / said["events"])
        yield Figure(name, "ns", said["ours_ns"], said["floor_ns"], most_ratio=goal, note=f"{note}; {size} bytes an event")
    return make


def chain_check(said):
    yield from chain("chain check, an event", 1.25, "floor: the same bytes hashed from memory")(said)
    yield Figure("chain check: more memory", "MiB", [round(said["ours_more_mib"], 2)], most=1,
                 note=f"{said['events']:,} events")


def sweep_circles(said):
    yield Figure("a sweep in all four circles, a sample", "ns", said["ours_ns"], said["floor_ns"],
                 note=f"{said['samples']:,} samples, so {statistics.median(said['ours_ns']) * said['samples'] / 1e6:.0f} ms a sweep; "
                      "floor: span and first harmonic in one pass")


def judging(said):
    yield Figure("a judgement", "ns", said["ours_ns"], said["floor_ns"],
                 note=f"{said['judgements']:,} values; floor: two comparisons of whole numbers")
    yield Figure("judgements a second: time of one", "ns", said["ours_ns"], most=1000, note="a million a second")


FIGURES_OF = {
    "sweep_circles": sweep_circles,
    "judge": judging,
    "decode_frame": decode_frame,
    "decode_stream": decode_stream,
    "decide_evolve": in_micro("decide + evolve, 12 places a part", 1, "the first thousand of a walk"),
    "decide_evolve_part_a_reading": in_micro("decide + evolve, a part a reading", 1, "the first thousand of a walk"),
    "decide_evolve_later": in_micro("the same, 2,000 parts later", 1, "a long lot must not cost more"),
    "desk": in_micro("the whole desk, 12 places a part", None, "with outcome as JSON and the page's view"),
    "export_csv": export("CSV"),
    "export_json_lines": export("JSON Lines"),
    "chain_check": chain_check,
    "chain_check_from_rows": chain("chain check, an event, from the file", None, "floor: bare loop, rows hashed"),
}

def of_a_day(part):
    return lambda settings: part(settings, folder)


PARTS = {"latency": latency, "pages": of_a_day(daily.ten_pages), "crowd": crowd, "heard": heard, "flood": flood, "idle": of_a_day(daily.idle),
         "page": of_a_day(daily.page), "long": of_a_day(daily.long_record), "syncs": syncs, "libraries": libraries}
