"""Every parser of bytes from outside under clang's fuzzer, two minutes each (TALLYSTICK_FUZZ_SECONDS says otherwise)."""
import os
import re
import subprocess
import unittest
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SECONDS = int(os.environ.get("TALLYSTICK_FUZZ_SECONDS", "120"))
TARGETS = {"line", "fixed", "binary", "dialect", "formula", "keys", "learn", "modbus", "replay_log", "tcp"}


class Fuzz(unittest.TestCase):
    def test_no_target_finds_anything(self):
        done = subprocess.run([ROOT / "tests/fuzz/run", "--seconds", str(SECONDS)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                              text=True)
        if done.returncode == 3:
            self.skipTest(done.stdout.strip().removeprefix("[skip] fuzz: "))
        print(done.stdout)
        self.assertEqual(done.returncode, 0, done.stdout)
        ran = {name: int(inputs) for name, inputs in re.findall(r"^fuzz (\w+): (\d+) inputs", done.stdout, re.M)}
        self.assertLessEqual(TARGETS, set(ran))
        for target, inputs in ran.items():
            with self.subTest(target=target):
                self.assertGreater(inputs, 10 * SECONDS, "so few inputs prove nothing")


if __name__ == "__main__":
    unittest.main()
