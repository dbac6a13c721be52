# SPDX-License-Identifier: Apache-2.0
"""A virtual machine with a USB bus: boots a Debian kernel, plugs and pulls devices, runs commands in the guest.

Everything blocks with a time limit (seconds) and raises MachineError when it passes.

    with Machine(work) as machine:               # boots; on leaving, the machine and its folder are gone
        cable = machine.serial_adapter("gauge", serial="A1", port="1")
        cable.plug(); cable.send(b"+012.345\\r"); cable.unplug()
        status, lines = machine.sh("ls /dev/serial/by-id")

What was learnt about it, each by meeting it (QEMU 7.2, kernel 6.1):
- Removing a device while bytes are queued crashes QEMU. So an adapter is on the bus while its cable, a socket that QEMU
  listens on, is connected: connecting plugs it, closing pulls it, in the middle of a byte stream too.
- A cable that is not read stops the whole machine: every cable is drained by a thread.
- Bytes that are sent while nobody has the line open partly arrive after the next opening: send when the port is open.
- The adapter's speed is not paced, and wrong settings garble nothing. What it was told stands in the trace.
- A keyboard queues 16 events and drops the rest: a pause after each key.
- All lives in memory: nothing here shows anything about durability.
"""
import base64
import ctypes
import json
import lzma
import os
import queue
import re
import shutil
import signal
import socket
import struct
import subprocess
import tempfile
import threading
import time


class MachineError(Exception):
    """Something did not happen in time, or QEMU refused; says what."""


class Lines:
    """Reads a socket in a thread and hands out its lines, each with the host's monotonic time (s) of its arrival."""

    def __init__(self, connection):
        self.connection, self.queue = connection, queue.Queue()
        self.thread = threading.Thread(target=self._read, daemon=True)
        self.thread.start()

    def _read(self):
        rest = b""
        try:
            while data := self.connection.recv(65536):
                now = time.monotonic()
                *lines, rest = (rest + data).split(b"\n")
                for line in lines:
                    self.queue.put((now, line.decode(errors="replace").rstrip("\r")))
        except OSError:
            pass
        self.queue.put((time.monotonic(), None))

    def next(self, timeout):
        try:
            when, line = self.queue.get(timeout=max(timeout, 0))
        except queue.Empty:
            raise MachineError(f"no line within {timeout:.1f} s") from None
        if line is None:
            self.queue.put((when, None))
            raise MachineError("the guest's line is closed: has the machine ended?")
        return when, line

    def expect(self, pattern, timeout=10, since=0.0):
        """Skips lines until one matches that came after `since`; (match, arrival). The error names the last lines seen."""
        limit, seen = time.monotonic() + timeout, []
        while True:
            try:
                when, line = self.next(limit - time.monotonic())
            except MachineError as error:
                raise MachineError(f"no line matched /{pattern}/ in {timeout} s ({error}); last: {seen[-5:]}") from None
            seen.append(line)
            if when >= since and (match := re.search(pattern, line)):
                return match, when

    def close(self):
        try:
            self.connection.shutdown(socket.SHUT_RDWR)
        except OSError:
            pass
        self.thread.join(timeout=10)
        self.connection.close()


def uncompressed(vmlinuz, target):
    """Unpacks the ELF kernel out of a bzImage (the kernel's Documentation/x86/boot.rst: payload_offset, payload_length).
    QEMU starts it directly, which saves the guest from unpacking it under emulation (about 3 s)."""
    with open(vmlinuz, "rb") as file:
        image = file.read()
    offset, length = struct.unpack_from("<II", image, 0x248)
    payload = image[((image[0x1F1] or 4) + 1) * 512 + offset:][:length]
    if payload[:6] != b"\xfd7zXZ\0":
        return vmlinuz                                  # another compression: boots as well, only slower
    with open(target, "wb") as file:
        file.write(lzma.LZMADecompressor().decompress(payload))
    return target


def die_with_parent():
    """Asks Linux to kill this process when the one that started it dies (prctl PR_SET_PDEATHSIG): no QEMU stays behind."""
    ctypes.CDLL(None).prctl(1, signal.SIGKILL)


class Machine:
    """work: folder that make_initramfs.sh filled. screens: names of graphics devices, for keyboards to belong to. forward:
    {port on this host's 127.0.0.1: port in the guest}. trace: QEMU trace patterns, written to the file self.trace. hub: a hub
    in the bus's port 8. The bus has 8 ports. Make it in the main thread."""

    def __init__(self, work, memory=512, screens=(), forward=None, trace=(), hub=False, boot_timeout=90):
        self.boot_timeout = boot_timeout
        self.folder = tempfile.mkdtemp(prefix="tallystick-usb-")
        self.console, self.trace = os.path.join(self.folder, "console"), os.path.join(self.folder, "trace")
        self.process, self.number, self.events, self.ends = None, 0, [], []
        kernel = os.path.join(work, "vmlinux")
        if not os.path.exists(kernel):
            kernel = uncompressed(os.path.join(work, "vmlinuz"), kernel)
        self.command = [
            "qemu-system-x86_64", "-nodefaults", "-no-user-config", "-machine", "q35", "-accel", "tcg", "-display", "none",
            "-no-reboot", "-m", str(memory), "-smp", "1", "-kernel", kernel, "-initrd", os.path.join(work, "initramfs.gz"),
            "-append", "console=ttyS0 quiet panic=-1 mitigations=off net.ifnames=0",
            "-serial", f"file:{self.console}", "-serial", f"unix:{self.folder}/shell", "-serial", f"unix:{self.folder}/output",
            "-qmp", f"unix:{self.folder}/qmp", "-device", "qemu-xhci,id=usb,p2=8,p3=8"]
        if hub:
            self.command += ["-device", "usb-hub,bus=usb.0,port=8,id=hub"]
        for screen in screens:
            self.command += ["-device", f"bochs-display,id={screen}"]
        for pattern in trace:
            self.command += ["-trace", pattern]
        if trace:
            self.command += ["-D", self.trace]
        if forward:
            rules = "".join(f",hostfwd=tcp:127.0.0.1:{host}-:{guest}" for host, guest in forward.items())
            self.command += ["-netdev", f"user,id=net,restrict=on{rules}", "-device", "virtio-net-pci,netdev=net,romfile="]

    # ---- life

    def __enter__(self):
        try:
            self._boot()
        except (MachineError, socket.timeout) as error:
            time.sleep(0.2)
            said = _text(f"{self.folder}/qemu") + _text(self.console)[-2000:]
            self.stop()
            raise MachineError(f"no guest: {error}; it said: {said!r}") from None
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(self, *_):
        self.stop()

    def _listen(self, name):
        listener = socket.socket(socket.AF_UNIX)
        listener.bind(os.path.join(self.folder, name))
        listener.listen()
        listener.settimeout(10)
        return listener

    def _accept(self, listener):
        with listener:
            connection, _ = listener.accept()
        connection.settimeout(None)
        self.ends.append(Lines(connection))
        return self.ends[-1]

    def _boot(self):
        start = time.monotonic()
        listeners = [self._listen(name) for name in ("shell", "output", "qmp")]
        with open(f"{self.folder}/qemu", "wb") as said:
            self.process = subprocess.Popen(self.command, stdin=subprocess.DEVNULL, stdout=said, stderr=said,
                                            preexec_fn=die_with_parent)
        self.shell, self.output, self.monitor = map(self._accept, listeners)
        self.monitor.expect('"QMP"')
        self.qmp("qmp_capabilities")
        self.shell.expect(r"^@ready", self.boot_timeout)
        self.boot_seconds = time.monotonic() - start

    def stop(self):
        """Ends the machine at once (it holds nothing worth saving) and removes its folder of sockets and logs."""
        if self.process:
            self.process.kill()
            self.process.wait()
        for end in self.ends:
            end.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    # ---- the monitor

    def qmp(self, execute, timeout=10, **arguments):
        """Runs one monitor command; its answer. Events that come meanwhile are kept in self.events."""
        message = {"execute": execute, "arguments": {name.replace("_", "-") if execute != "device_add" else name: value
                                                     for name, value in arguments.items()}}
        self.monitor.connection.sendall(json.dumps(message).encode() + b"\n")
        limit = time.monotonic() + timeout
        while True:
            when, line = self.monitor.next(limit - time.monotonic())
            answer = json.loads(line)
            if "event" in answer:
                self.events.append((when, answer))
            elif "error" in answer:
                raise MachineError(f"{execute} {arguments}: {answer['error']['desc']}")
            else:
                return answer["return"]

    def wait_event(self, name, device, timeout=10):
        limit = time.monotonic() + timeout
        while True:
            for index, (when, event) in enumerate(self.events):
                if event["event"] == name and event["data"].get("device") == device:
                    del self.events[index]
                    return when
            when, line = self.monitor.next(limit - time.monotonic())
            self.events.append((when, json.loads(line)))

    # ---- the guest

    def sh(self, command, timeout=20):
        """Runs a shell command in the guest; (exit status, its lines)."""
        self.number += 1
        self.shell.connection.sendall(f"{self.number} {command}\n".encode())
        limit, lines = time.monotonic() + timeout, []
        while True:
            _, line = self.shell.next(limit - time.monotonic())
            if match := re.fullmatch(rf"@{self.number} (\d+)", line):
                return int(match[1]), lines
            lines.append(line)

    def done(self, command, timeout=20):
        """The lines of a command that must succeed."""
        status, lines = self.sh(command, timeout)
        if status != 0:
            raise MachineError(f"in the guest: {command}: exit status {status}: {lines[-5:]}")
        return lines

    def write(self, path, text):
        """A file in the guest, in pieces that its shell takes."""
        self.done(f"mkdir -p {os.path.dirname(path)} && : > {path}")
        data = text.encode()
        for at in range(0, len(data), 600):
            self.done(f"echo {base64.b64encode(data[at:at + 600]).decode()} | base64 -d >> {path}")

    def said(self):
        """What helps to see why something went wrong: the console's end, memory, processes, programs' last lines."""
        out = [_text(self.console)[-1500:]]
        try:
            for command in ("head -3 /proc/meminfo; df /tmp | tail -1", "ps | grep -v '\\[' | tail -12"):
                out += self.sh(command, 10)[1]
        except MachineError as error:
            out.append(str(error))
        return "\n".join(out + [line for _, line in list(self.output.queue.queue)[-15:] if line])

    def wait_node(self, path, present=True):
        """Waits until a path is there (or gone) in the guest; what it resolves to."""
        test = "! -e" if present else "-e"
        return (self.done(f"n=0; while [ {test} {path} ]; do n=$((n+1)); [ $n -gt 1000 ] && exit 1; usleep 20000; done; "
                          f"readlink -f {path} || true", 40) or [""])[-1]

    def start(self, program):
        """Starts a program in the background; its output comes line by line through self.output. Its process id there."""
        return int(self.done(f"{program} >/dev/ttyS2 2>&1 & echo $!")[-1])

    # ---- devices

    def serial_adapter(self, name, serial=None, port=None):
        return SerialAdapter(self, name, serial, port)

    def keyboard(self, name, serial=None, port=None, display=None):
        return Keyboard(self, name, serial, port, display)


def _text(path):
    try:
        with open(path, errors="replace") as file:
            return file.read()
    except OSError:
        return ""


class Device:
    """Something on the bus. port: "1", "2", ... or "8.3" behind the hub."""

    def __init__(self, machine, name, driver, properties):
        self.machine, self.name = machine, name
        self.properties = {"driver": driver, "id": name, "bus": "usb.0",
                           **{key: value for key, value in properties.items() if value is not None}}

    def plug(self):
        self.machine.qmp("device_add", **self.properties)

    def unplug(self):
        """Pulls the device and waits until QEMU has let go of its name, so that it may be used again."""
        self.machine.qmp("device_del", id=self.name)
        self.machine.wait_event("DEVICE_DELETED", self.name)


class SerialAdapter(Device):
    """A USB serial adapter, on the bus while its cable is connected. Two may have one serial number; plug one of them."""

    def __init__(self, machine, name, serial, port):
        super().__init__(machine, name, "usb-serial", {"chardev": name + "-cable", "serial": serial, "port": port})
        self.path, self.cable = os.path.join(machine.folder, name), None
        machine.qmp("chardev-add", id=name + "-cable", backend={"type": "socket", "data": {
            "addr": {"type": "unix", "data": {"path": self.path}}, "server": True, "wait": False}})
        super().plug()                                  # known to QEMU, but on the bus only when the cable is connected

    def plug(self):
        self.cable = socket.socket(socket.AF_UNIX)
        self.cable.connect(self.path)
        threading.Thread(target=self._drain, args=(self.cable,), daemon=True).start()

    @staticmethod
    def _drain(cable):
        try:
            while cable.recv(65536):
                pass
        except OSError:
            pass

    def unplug(self):
        if self.cable is None:
            return
        try:
            self.cable.shutdown(socket.SHUT_RDWR)       # close alone would wait for the thread that reads
        except OSError:
            pass
        self.cable.close()
        self.cable = None

    def remove(self):
        """Forgets the adapter, so that its name or its port may be given to another."""
        self.unplug()
        super().unplug()
        self.machine.qmp("chardev-remove", id=self.name + "-cable")

    def send(self, data):
        self.cable.sendall(data)


class Keyboard(Device):
    """A USB keyboard. display: the graphics device that it belongs to; needed to type on a chosen one of several."""

    names = {**{c: c for c in "0123456789abcdefghijklmnopqrstuvwxyz"}, ".": "dot", "-": "minus", " ": "spc", "\n": "ret",
             ",": "comma"}

    def __init__(self, machine, name, serial, port, display):
        super().__init__(machine, name, "usb-kbd", {"serial": serial, "port": port, "display": display})
        self.display = display

    def type(self, text, pause=0.03):
        """Presses and releases each key. A dropped release would leave its key down: hence the pause (s)."""
        for character in text:
            for down in (True, False):
                event = {"type": "key", "data": {"down": down, "key": {"type": "qcode", "data": self.names[character]}}}
                self.machine.qmp("input-send-event", events=[event],
                                 **({"device": self.display} if self.display else {}))
            time.sleep(pause)
