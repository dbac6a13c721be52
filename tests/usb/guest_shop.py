"""A shop whose daemon runs in the virtual machine, as the unprivileged user that it is made for; display and hands are
here. All data invented."""
import re
import shutil
import subprocess
import sys
import unittest
from decimal import Decimal
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "end_to_end"))

from bench import BIN, ROOT, Shop, patched  # noqa: E402
from machine import Machine  # noqa: E402
from small_shop import FAMILY, SHOP  # noqa: E402
from terminals import push_line  # noqa: E402
from starting import free_port  # noqa: E402

WORK = BIN.parent / "usb"        # kernel and udev are kept there, 500 MB
ETHERNET = "10.0.2.15"           # the guest's, behind QEMU's user network
PROGRAMS = ("qemu-system-x86_64", "busybox", "kmod", "cpio", "apt-get", "dpkg-deb", "socat", "strip")


def prepared():
    """The work folder with kernel and initramfs of the present build. unittest.SkipTest where they cannot be had."""
    missing = [program for program in PROGRAMS if not shutil.which(program, path="/usr/bin:/usr/sbin:/bin:/sbin")]
    if missing:
        raise unittest.SkipTest("not installed: " + ", ".join(missing))
    made = subprocess.run([HERE / "make_initramfs.sh", WORK, f"{BIN}/tallystickd:/tallystick/tallystickd",
                           f"{BIN}/tallystick:/tallystick/tallystick", f"{shutil.which('socat')}:/bin/socat",
                           f"{ROOT}/config/dialects:/tallystick/dialects"], capture_output=True, text=True)
    if made.returncode == 3:
        raise unittest.SkipTest("the kernel's package cannot be downloaded: " + made.stderr.strip()[-200:])
    if made.returncode != 0:
        raise AssertionError(f"make_initramfs.sh: exit status {made.returncode}: {made.stderr[-2000:]}")
    return str(WORK)


def by_usb_shop(ports, port_of_daemon):
    """Benches with one gauge each, and one feature so wide that every value accepts. `ports`: [(gauge, bench or None for a
    port alone, the lines that name it, dialect)]."""
    toml = SHOP
    for bench in sorted({bench for _, bench, _, _ in ports if bench}):
        toml += f'\n[[bench]]\nid = "{bench}"\n'
    for gauge, bench, naming, dialect in ports:
        toml += f'\n[[port]]\nid = "{gauge}"\n{naming}\ndialect = "{dialect}"\n'
        if bench:
            toml += (f'\n[[gauge]]\nid = "{gauge}"\nname = "{gauge}"\nkind = "height-gauge"\nbench = "{bench}"\n'
                     f'port = "{gauge}"\nunit = "mm"\nunit_fixed = true\nrange_lower = "0"\nrange_upper = "999.999"\n'
                     'resolution = "0.001"\n')
    toml = patched(toml).replace("port = 0", f'port = {port_of_daemon}\nclock = "own"', 1)
    toml = re.sub(r"(?m)^data = .*$", 'data = "/tmp/data"', toml)
    toml = re.sub(r"(?m)^dialect_folders = .*$", 'dialect_folders = ["/tallystick/dialects", "dialects"]', toml)
    feature = ('\n[[feature]]\nkey = "length"\nballoon = "3"\nname = "overall length"\nnominal = "500 mm"\n'
               'plus_minus = "499 mm"\ngauge_kind = "height-gauge"\n')
    push = (ROOT / "config" / "dialects" / "push-line.dialect.toml").read_text(encoding="utf-8")
    seven = push.replace('"push-line"', '"push-seven"', 1).replace("baud = 9600", "baud = 4800").replace(
        "data_bits = 8", "data_bits = 7").replace('parity = "none"', 'parity = "even"').replace("stop_bits = 1", "stop_bits = 2")
    seven = re.sub(r"(?m)^same_shape_as = .*$", 'same_shape_as = ["push-line", "push-line-fast"]', seven)
    return {"tallystick.toml": toml, "fb.family.toml": FAMILY.split("[columns]")[0] + feature,
            "fb.sizes.csv": "size,print_revision,part_number,print_unit\nFB-25,C,FB-25-C,mm\n",
            "dialects/push-seven.dialect.toml": seven}


class GuestShop(Shop):
    """The daemon's number of port is the same here and in the guest: it answers to its own name only."""

    def __init__(self, machine, files, benches=("bench-1",)):
        self.machine = machine
        self.cables = {}     # gauge: the adapter that is its own just now
        self.pid = None
        super().__init__(files, benches=benches, start=False)
        self.files = files
        self.number = int(re.search(r"(?m)^port = (\d+)$", files["tallystick.toml"])[1])
        try:
            for name, text in files.items():
                machine.write(f"/shop/{name}", text)
            machine.done("mkdir -p /tmp/data && chown tallystick /tmp/data")
            machine.start(f"socat TCP-LISTEN:{self.number},bind={ETHERNET},fork,reuseaddr TCP:127.0.0.1:{self.number}")
            self.start(ready=False)
        except BaseException:
            self.close()
            raise

    def start(self, ready=True):
        self.pid = self.machine.start(
            "su -s /bin/sh tallystick -c 'exec /tallystick/tallystickd --config /shop/tallystick.toml'")
        self.machine.output.expect(r"listening on http://\S+", 30)
        self.address = f"127.0.0.1:{self.number}"
        for bench in self.displays:
            self.wait_for(lambda view: True, 30, "the first view", bench=bench)
        if ready:
            self.wait_for_ports()

    def kill(self, how=None):
        raise NotImplementedError("the guest's daemon ends with stop()")

    def stop(self):
        """As the service manager does, and waits until it is gone."""
        self.address = None
        self.machine.done(f"kill {self.pid}; n=0; while [ -e /proc/{self.pid} ]; do n=$((n+1)); [ $n -gt 500 ] && exit 1; "
                          "usleep 20000; done", 20)

    def measure(self, gauge, value, bench="bench-1"):
        """A press with a value that no other press has, and the view that tells of it as counted."""
        self.press(gauge, push_line(value))
        return self.told(value, bench)

    def told(self, value, bench="bench-1"):
        """An emulated machine on a busy host is slow; how slow is no matter of these tests."""
        def is_it(last):
            return last and last["what"] == "counted" and Decimal(last["value"]) == Decimal(value)
        return self.wait_for(lambda view: is_it(view.get("last")), 60, value, bench)

    def __exit__(self, kind, error, trace):
        if kind is not None:
            print("---- the guest: " + self.machine.said(), flush=True)
        super().__exit__(kind, error, trace)

    def press(self, port, data):
        self.cables[port].send(data)

    def port(self, name):
        return next(port for port in self.get("/api/v1/ports") if port["port"] == name)

    def values(self):
        """gauge -> the values kept, oldest first."""
        rows, _, _ = self.export_csv()
        out = {}
        for row in rows:
            out.setdefault(row["gauge"], []).append(Decimal(row["value"]))
        return out

    def grown(self):
        """(resident KiB, descriptors) of the daemon, without those of its clients' connections."""
        status = self.machine.done(f"grep VmRSS /proc/{self.pid}/status; ls -l /proc/{self.pid}/fd 2>/dev/null | grep -vc socket:")
        return int(re.search(r"(\d+)", status[0])[1]), int(status[-1])


def machine_for(number, **more):
    return Machine(prepared(), forward={number: number}, **more)


__all__ = ["GuestShop", "by_usb_shop", "free_port", "machine_for", "prepared"]
