# quick: needs no daemon
"""The house's walls: includes go one way only, and pure rooms reach neither the outside world nor a clock.

Read from the sources: every #include. Read from the build: what the pure rooms' libraries leave undefined.
"""
import os
import re
import shutil
import subprocess
import tempfile
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent

# From top to bottom; a room includes only rooms above it, and only those that CMakeLists.txt says it uses.
ROOMS = {
    "measure": "daemon/measure", "decode": "drivers/decode", "learn": "drivers/learn", "ports": "drivers/ports",
    "checklist": "daemon/checklist", "shop": "daemon/shop", "walk": "daemon/walk",
    "statistics": "daemon/statistics", "record": "daemon/record", "export": "daemon/export",
    "serve": "daemon/serve", "pages": "daemon/pages",
}
PURE = {"measure", "decode", "learn", "checklist", "shop", "walk", "statistics"}
# A room that stands by itself and is used by those named, whatever its place.
OUTSIDE_THE_ORDER = {"pages": {"serve"}}

INCLUDE = re.compile(r'^\s*#\s*include\s*([<"])([^>"]+)[>"]', re.M)
SOURCES = ("*.cpp", "*.hpp", "*.h", "*.ipp")

# Headers by which I/O, threads, clocks or chance would come in. <cstdio> may stay for std::snprintf: the names that
# do I/O are found in the libraries.
NOT_IN_PURE_ROOMS = re.compile(
    r"^(boost/(asio|beast|process|filesystem|thread|interprocess|random)\b.*"
    r"|(asio|SQLiteCpp|spdlog|fmt)\b.*|sqlite3\.h|libserialport\.h|openssl/(?!evp\.h|sha\.h).*"
    r"|unistd\.h|termios\.h|fcntl\.h|poll\.h|pty\.h|signal\.h|sys/(?!types\.h).*|linux/.*|netinet/.*|arpa/.*|netdb\.h|dirent\.h"
    r"|thread|stop_token|mutex|shared_mutex|condition_variable|future|semaphore|latch|barrier|random|fstream|filesystem"
    r"|iostream|csignal|ctime|time\.h|pthread\.h)$")
# Words by which they would come in under a permitted header. Comments and texts in quotes do not count.
NOT_WRITTEN_IN_PURE_ROOMS = re.compile(
    r"(\b\w*clock\w*::now\s*\(|::now\s*\(\s*\)|\bclock_gettime\b|\bgettimeofday\b|\bstd::time\s*\(|\brandom_device\b"
    r"|\bstd::rand\b|\bgetenv\b|\bparse_file\b)")

# Undefined names (demangled) that a pure room's library must not have.
NOT_LINKED_BY_PURE_ROOMS = re.compile(
    r"^(boost::(asio|beast)::|asio::|SQLite::|sqlite3_|sp_|spdlog::"
    r"|std::chrono::_V2::(system|steady)_clock::now|std::(thread|random_device|mutex|condition_variable|this_thread)\b"
    r"|std::basic_(i|o|)f(stream|ilebuf)<|std::filesystem::|std::c(in|out|err|log)\b"
    r"|(clock|clock_gettime|gettimeofday|time|timespec_get|localtime|localtime_r|gmtime|nanosleep|clock_nanosleep|usleep|sleep"
    r"|socket|connect|bind|listen|accept|accept4|send|sendto|sendmsg|recv|recvfrom|recvmsg|getaddrinfo"
    r"|open|open64|openat|openat64|creat|close|read|write|pread|pread64|pwrite|pwrite64|lseek|lseek64|ioctl|fcntl|fcntl64"
    r"|fopen|fopen64|fread|fwrite|fclose|fputs|puts|printf|fprintf|vfprintf|__printf_chk|__fprintf_chk|popen|system"
    r"|fork|execve|execvp|posix_spawn|kill|poll|ppoll|select|epoll_wait|epoll_create1|mmap|mmap64"
    r"|rand|srand|rand_r|random|drand48|getrandom|getentropy|arc4random|getenv|secure_getenv|pthread_create"
    r"|tcgetattr|tcsetattr|stat|stat64|fstat|fstat64|unlink|rename|mkdir|opendir|readdir)(@.*)?$)")


def without_comments(text):
    """The text with comments and the insides of quotes blanked out."""
    pattern = re.compile(r'//[^\n]*|/\*.*?\*/|R"(\w*)\(.*?\)\1"|"(?:\\.|[^"\\\n])*"' r"|'(?:\\.|[^'\\\n])+'", re.S)
    return pattern.sub(lambda m: '""' if m.group(0)[0] in "R\"'" else " ", text)


def sources(folder):
    return sorted(p for pattern in SOURCES for p in folder.rglob(pattern))


def room_of(path, root):
    """The room that a file belongs to; None for main, tools, tests and what is not ours."""
    try:
        text = path.resolve().relative_to(root.resolve()).as_posix()
    except ValueError:
        return None
    for room, folder in ROOMS.items():
        if text.startswith(folder + "/"):
            return room
    return None


def includes(path, root):
    """(how it is written, file in our tree or None) of each include; generated headers count as not ours."""
    for mark, name in INCLUDE.findall(path.read_text(encoding="utf-8")):
        beside, from_root = path.parent / name, root / name
        if mark == '"' and beside.is_file():
            yield name, beside
        else:
            yield name, from_root if from_root.is_file() else None


def declared_uses(root):
    """Room -> every room that it may include, by CMakeLists.txt; and the rooms declared pure, and their order."""
    uses, pure = {}, set()
    text = re.sub(r"#[^\n]*", "", (root / "CMakeLists.txt").read_text(encoding="utf-8"))
    for words in (m.split() for m in re.findall(r"tallystick_room\(([^)]*)\)", text)):
        room = words[0]
        if "PURE" in words:
            pure.add(room)
        direct = []
        if "USES" in words:
            for word in words[words.index("USES") + 1:]:
                if word in ("LIBRARIES", "PURE", "PATH"):
                    break
                direct.append(word)
        uses[room] = set(direct).union(*(uses.get(d, set()) for d in direct))
    return uses, pure


def wrong_includes(root):
    """Every include against the order, as sentences."""
    order, faults = list(ROOMS), []
    uses, _ = declared_uses(root)
    for room, folder in ROOMS.items():
        for path in sources(root / folder):
            for name, file in includes(path, root):
                where = f"{path.relative_to(root)} includes {name}"
                if re.match(r"(tests|tools)/|daemon/main", name):
                    faults.append(f"{where}: no room includes tests, tools or main")
                    continue
                other = room_of(file, root) if file else None
                if other is None or other == room or room in OUTSIDE_THE_ORDER.get(other, ()):
                    continue
                if order.index(other) > order.index(room):
                    faults.append(f"{where}: {other} is below {room}")
                elif room in uses and other not in uses[room]:
                    faults.append(f"{where}: CMakeLists.txt does not say that {room} uses {other}; they meet in main.cpp")
    return faults


def impure_sources(root):
    faults = []
    for room in sorted(PURE):
        for path in sources(root / ROOMS[room]):
            for name, _ in includes(path, root):
                if NOT_IN_PURE_ROOMS.match(name):
                    faults.append(f"{path.relative_to(root)} includes <{name}>, and {room} is pure")
            for found in NOT_WRITTEN_IN_PURE_ROOMS.finditer(without_comments(path.read_text(encoding="utf-8"))):
                faults.append(f"{path.relative_to(root)} says {found.group(0)!r}, and {room} is pure")
    return faults


def undefined_names(library):
    listed = subprocess.run(["nm", "-u", "-C", str(library)], capture_output=True, text=True, timeout=60, check=True)
    return sorted({line.strip().split(" ", 1)[1] for line in listed.stdout.splitlines() if re.match(r"\s+[Uw] ", line)})


def impure_names(library):
    return [name for name in undefined_names(library) if NOT_LINKED_BY_PURE_ROOMS.match(name)]


class Sources(unittest.TestCase):
    def test_no_room_includes_one_below_it(self):
        self.assertEqual(wrong_includes(ROOT), [])

    def test_pure_rooms_include_no_outside_world(self):
        self.assertEqual(impure_sources(ROOT), [])

    def test_the_build_declares_the_same_rooms(self):
        uses, pure = declared_uses(ROOT)
        self.assertEqual(list(uses), [room for room in ROOMS if room in uses], "the order of CMakeLists.txt")
        self.assertEqual(pure, PURE & set(uses))
        self.assertGreaterEqual(set(uses), {"measure", "decode", "ports", "checklist", "shop", "walk", "record"})

    def test_sources_were_found(self):
        for room in ("measure", "decode", "walk", "record"):
            self.assertGreater(len(sources(ROOT / ROOMS[room])), 2, room)
        self.assertGreater(sum(1 for p in sources(ROOT / "daemon/measure") for _, f in includes(p, ROOT) if f), 10)


class Libraries(unittest.TestCase):
    def test_pure_rooms_link_no_outside_world(self):
        if "TALLYSTICK_BIN" not in os.environ:
            self.skipTest("TALLYSTICK_BIN is not set: no build to look at")
        build = Path(os.environ["TALLYSTICK_BIN"]).parent
        _, pure = declared_uses(ROOT)
        for room in sorted(pure):
            with self.subTest(room):
                library = build / f"libtallystick_{room}.a"
                self.assertTrue(library.is_file(), f"{library} is not built")
                self.assertEqual(impure_names(library), [])
                self.assertGreater(len(undefined_names(library)), 5, "nm saw nothing")


class TheTestCanFail(unittest.TestCase):
    """Each rule against a small tree that breaks it."""

    def setUp(self):
        self.root = Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.root)
        self.write("CMakeLists.txt", "tallystick_room(measure PATH daemon/measure PURE)\n"
                   "tallystick_room(ports PATH drivers/ports USES measure LIBRARIES x)\n"
                   "tallystick_room(walk PATH daemon/walk PURE USES measure) # not ports\n"
                   "tallystick_room(record PATH daemon/record USES walk)\n")
        self.write("daemon/measure/quantity.hpp", "#pragma once\n#include <string>\n")
        self.write("daemon/walk/state.hpp", '#include "daemon/measure/quantity.hpp"\n')
        self.write("daemon/record/journal.hpp", '#include <sqlite3.h>\n#include "daemon/walk/state.hpp"\n')
        self.write("drivers/ports/serial.hpp", "#include <termios.h>\n")

    def write(self, name, text):
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)

    def test_a_sound_tree_passes(self):
        self.write("daemon/walk/comment.cpp", '// steady_clock::now() is not called\nauto t = "clock_gettime";\n')
        self.write("daemon/main.cpp", '#include "drivers/ports/serial.hpp"\n#include "daemon/record/journal.hpp"\n')
        self.assertEqual(wrong_includes(self.root), [])
        self.assertEqual(impure_sources(self.root), [])

    def test_an_include_of_a_room_below(self):
        self.write("daemon/measure/bad.cpp", '#include "daemon/walk/state.hpp"\n')
        self.assertEqual(len(wrong_includes(self.root)), 1)

    def test_the_same_by_a_relative_path(self):
        self.write("daemon/measure/bad.cpp", '#  include "../walk/state.hpp"\n')
        self.assertEqual(len(wrong_includes(self.root)), 1)

    def test_rooms_that_meet_only_in_main(self):
        self.write("daemon/record/bad.cpp", '#include "drivers/ports/serial.hpp"\n')
        self.assertIn("meet in main.cpp", wrong_includes(self.root)[0])

    def test_an_include_of_tools_or_main(self):
        self.write("daemon/record/bad.cpp", '#include "tools/cli/commands.hpp"\n#include "daemon/main.hpp"\n')
        self.assertEqual(len(wrong_includes(self.root)), 2)

    def test_headers_of_the_outside_world_in_a_pure_room(self):
        for header in ("boost/asio.hpp", "boost/asio/io_context.hpp", "asio.hpp", "sqlite3.h", "SQLiteCpp/SQLiteCpp.h",
                       "unistd.h", "termios.h", "thread", "random", "fstream", "sys/socket.h", "spdlog/spdlog.h"):
            with self.subTest(header):
                self.write("daemon/walk/bad.cpp", f"#include <{header}>\n")
                self.assertEqual(len(impure_sources(self.root)), 1)
                self.write("daemon/walk/bad.cpp", f'#include "{header}"\n')
                self.assertEqual(len(impure_sources(self.root)), 1)

    def test_a_clock_or_chance_in_a_pure_room(self):
        for code in ("auto t = std::chrono::steady_clock::now();", "auto t = Clock::now ();", "std::random_device d;",
                     "clock_gettime(0, &t);", "toml::parse_file(name);"):
            with self.subTest(code):
                self.write("daemon/walk/bad.cpp", code + "\n")
                self.assertEqual(len(impure_sources(self.root)), 1)

    def test_undefined_names_in_a_library(self):
        compiler = shutil.which("g++")
        if compiler is None or shutil.which("ar") is None:
            self.skipTest("g++ or ar is not installed")
        self.write("bad.cpp", "#include <chrono>\n#include <fstream>\n#include <unistd.h>\n"
                   "extern \"C\" int sqlite3_open(const char*, void**);\n"
                   "namespace boost::asio { void run(); }\n"
                   "long f() { std::ofstream o(\"x\"); char c; boost::asio::run(); return sqlite3_open(\"\", nullptr)"
                   " + read(0, &c, 1) + std::chrono::system_clock::now().time_since_epoch().count(); }\n")
        subprocess.run([compiler, "-std=c++20", "-c", "bad.cpp", "-o", "bad.o"], cwd=self.root, check=True, timeout=120)
        subprocess.run(["ar", "rc", "libbad.a", "bad.o"], cwd=self.root, check=True, timeout=60)
        found = " ".join(impure_names(self.root / "libbad.a"))
        for name in ("sqlite3_open", "boost::asio::run", "read", "system_clock::now", "std::basic_ofstream"):
            self.assertIn(name, found)


if __name__ == "__main__":
    unittest.main()
