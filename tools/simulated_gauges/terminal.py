"""A pseudo-terminal that stands for a port, with a link of a stable name to its other end."""
import errno
import fcntl
import os
import struct
import tty

# From the kernel's asm-generic/ioctls.h: unlock the other end, and get its number. os.openpty would open the other end
# too; here nobody holds it but the program under test, so that its closing shows as a hang-up on our side.
_UNLOCK, _NUMBER = 0x40045431, 0x80045430


class Terminal:
    def __init__(self, folder, name):
        self.link = os.path.join(folder, name)
        self.master = -1

    @property
    def plugged(self):
        return self.master >= 0

    def plug(self):
        """A new pair of ends; the link is moved to it in one step."""
        master = os.open("/dev/ptmx", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)
        fcntl.ioctl(master, _UNLOCK, struct.pack("i", 0))
        number = struct.unpack("i", fcntl.ioctl(master, _NUMBER, bytes(4)))[0]
        tty.setraw(master)  # the kernel applies it to the other end
        fresh = self.link + ".new"
        if os.path.lexists(fresh):
            os.unlink(fresh)
        os.symlink(f"/dev/pts/{number}", fresh)
        os.replace(fresh, self.link)
        self.unplug(keep_link=True)
        self.master = master

    def unplug(self, keep_link=False):
        """Closes our end: the other sees a hang-up."""
        if self.master >= 0:
            os.close(self.master)
        self.master = -1
        if not keep_link and os.path.lexists(self.link):
            os.unlink(self.link)

    def write(self, data):
        """False where the line took less than all of it (nobody reads, its buffer is full)."""
        try:
            return os.write(self.master, data) == len(data)
        except BlockingIOError:
            return False
        except OSError as error:
            if error.errno == errno.EIO:  # nobody has the other end open
                return False
            raise

    def read(self):
        """Bytes from the program; None: it closed its end."""
        try:
            return os.read(self.master, 4096) or None
        except BlockingIOError:
            return b""
        except OSError as error:
            if error.errno == errno.EIO:
                return None
            raise
