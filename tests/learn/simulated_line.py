"""A gauge at a pseudo-terminal that sends with its own speed and parity, whatever the listener has set: the bits on the wire
are worked out and read again at the listener's speed, as its receiver would. All data invented.

A pseudo-terminal has no bits: only the speed that the listener set can be seen, and it always listens at 8N1."""
import os
import termios

SPEEDS = {getattr(termios, name): int(name[1:]) for name in dir(termios) if name[0] == "B" and name[1:].isdigit()}


def levels(data, bits, parity, stops):
    """Start bit low, data bits lowest first, parity, stop bits high (from memory)."""
    out = [1] * 3
    for byte in data:
        ones = [byte >> bit & 1 for bit in range(bits)]
        even = sum(ones) % 2
        out += [0, *ones, *({"N": [], "E": [even], "O": [1 - even]}[parity]), *[1] * stops]
    return out + [1] * 40


def heard(data, sent_at, bits, parity, stops, listening_at):
    """What a receiver with 8N1 at another speed takes the line for."""
    line, step = levels(data, bits, parity, stops), 16 * max(sent_at, listening_at)
    level = lambda time: line[min(time * sent_at // step, len(line) - 1)]
    width, end, time, out = step // listening_at, len(line) * step // sent_at, 0, bytearray()
    broken = False  # the last stop bit was low: it is taken for the next start bit
    while time < end:
        while not broken and time < end and not level(time):
            time += 1
        while not broken and time < end and level(time):
            time += 1
        if time >= end:
            break
        out.append(sum(level(time + width * 3 // 2 + bit * width) << bit for bit in range(8)))
        stop_at = time + width * 3 // 2 + 8 * width
        broken = not level(stop_at)
        time = stop_at - width // 2 if broken else stop_at
    return bytes(out)


class SimulatedLine:
    """Opened by a program under test at `path`; `press` sends as the gauge would."""

    def __init__(self, speed=9600, bits=8, parity="N", stops=1):
        self.speed, self.bits, self.parity, self.stops = speed, bits, parity, stops
        self.master, slave = os.openpty()
        attributes = termios.tcgetattr(slave)
        attributes[3] &= ~(termios.ECHO | termios.ICANON)
        termios.tcsetattr(slave, termios.TCSANOW, attributes)
        os.set_blocking(self.master, False)
        self.path = os.ttyname(slave)
        os.close(slave)  # only the program under test holds it, so that its exclusive claim ends with it

    def close(self):
        os.close(self.master)

    def listening_at(self):
        return SPEEDS[termios.tcgetattr(self.master)[4]]

    def press(self, data):
        os.write(self.master, heard(data, self.speed, self.bits, self.parity, self.stops, self.listening_at()))

    def received(self):
        """All that the program ever sent to the gauge."""
        try:
            return os.read(self.master, 4096)
        except OSError:  # nothing is there, or nobody has it open
            return b""
