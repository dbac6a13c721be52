"""A page in headless Chromium, and the server with a desk that stands still. Skips, and says so, where they are absent."""
import base64
import json
import os
import re
import shutil
import struct
import subprocess
import tempfile
import threading
import time
import unittest
import urllib.error
import urllib.request
import zlib
from pathlib import Path

try:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.by import By
    ABSENT = None if shutil.which("chromium") and shutil.which("chromedriver") else "chromium or chromedriver"
except ImportError:
    ABSENT = "python3-selenium"

ROOT = Path(__file__).resolve().parents[2]
BIN = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build" / "release" / "bin"))
FAKE_DESK = BIN.parent / "tests" / "fake_desk_server"
PICTURES = os.environ.get("TALLYSTICK_PICTURES")  # a folder: screenshots are kept there


def needs_browser(test):
    return unittest.skipIf(ABSENT, f"{ABSENT} is not installed")(test)


class Page:
    """One window. `sound`: as a kiosk is set up, that may play sound at once; else as any browser starts."""

    def __init__(self, width=1920, height=1080, sound=True, dark=False, reduced_motion=False):
        self.profile = tempfile.TemporaryDirectory(prefix="tallystick-browser-")
        options = webdriver.ChromeOptions()
        options.binary_location = shutil.which("chromium")
        for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
                         "--disable-sync", "--disable-component-update", "--hide-scrollbars", "--force-device-scale-factor=1",
                         f"--user-data-dir={self.profile.name}", f"--window-size={width},{height}"):
            options.add_argument(argument)
        options.add_argument("--autoplay-policy=" + ("no-user-gesture-required" if sound else "document-user-activation-required"))
        if dark:
            options.add_argument("--force-dark-mode")
        if reduced_motion:
            options.add_argument("--force-prefers-reduced-motion")
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        self.driver = webdriver.Chrome(service=Service(shutil.which("chromedriver")), options=options)
        self.driver.set_page_load_timeout(30)
        self.size(width, height)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.driver.quit()
        self.profile.cleanup()

    def size(self, width, height):
        """The page's own area, to the pixel."""
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                                    {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False})

    def open(self, address):
        self.driver.get(address)
        return self

    def run(self, script, *arguments):
        return self.driver.execute_script(script, *arguments)

    def text(self, selector):
        """What a person reads there; "" where it is not shown."""
        return self.run("const e = document.querySelector(arguments[0]); return e && e.checkVisibility() ? e.innerText.trim() : ''", selector)

    def wait_for(self, wanted, what, seconds=40):
        end = time.monotonic() + seconds
        while True:
            value = wanted()
            if value:
                return value
            if time.monotonic() > end:
                raise AssertionError(f"{what} did not come in {seconds} s; the page says: {self.text('body')!r}; "
                                     f"console: {self.complaints()}")
            time.sleep(0.02)

    def wait_for_text(self, selector, part, seconds=40):
        return self.wait_for(lambda: part in self.text(selector) and self.text(selector), f"{part!r} in {selector}", seconds)

    def find(self, selector):
        return self.driver.find_element(By.CSS_SELECTOR, selector)

    def keys(self, *keys, gap=0.12):
        """Single keys, as a hand or a pedal gives them."""
        for key in keys:
            ActionChains(self.driver, duration=0).send_keys(key).perform()
            time.sleep(gap)

    def scan(self, code):
        """A scanner: a letter every 8 ms, then Enter. Its key events are true ones, made in the browser's input queue; they
        carry the times that a scanner gives them, however late a loaded machine hands them over."""
        begin, typed = time.time(), 0

        def event(kind, **more):
            self.driver.execute_cdp_cmd("Input.dispatchKeyEvent", {"type": kind, "timestamp": begin + typed * 0.008, **more})

        for letter in code:
            event("keyDown", key=letter, text=letter)
            event("keyUp", key=letter)
            typed += 1
        event("rawKeyDown", key="Enter", code="Enter", windowsVirtualKeyCode=13)
        event("char", key="Enter", text="\r")
        event("keyUp", key="Enter", code="Enter", windowsVirtualKeyCode=13)

    def frames(self, count=2):
        """Waits until the browser has drawn again."""
        for _ in range(count):
            self.driver.execute_async_script("requestAnimationFrame(() => arguments[0]())")

    def pixels(self, selector):
        """(width, height, rows of (red, green, blue)) of what is seen there."""
        self.driver.execute_script("document.querySelector(arguments[0]).scrollIntoView({ block: 'nearest' })", selector)
        box = self.run("const b = document.querySelector(arguments[0]).getBoundingClientRect(); return [b.left, b.top, b.width, b.height]", selector)
        shot = self.driver.execute_cdp_cmd("Page.captureScreenshot", {"clip": {"x": box[0], "y": box[1], "width": box[2], "height": box[3], "scale": 1}})
        return png_pixels(base64.b64decode(shot["data"]))

    def complaints(self):
        """What the browser's console holds against the page, refused requests of a daemon that is gone apart."""
        return [entry["message"] for entry in self.driver.get_log("browser")
                if entry["level"] == "SEVERE" and "ERR_CONNECTION" not in entry["message"]]

    def picture(self, name):
        if PICTURES:
            Path(PICTURES).mkdir(parents=True, exist_ok=True)
            self.driver.save_screenshot(str(Path(PICTURES) / f"{name}.png"))


def png_pixels(data):
    """An 8-bit RGB or RGBA picture without interlace (PNG, ISO/IEC 15948) as (width, height, rows of (red, green, blue))."""
    place, packed = 8, b""
    while place < len(data):
        size, kind = struct.unpack(">I4s", data[place:place + 8])
        content = data[place + 8:place + 8 + size]
        if kind == b"IHDR":
            width, height, depth, colour, _, _, interlace = struct.unpack(">IIBBBBB", content)
            assert depth == 8 and colour in (2, 6) and not interlace, (depth, colour, interlace)
        elif kind == b"IDAT":
            packed += content
        place += 12 + size
    raw, step = zlib.decompress(packed), 3 if colour == 2 else 4
    rows, above = [], bytearray(width * step)
    for number in range(height):
        start = number * (width * step + 1)
        kind, line = raw[start], bytearray(raw[start + 1:start + 1 + width * step])
        for at in range(len(line)):
            left, up, corner = line[at - step] if at >= step else 0, above[at], above[at - step] if at >= step else 0
            near = left + up - corner
            best = min((left, up, corner), key=lambda value: abs(near - value)) if kind == 4 else 0
            line[at] = (line[at] + (0, left, up, (left + up) // 2, best)[kind]) & 255
        rows.append([tuple(line[at:at + 3]) for at in range(0, len(line), step)])
        above = line
    return width, height, rows


def page_addresses(address, bench):
    """Every page that the daemon serves, by its own address or, where it has none, by its file's."""
    out = []
    for path in sorted((ROOT / "daemon" / "pages").glob("*.html")):
        own = {"index": "", "bench": f"bench/{bench}"}.get(path.stem, path.stem)
        try:
            urllib.request.urlopen(address + own, timeout=10).close()
        except urllib.error.HTTPError:
            own = f"pages/{path.name}"
        out.append((path.stem, address + own))
    return out


class StillDesk:
    """The real server and pages; each bench stands in one of `states.py`'s states. `commands`: what pages sent."""

    pages = ROOT / "daemon" / "pages"

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def __init__(self, views, port=0):
        self.folder = tempfile.TemporaryDirectory(prefix="tallystick-still-")
        self.file = Path(self.folder.name) / "views.json"
        self.file.write_text(json.dumps(views), encoding="utf-8")
        self.commands = []
        self.start(port)

    def start(self, port=0):
        if not FAKE_DESK.exists():
            raise unittest.SkipTest(f"{FAKE_DESK} is not built")
        self.process = subprocess.Popen([FAKE_DESK, self.pages, self.file, ROOT / "config" / "demo" / "fb.svg", str(port)],
                                        stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True)
        line = self.process.stdout.readline()
        found = re.match(r"http://127\.0\.0\.1:(\d+)/", line)
        if not found:
            raise AssertionError(f"the server did not come up: {line!r}")
        self.port = int(found[1])
        self.address = line.strip()
        process = self.process

        def read():
            for text in process.stdout:
                bench, kind, body = text.rstrip("\n").split(" ", 2)
                self.commands.append((bench, kind, json.loads(body)))

        self.reader = threading.Thread(target=read, daemon=True)
        self.reader.start()

    def bench(self, state, query="theme=light"):
        return f"{self.address}bench/{state}?{query}"

    def show(self, bench, **view):
        """Changes members of a bench's view."""
        import http.client
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        connection.request("POST", f"/api/v1/benches/{bench}/commands", json.dumps({"kind": "show", "view": view}),
                           {"Content-Type": "application/json"})
        answer = connection.getresponse()
        body = answer.read()
        connection.close()
        if answer.status != 200:
            raise AssertionError(body)

    def stop(self):
        self.process.terminate()
        self.process.wait(timeout=10)
        self.reader.join(timeout=10)
        self.process.stdout.close()

    def close(self):
        if self.process.poll() is None:
            self.stop()
        self.folder.cleanup()
