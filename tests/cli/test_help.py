"""What the program tells about itself: man pages, completions in the real shells, exit codes, did you mean.

Man pages are held against groff (man --warnings) and mandoc -Tlint; the macros are those of man(7).
"""
# quick: needs no daemon
import os
import pty
import re
import select
import shutil
import subprocess
import tempfile
import time
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BIN = Path(os.environ.get("TALLYSTICK_BIN", ROOT / "build" / "release" / "bin"))
TOOL = BIN / "tallystick"


def tool(*arguments):
    return subprocess.run([TOOL, *arguments], capture_output=True, text=True, timeout=30)


def commands(path=()):
    """Every command that --help shows, as tuples of words, from the help texts themselves."""
    out = tool(*path, "--help").stdout
    found = []
    if "Subcommands:" in out:
        for name in re.findall(r"^  ([a-z][a-z-]*) ", out.split("Subcommands:")[1], re.M):
            found.append((*path, name))
            if name != "simulate":
                found += commands((*path, name))
    return found


class Man(unittest.TestCase):
    PAGES = {"1": "tallystick.1", "5": "tallystick.toml.5", "8": "tallystickd.8"}

    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)
        self.files = {}
        for section, name in self.PAGES.items():
            done = tool("help", "--man", section)
            self.assertEqual(done.returncode, 0)
            self.files[section] = Path(self.folder.name) / name
            self.files[section].write_text(done.stdout, encoding="utf-8")

    def shown(self, section):
        done = subprocess.run(["man", "-l", "--warnings", str(self.files[section])], capture_output=True, text=True, timeout=30,
                              env={**os.environ, "MANWIDTH": "100", "LC_ALL": "C.UTF-8", "MAN_KEEP_FORMATTING": ""})
        return done.stdout, done.stderr

    @unittest.skipUnless(shutil.which("man"), "man is absent")
    def test_man_shows_them_without_a_warning(self):
        for section in self.PAGES:
            out, err = self.shown(section)
            self.assertEqual(err, "")
            self.assertGreater(len(out.splitlines()), 20)

    @unittest.skipUnless(shutil.which("mandoc"), "mandoc is absent")
    def test_mandoc_finds_nothing(self):
        for section, file in self.files.items():
            done = subprocess.run(["mandoc", "-Tlint", "-Wwarning", file], capture_output=True, text=True, timeout=30)
            self.assertEqual((done.stdout, done.returncode), ("", 0))

    def test_every_command_and_option_stands_in_it(self):
        text = self.files["1"].read_text(encoding="utf-8").replace("\\-", "-")
        names = commands()
        self.assertGreater(len(names), 20)
        for words in names:
            out = tool(*words, "--help").stdout if words[0] != "simulate" else ""
            if "Subcommands:" not in out:
                self.assertIn(f'.SS "tallystick {" ".join(words)}"', text)
            for option in re.findall(r"^ +(?:-[a-z],)?(--[a-z-]+)", out, re.M):
                self.assertIn(option, text)

    def test_every_key_of_the_example_stands_in_section_5(self):
        text = self.files["5"].read_text(encoding="utf-8").replace("\\-", "-")
        keys = re.findall(r"^(?:# )?([a-z_]+) = ", (ROOT / "config" / "tallystick.toml").read_text(encoding="utf-8"), re.M)
        self.assertGreater(len(keys), 40)
        for key in keys:
            self.assertIn(f"\\fB{key} = ", text)

    def test_the_daemons_page_has_its_own_options(self):
        text = self.files["8"].read_text(encoding="utf-8").replace("\\-", "-")
        out = subprocess.run([BIN / "tallystickd", "--help"], capture_output=True, text=True, timeout=30).stdout
        options = re.findall(r"^ +(?:-[a-z],)?(--[a-z-]+)", out, re.M)
        self.assertGreaterEqual(len(options), 4)
        for option in options:
            self.assertIn(option, text)


class Completion(unittest.TestCase):
    CASES = [("tallystick exp", "export"), ("tallystick checklist add", "add-size"), ("tallystick export --format js", "jsonl"),
             ("tallystick verify --si", "--since"), ("tallystick act bench-1 not", "not_good")]

    def script(self, shell):
        done = tool("help", "--completion", shell)
        self.assertEqual(done.returncode, 0)
        file = tempfile.NamedTemporaryFile("w", suffix="." + shell)
        file.write(done.stdout)
        file.flush()
        self.addCleanup(file.close)
        return file.name

    @unittest.skipUnless(shutil.which("bash"), "bash is absent")
    def test_bash(self):
        script = self.script("bash")
        for line, wanted in self.CASES:
            words = line.split(" ")
            ask = (f"source {script}; COMP_WORDS=({' '.join(words)}); COMP_CWORD={len(words) - 1}; _tallystick; "
                   "printf '%s\\n' \"${COMPREPLY[@]}\"; complete -p tallystick")
            done = subprocess.run(["bash", "--norc", "-c", ask], capture_output=True, text=True, timeout=30)
            self.assertEqual(done.stderr, "")
            self.assertEqual(done.stdout.splitlines()[:-1], [wanted], line)

    @unittest.skipUnless(shutil.which("fish"), "fish is absent")
    def test_fish(self):
        script = self.script("fish")
        with tempfile.TemporaryDirectory() as home:
            for line, wanted in self.CASES:
                done = subprocess.run(["fish", "--no-config", "-c", f"source {script}; complete -C '{line}'"], capture_output=True,
                                      text=True, timeout=30, env={**os.environ, "HOME": home})
                self.assertEqual(done.stderr, "")
                self.assertEqual([row.split("\t")[0] for row in done.stdout.splitlines()], [wanted], line)

    @unittest.skipUnless(shutil.which("zsh"), "zsh is absent")
    def test_zsh(self):
        """A real line editor on a pseudo-terminal: what Tab makes of the line."""
        with tempfile.TemporaryDirectory() as home:
            shutil.copy(self.script("zsh"), Path(home) / "_tallystick")
            for line, wanted in self.CASES:
                self.assertIn(line.rsplit(" ", 1)[0] + " " + wanted, self.tab(home, line), line)

    def tab(self, home, line):
        child, terminal = pty.fork()
        if child == 0:
            os.environ.update(HOME=home, TERM="dumb", PS1="> ")
            os.execvp("zsh", ["zsh", "-f", "-i"])
        seen = ""

        def read_until(mark, seconds=20):
            nonlocal seen
            end = time.monotonic() + seconds
            while mark not in seen and time.monotonic() < end:
                if select.select([terminal], [], [], 0.2)[0]:
                    try:
                        seen += os.read(terminal, 65536).decode("utf-8", "replace")
                    except OSError:
                        break
        try:
            os.write(terminal, f"fpath=({home} $fpath); autoload -U compinit; compinit -u -D; PS1='%%'; print rea''dy\n".encode())
            read_until("ready\r\n")
            seen = ""
            os.write(terminal, (line + "\t").encode())
            wanted = next(word for written, word in self.CASES if written == line)
            read_until(line.rsplit(" ", 1)[0] + " " + wanted, 15)
            return seen
        finally:
            os.close(terminal)
            try:
                os.kill(child, 9)
            except ProcessLookupError:
                pass
            os.waitpid(child, 0)


class Words(unittest.TestCase):
    def test_did_you_mean_a_command_or_an_option(self):
        for arguments, meant in ((["bakup", "x"], "backup"), (["checklist", "add-siez"], "add-size"), (["verify", "--sicne", "x"], "--since"),
                                 (["export", "--fromat", "csv"], "--format"), (["hlep"], "help")):
            done = tool(*arguments)
            self.assertEqual(done.returncode, 2, arguments)
            self.assertIn(f'did you mean "{meant}"?', done.stderr)

    def test_nothing_is_proposed_where_nothing_is_near(self):
        done = tool("quite-something-else")
        self.assertEqual(done.returncode, 2)
        self.assertNotIn("did you mean", done.stderr)

    def test_exit_codes_and_help_of_a_command(self):
        self.assertEqual([line[0] for line in tool("help", "--exit-codes").stdout.splitlines()], ["0", "1", "2", "3"])
        self.assertIn("--dry-run", tool("help", "checklist", "add-size").stdout)
        done = tool("help", "bakup")
        self.assertEqual(done.returncode, 2)
        self.assertIn('did you mean "backup"?', done.stderr)
        for wrong in (["--man", "3"], ["--completion", "other"]):
            self.assertEqual(tool("help", *wrong).returncode, 2)


class Made(unittest.TestCase):
    def test_the_build_has_made_what_is_installed(self):
        share = BIN.parent / "share"
        if not share.is_dir():
            self.skipTest("this build has made no share folder (target tallystick_share)")
        for name, arguments in (("man/man1/tallystick.1", ("--man", "1")), ("bash-completion/completions/tallystick", ("--completion", "bash")),
                                ("zsh/vendor-completions/_tallystick", ("--completion", "zsh")),
                                ("fish/vendor_completions.d/tallystick.fish", ("--completion", "fish")),
                                ("man/man5/tallystick.toml.5", ("--man", "5")), ("man/man8/tallystickd.8", ("--man", "8"))):
            self.assertEqual((share / name).read_text(encoding="utf-8"), tool("help", *arguments).stdout, name)


if __name__ == "__main__":
    unittest.main()
