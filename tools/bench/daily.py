"""What a day asks besides the way of one reading: starting, idling, many pages, a page's weight, an export's first byte."""
import base64
import http.client
import mmap
import os
import select
import shutil
import socket
import struct
import subprocess
import sys
import time
from pathlib import Path

from figures import Figure
from sides import Ours, Side

MICRO, MILLI = 1e6, 1e3


# ---- pages

class Page:
    """A WebSocket client that only reads, as a page that shows a bench does."""

    def __init__(self, address, bench, display):
        host, port = address.split(":")
        self.socket = socket.create_connection((host, int(port)), timeout=20)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        key = base64.b64encode(os.urandom(16)).decode()
        self.socket.sendall((f"GET /api/v1/benches/{bench}/live?display={display} HTTP/1.1\r\nHost: {address}\r\n"
                             "Upgrade: websocket\r\nConnection: Upgrade\r\n"
                             f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n").encode())
        self.seen = b""
        while b'"snapshot"' not in self.seen:
            self.seen += self.socket.recv(65536)
        self.socket.setblocking(False)

    def read(self):
        try:
            while piece := self.socket.recv(65536):
                self.seen += piece
        except BlockingIOError:
            pass

    def close(self):
        self.socket.close()


def ten_pages(settings, folder):
    """One press at a time; how long after its commit the last of ten pages has read the very value."""
    presses = 200 if settings.blocks >= 20 else 30
    with folder(settings.folder) as place, Ours(place, settings.binaries, 1, settings.cores_measured, places=12) as ours:
        pages = [Page(ours.address, "bench-1", f"page-{number}") for number in range(10)]
        try:
            with open(f"{ours.database}-shm", "rb") as file, mmap.mmap(file.fileno(), 32768, prot=mmap.PROT_READ) as shared:
                after = [one_press(ours, pages, shared, number) for number in range(presses)]
        finally:
            for page in pages:
                page.close()
    after = sorted(value for value in after if value is not None)
    if len(after) < presses * 0.9:
        raise RuntimeError(f"only {len(after)} of {presses} presses came undisturbed")
    yield Figure("durable -> the last of 10 pages has it, p50", "us", [after[len(after) // 2] * MICRO],
                 note=f"{len(after)} presses; the clients are one Python program")
    yield Figure("durable -> the last of 10 pages has it, p99", "us", [after[len(after) * 99 // 100] * MICRO])


def one_press(ours, pages, shared, number):
    """Seconds from the commit until every page has it; None: another commit fell in between."""
    value = f"{100 + number * 7919 % 800}.{number % 1000:03}"
    for page in pages:
        page.read()
        page.seen = b""
    commits = shared[8:12]
    os.write(ours.terminals[0], f"+{value}\r".encode())
    end = time.perf_counter() + 5
    while shared[8:12] == commits:
        if time.perf_counter() > end:
            raise RuntimeError("a press was not kept within 5 s")
    durable = time.perf_counter()
    waiting = list(pages)
    while waiting:
        if time.perf_counter() > end:
            raise RuntimeError("a page did not get a press within 5 s")
        select.select([page.socket for page in waiting], [], [], 1)
        for page in waiting:
            page.read()
        waiting = [page for page in waiting if value.encode() not in page.seen]
    seconds = time.perf_counter() - durable
    time.sleep(0.05)
    one = struct.unpack("=I", shared[8:12])[0] - struct.unpack("=I", commits)[0] <= 2   # "told" is the second
    return seconds if one else None


# ---- idling

def idle(settings, folder):
    """32 silent ports and three pages: what it keeps in memory, and how often it wakes."""
    seconds = 10 if settings.blocks >= 20 else 3
    with folder(settings.folder) as place, Ours(place, settings.binaries, 32, None) as ours:
        pages = [Page(ours.address, f"bench-{number}", "page") for number in (1, 2, 3)]
        try:
            time.sleep(3)
            process = Path("/proc") / str(ours.process.pid)
            before, cpu_before = wakings(process), cpu_seconds(process)
            time.sleep(seconds)
            woke, cpu = wakings(process) - before, cpu_seconds(process) - cpu_before
            status = dict(line.split(":", 1) for line in (process / "status").read_text().splitlines() if ":" in line)
        finally:
            for page in pages:
                page.close()
    resident, own = (int(status[name].split()[0]) / 1024 for name in ("VmRSS", "RssAnon"))
    yield Figure("idle, 32 silent ports, 3 pages: resident", "MiB", [resident], most=20, note=f"{own:.1f} MiB of its own")
    yield Figure("idle: wakings a second", "", [woke / seconds], note=f"in {seconds} s; the clock's second, the pages' sign of life")
    yield Figure("idle: share of a core", "%", [cpu / seconds * 100], most=0.5)


def wakings(process):
    """How often its threads gave up the processor by themselves."""
    total = 0
    for task in (process / "task").iterdir():
        for line in (task / "status").read_text().splitlines():
            if line.startswith("voluntary_ctxt_switches"):
                total += int(line.split()[1])
    return total


def cpu_seconds(process):
    fields = (process / "stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


# ---- starting, and exporting, with a long record

class LongRecord(Ours):
    """The daemon on a record that is there already."""

    def start(self):
        self.begin = time.perf_counter()
        self.process = self.spawn([self.binaries / "tallystickd", "--config", self.folder / "tallystick.toml"])
        self.address = self.wait_for_line(r"listening on http://(\S+)")[1]
        self.ready_s = time.perf_counter() - self.begin


def drop_from_cache(folder):
    """So that the start reads from the disk; needs no rights."""
    for path in Path(folder).rglob("*"):
        if path.is_file():
            with open(path, "rb") as file:
                os.fsync(file.fileno())
                os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def long_record(settings, folder):
    """Ready on a million results from a cold cache; the first byte of an export of them."""
    results = 1_000_000 if settings.blocks >= 20 else 5_000
    with folder(settings.folder) as place:
        side = LongRecord(place, settings.binaries, 1, None)
        try:
            side.write_configuration()
            subprocess.run([settings.binaries / "bench_fill", side.folder / "data", str(results)], check=True,
                           stdout=subprocess.DEVNULL)
            size = (side.folder / "data" / "journal.sqlite3").stat().st_size / 2**20
            ready, first = [], []
            for _ in range(5):
                drop_from_cache(side.folder / "data")
                side.start()
                ready.append(side.ready_s * MILLI)
                first.append(first_byte(side.address) * MILLI)
                side.process.terminate()
                side.process.wait(timeout=60)
        finally:
            side.close()
    yield Figure(f"ready on {results:,} results, cold", "ms", ready, most=50, note=f"journal of {size:,.0f} MiB")
    yield Figure(f"first byte of an export of {results:,}", "ms", first, most=50)


def first_byte(address):
    connection = http.client.HTTPConnection(address, timeout=30)
    try:
        begin = time.perf_counter()
        connection.request("GET", "/api/v1/export.csv")
        answer = connection.getresponse()
        answer.read(1)
        return time.perf_counter() - begin
    finally:
        connection.close()


# ---- the page in a browser

WATCH = """
new MutationObserver((_, observer) => {
  const step = document.querySelector("main") ?? document.body;
  if (!step || !/500|length/.test(step.innerText)) return;
  observer.disconnect();
  requestAnimationFrame(() => setTimeout(() => { window.firstStep = performance.now(); }));
}).observe(document, {childList: true, subtree: true, characterData: true});
"""


def page(settings, folder):
    """What the bench page loads, and when its first step is painted, in headless Chromium."""
    try:
        from selenium import webdriver
        from selenium.webdriver.chrome.service import Service
    except ImportError:
        print("python3-selenium is not there: the page is left out", file=sys.stderr)
        return
    driver = shutil.which("chromedriver")
    if not driver:
        print("chromedriver is not there: the page is left out", file=sys.stderr)
        return
    options = webdriver.ChromeOptions()
    for option in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(option)
    with folder(settings.folder) as place, Ours(place, settings.binaries, 1, None) as ours:
        browser = webdriver.Chrome(options=options, service=Service(driver))
        try:
            browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
            browser.execute_cdp_cmd("Network.enable", {})
            browser.execute_cdp_cmd("Network.setCacheDisabled", {"cacheDisabled": True})
            painted, weights = [], []
            for _ in range(6):
                browser.get(f"http://{ours.address}/bench/bench-1")
                end = time.monotonic() + 10
                while not (at := browser.execute_script("return window.firstStep")):
                    if time.monotonic() > end:
                        raise RuntimeError("the page showed no step within 10 s")
                    time.sleep(0.05)
                painted.append(at)
                weights.append(browser.execute_script(
                    "return performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation'))"
                    ".reduce((sum, one) => sum + one.encodedBodySize, 0)") / 1024)
                browser.get("about:blank")
        finally:
            browser.quit()
    yield Figure("the bench page's files", "KiB", [max(weights)], most=120, note="as sent")
    yield Figure("navigation -> first step painted", "ms", painted[1:], most=300, note="headless Chromium, cache off")
