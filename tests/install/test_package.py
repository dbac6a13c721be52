"""The Debian package in a clean root: made, looked over, installed, used, upgraded, purged; its record survives. Invented data.

The clean root is Debian 12's smallest (debootstrap, minbase) with what the package depends on, kept as a tar in the build
folder. Where mounting is forbidden, a tool is absent or no mirror answers, the tests are skipped and say which.
"""
import hashlib
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "end_to_end"))
from starting import free_port  # noqa: E402
from starting import Daemon as OutsideDaemon  # noqa: E402
from terminals import Terminal  # noqa: E402

BIN = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build" / "release" / "bin"))
BUILD = BIN.parent
MIRROR = "http://deb.debian.org/debian"
GAUGE = """
[[gauge]]
id = "adapter-1"
name = "micrometer"
kind = "outside-micrometer"
bench = "bench-1"
port = "adapter-1"
unit = "mm"
range_lower = "25"
range_upper = "50"
resolution = "0.001"
reads = "size"
speaks = "pushed"
"""


def run(*command, check=True, seconds=120, **named):
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, timeout=seconds, stdin=subprocess.DEVNULL, **named)
    if check and done.returncode != 0:
        raise AssertionError(f"{command}: exit status {done.returncode}\n{done.stdout[-4000:]}{done.stderr[-4000:]}")
    return done


def absent(*tools):
    return next((tool for tool in tools if shutil.which(tool) is None), None)


def make_package(folder):
    run("cpack", "-G", "DEB", "-B", folder, cwd=BUILD)
    found = list(Path(folder).glob("tallystick_*.deb"))
    assert len(found) == 1, found
    return found[0]


@unittest.skipIf(absent("cpack", "dpkg-shlibdeps", "dpkg-deb"), f"{absent('cpack', 'dpkg-shlibdeps', 'dpkg-deb')} is not installed")
@unittest.skipUnless((BUILD / "CPackConfig.cmake").exists(), "the build folder cannot make a package")
class Package(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.temporary = tempfile.TemporaryDirectory(prefix="tallystick-package-")
        cls.folder = Path(cls.temporary.name)
        cls.package = make_package(cls.folder)

    @classmethod
    def tearDownClass(cls):
        cls.temporary.cleanup()


class Made(Package):
    def test_it_holds_what_a_service_needs_and_nothing_below_etc_or_var(self):
        files = [line.split()[-1].lstrip(".") for line in run("dpkg-deb", "-c", self.package).stdout.splitlines()]
        for wanted in ("/usr/bin/tallystickd", "/usr/bin/tallystick", "/usr/lib/systemd/system/tallystick.service",
                       "/usr/lib/sysusers.d/tallystick.conf", "/usr/lib/tmpfiles.d/tallystick.conf", "/usr/lib/udev/rules.d/70-tallystick.rules",
                       "/usr/share/tallystick/dialects/push-line.dialect.toml", "/usr/share/doc/tallystick/copyright",
                       "/usr/share/man/man1/tallystick.1.gz", "/usr/share/man/man5/tallystick.toml.5.gz", "/usr/share/man/man8/tallystickd.8.gz",
                       "/usr/share/bash-completion/completions/tallystick",
                       "/usr/share/doc/tallystick/examples/tallystick.toml"):
            self.assertIn(wanted, files)
        self.assertEqual([file for file in files if not file.startswith("/usr/")], [])
        for line in run("dpkg-deb", "-c", self.package).stdout.splitlines():
            self.assertRegex(line, r"^[-dl]\S+ root/root ")
            self.assertNotRegex(line, r"^-.......w")   # nobody else may write it

    def test_what_it_depends_on_is_what_the_programs_are_linked_to(self):
        depends = run("dpkg-deb", "-f", self.package, "Depends").stdout
        for library in ("libsqlite3-0", "libserialport0", "libssl3", "libc6", "libstdc++6"):
            self.assertRegex(depends, rf"(^|, ){re.escape(library)}\b")
        self.assertRegex(depends, r"(^|, )systemd\b")   # its user and folders are made by systemd's own tools

    @unittest.skipIf(absent("lintian"), "lintian is not installed")
    def test_lintian_finds_nothing_and_nothing_is_overridden(self):
        done = run("lintian", "--allow-root", "--show-overrides", "--fail-on", "none", self.package)
        found = [line for line in done.stdout.splitlines() if line[:2] in ("E:", "W:", "O:")]
        self.assertEqual(found, [], done.stdout)


class CleanRoot:
    """A root of its own, gone afterwards. Commands run in it with /proc and the machine's network and pseudo-terminals."""

    def __init__(self, base):
        self.temporary = tempfile.mkdtemp(prefix="tallystick-root-")
        self.path = Path(self.temporary)
        run("tar", "-C", self.path, "-xf", base)

    def close(self):
        shutil.rmtree(self.path)

    def inside(self, *command):
        """Words of a command that runs these words inside. Its mounts and processes end with it."""
        mounts = f"mount -t proc proc '{self.path}/proc' && mount --bind /dev/pts '{self.path}/dev/pts'"
        return ["unshare", "--mount", "--pid", "--fork", "--kill-child", "sh", "-c", f"{mounts} && exec chroot '{self.path}' \"$@\"", "sh",
                "env", "-i", "PATH=/usr/sbin:/usr/bin:/sbin:/bin", "HOME=/root", "DEBIAN_FRONTEND=noninteractive", "LC_ALL=C.UTF-8",
                *map(str, command)]

    def run(self, *command, check=True):
        return run(*self.inside(*command), check=check)

    def as_service(self, *command):
        """As the unit starts it: its user, its folders. (The sandbox is systemd's, and not here.)"""
        return self.inside("setpriv", "--reuid=tallystick", "--regid=tallystick", "--init-groups", "env",
                           "STATE_DIRECTORY=/var/lib/tallystick", "RUNTIME_DIRECTORY=/run/tallystick", *command)


def clean_base(package):
    """The tar of a clean root with the package's dependencies; made where it is not there yet."""
    if os.geteuid() != 0:
        raise unittest.SkipTest("a clean root takes root's rights")
    if missing := absent("debootstrap", "unshare", "tar", "setpriv"):
        raise unittest.SkipTest(f"{missing} is not installed")
    if run("unshare", "--mount", "--pid", "--fork", "sh", "-c", "mount -t tmpfs none /mnt", check=False).returncode != 0:
        raise unittest.SkipTest("mounting is forbidden here")
    depends = run("dpkg-deb", "-f", package, "Depends").stdout.strip()
    kept = BUILD / "clean-root" / (hashlib.sha256(depends.encode()).hexdigest()[:16] + ".tar")
    if kept.exists():
        return kept
    kept.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="tallystick-base-") as folder:
        base = Path(folder) / "root"
        made = run("debootstrap", "--variant=minbase", "bookworm", base, MIRROR, check=False, seconds=600)
        if made.returncode != 0:
            raise unittest.SkipTest(f"no clean root could be had from {MIRROR}: {(made.stdout + made.stderr).splitlines()[-1]}")
        shutil.copy("/etc/resolv.conf", base / "etc" / "resolv.conf")
        got = run("unshare", "--mount", "sh", "-c", f"mount -t proc proc '{base}/proc' && chroot '{base}' apt-get satisfy -y -q "
                  f"--no-install-recommends '{depends}' && chroot '{base}' apt-get clean", check=False, seconds=600)
        if got.returncode != 0:
            raise unittest.SkipTest(f"the dependencies could not be had from {MIRROR}: {(got.stdout + got.stderr).splitlines()[-1]}")
        beside = kept.with_suffix(".new")
        run("tar", "-C", base, "--exclude=./proc/*", "-cf", beside, ".")
        beside.rename(kept)
    return kept


class Daemon(OutsideDaemon):
    """The installed daemon, started as its unit starts it."""

    def __init__(self, root, port):
        super().__init__("/etc/tallystick", port=port, before=root.as_service(), program="/usr/bin/tallystickd")

    def end(self):
        """The process that was started is only the one that waits for the daemon; the daemon itself is asked to end."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        for child in children:
            os.kill(int(child), 15)
        return self.process.wait(timeout=20)


class InACleanRoot(Package):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        try:
            cls.base = clean_base(cls.package)
        except BaseException:
            cls.temporary.cleanup()
            raise

    def setUp(self):
        self.root = CleanRoot(self.base)
        self.addCleanup(self.root.close)
        self.port = free_port()

    def put_in(self, package):
        shutil.copy(package, self.root.path / "tmp" / package.name)
        return f"/tmp/{package.name}"

    def newer(self):
        """The same package, called 0.1.0+1."""
        folder = self.folder / "newer"
        shutil.rmtree(folder, ignore_errors=True)
        run("dpkg-deb", "-R", self.package, folder)
        control = folder / "DEBIAN" / "control"
        text, count = re.subn(r"(?m)^Version: (\S+)$", r"Version: \1+1", control.read_text())
        self.assertEqual(count, 1)
        control.write_text(text)
        out = self.folder / "tallystick_newer.deb"
        run("dpkg-deb", "--root-owner-group", "-b", folder, out)
        return out

    def status_of(self, path):
        found = (self.root.path / path.lstrip("/")).stat()
        names = dict(line.split(":")[0:3:2] for line in (self.root.path / "etc/passwd").read_text().splitlines())
        groups = dict(line.split(":")[0:3:2] for line in (self.root.path / "etc/group").read_text().splitlines())
        user = next(name for name, number in names.items() if int(number) == found.st_uid)
        group = next(name for name, number in groups.items() if int(number) == found.st_gid)
        return f"{found.st_mode & 0o7777:o} {user}:{group}"

    def test_installed_used_upgraded_purged_and_its_record_survives(self):
        root = self.root
        root.run("dpkg", "-i", self.put_in(self.package))
        self.assertEqual(self.status_of("/etc/tallystick"), "1770 root:tallystick")
        self.assertEqual(self.status_of("/var/lib/tallystick"), "750 tallystick:tallystick")
        self.assertIn("tallystick", root.run("id", "-nG", "tallystick").stdout.split())
        self.assertIn("dialout", root.run("id", "-nG", "tallystick").stdout.split())
        enabled = root.path / "etc/systemd/system/multi-user.target.wants/tallystick.service"
        self.assertTrue(enabled.is_symlink())
        run_folder = root.path / "run" / "tallystick"      # the service manager's work
        run_folder.mkdir()
        numbers = root.run("id", "-u", "tallystick").stdout, root.run("id", "-g", "tallystick").stdout
        os.chown(run_folder, int(numbers[0]), int(numbers[1]))

        # The first start: the setup writes as the service's user; a gauge is added; a reload through the service's socket.
        line = Terminal(str(self.folder / "line"))
        line.plug()
        self.addCleanup(line.unplug)
        node = os.readlink(line.link)
        with Daemon(root, self.port) as daemon:
            status, answer = daemon.request("POST", "/api/v1/setup", {
                "shop": "Example shop (invented data)", "bench": "bench 1", "person": "J. Okoro", "write": True,
                "ports": [{"id": "adapter-1", "path": node, "dialect": "push-line"}]})
            self.assertEqual(status, 200, answer)
            self.assertIn('data = "/var/lib/tallystick/data"', answer["text"])
            self.assertIn('dialect_folders = ["/usr/share/tallystick/dialects"]', answer["text"])
            daemon.wait_for_address(2)
            self.assertEqual(self.status_of("/etc/tallystick/tallystick.toml"), "640 tallystick:tallystick")
            config = root.path / "etc/tallystick/tallystick.toml"
            config.write_text(config.read_text() + GAUGE, encoding="utf-8")
            self.assertIn("gauge adapter-1: added", root.run("tallystick", "reload").stdout)
            self.assertEqual(self.status_of("/run/tallystick/tallystick.sock"), "660 tallystick:tallystick")
            daemon.request("POST", "/api/v1/benches/bench-1/commands", {"kind": "state_person", "person": "J. Okoro"})
            self.assertEqual(daemon.get("/api/v1/benches/bench-1")["person"], "J. Okoro")
            root.run("tallystick", "backup", "--config", "/etc/tallystick", "/var/lib/tallystick/noon.sqlite3")
            daemon.end()
        root.run("tallystick", "verify", "--config", "/etc/tallystick")
        journal = root.path / "var/lib/tallystick/data/journal.sqlite3"
        kept = self.events()
        self.assertIn("state_person", [kind for kind, _ in kept])

        # An upgrade leaves record, configuration and the administrator's word alone.
        enabled.unlink()
        root.run("dpkg", "-i", self.put_in(self.newer()))
        self.assertFalse(enabled.is_symlink())
        self.assertEqual(self.events(), kept)
        with Daemon(root, self.port) as daemon:
            self.assertEqual(daemon.get("/api/v1/benches/bench-1")["person"], "J. Okoro")
            daemon.end()
        kept = self.events()

        # Purged: every file of the package is gone; record and configuration are not, and that is said.
        before = hashlib.sha256(journal.read_bytes()).hexdigest()
        told = root.run("dpkg", "--purge", "tallystick")
        self.assertIn("the record stays in /var/lib/tallystick", told.stdout + told.stderr)
        self.assertEqual(hashlib.sha256(journal.read_bytes()).hexdigest(), before)
        self.assertTrue((root.path / "etc/tallystick/tallystick.toml").exists())
        left = root.run("find", "/usr", "/etc/systemd", "/lib/systemd", "/var/lib/systemd", "-name", "*tallystick*").stdout
        self.assertEqual(left, "")

        # Installed again, it goes on in the same journal.
        root.run("dpkg", "-i", self.put_in(self.package))
        with Daemon(root, self.port) as daemon:
            self.assertEqual(daemon.get("/api/v1/health")["branched"], False)
            daemon.end()
        self.assertEqual(self.events()[:len(kept)], kept)

        # The disk is replaced: the backup becomes the record, in a branch of its own.
        noon = self.folder / "noon.sqlite3"
        shutil.copy(root.path / "var/lib/tallystick/noon.sqlite3", noon)
        shutil.rmtree(root.path / "var/lib/tallystick")
        root.run("systemd-tmpfiles", "--create", "tallystick.conf")
        shutil.copy(noon, root.path / "tmp/noon.sqlite3")
        (root.path / "tmp/noon.sqlite3").chmod(0o644)
        run(*root.as_service("tallystick", "restore", "/tmp/noon.sqlite3", "--config", "/etc/tallystick", "--person", "J. Okoro",
                             "--reason", "disk replaced"))
        with Daemon(root, self.port) as daemon:
            health = daemon.get("/api/v1/health")
            self.assertEqual(health["branched"], True)
            self.assertEqual(daemon.get("/api/v1/benches/bench-1")["person"], "J. Okoro")
            daemon.end()
        root.run("tallystick", "verify", "--config", "/etc/tallystick")

    def events(self):
        """[(kind, hash)] of the record, read by the outsider's verifier's means: SQLite alone."""
        connection = sqlite3.connect(f"file:{self.root.path}/var/lib/tallystick/data/journal.sqlite3?mode=ro", uri=True)
        try:
            return [(kind, bytes(digest)) for kind, digest in connection.execute("SELECT kind, hash FROM entry ORDER BY branch, seq")]
        finally:
            connection.close()


if __name__ == "__main__":
    unittest.main()
