"""Input devices that a test plays for the daemon of tests/played: FIFOs that carry the kernel's `struct input_event`.

That a real device is found, opened and grabbed is shown in tests/usb."""
import os
import struct
import time
from pathlib import Path

EVENT = struct.Struct("llHHi")  # seconds, microseconds, type, code, value (linux/input.h, 64 bit)
KEY, REPORT = 1, 0
ENTER, SPACE, SHIFT = 28, 57, 42
US = {**{str(digit): 1 + digit for digit in range(1, 10)}, "0": 11, "-": 12, ".": 52, " ": SPACE,
      **{letter: code for letters, first in (("qwertyuiop", 16), ("asdfghjkl", 30), ("zxcvbnm", 44))
         for code, letter in enumerate(letters, first)}}
NAMED = {"f13": 183, "f14": 184, "f15": 185, "f16": 186}


class Devices:
    def __init__(self, folder):
        self.folder = Path(folder)
        self.folder.mkdir(exist_ok=True)
        self.ends = {}

    def plug(self, name, serial, vendor="1d6b", product="0104"):
        os.mkfifo(self.folder / f"{name}.keys")
        self.ends[name] = os.open(self.folder / f"{name}.keys", os.O_RDWR | os.O_NONBLOCK)
        (self.folder / f".{name}").write_text(f"{vendor} {product} {serial}\n", encoding="ascii")
        (self.folder / f".{name}").rename(self.folder / f"{name}.about")

    def unplug(self, name):
        (self.folder / f"{name}.about").unlink()
        (self.folder / f"{name}.keys").unlink()
        os.close(self.ends.pop(name))  # the last writer: the reader sees the end

    def event(self, name, kind, code, value):
        now = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
        os.write(self.ends[name], EVENT.pack(now // 10**9, now % 10**9 // 1000, kind, code, value))

    def key(self, name, code):
        for value in (1, 0):
            self.event(name, KEY, code, value)
            self.event(name, REPORT, 0, 0)

    def type(self, name, text, enter=True):
        """What a US keyboard sends for the text."""
        for sign in text:
            if sign.isupper():
                self.event(name, KEY, SHIFT, 1)
            self.key(name, US[sign.lower()])
            if sign.isupper():
                self.event(name, KEY, SHIFT, 0)
        if enter:
            self.key(name, ENTER)

    def press(self, name, key):
        self.key(name, NAMED[key])

    def close(self):
        for end in self.ends.values():
            os.close(end)
        self.ends = {}
