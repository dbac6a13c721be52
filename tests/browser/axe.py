"""axe-core, a published checker of pages: fetched once by its own registry's client, into the build folder. Absent: said by name."""
import shutil
import subprocess
from pathlib import Path

from browser import BIN

VERSION = "4.10.2"
FOLDER = BIN.parent / "npm"
FILE = FOLDER / "node_modules" / "axe-core" / "axe.min.js"


def source():
    """(the script's text, None), or (None, why it is absent)."""
    if not FILE.exists():
        npm = shutil.which("npm")
        if not npm:
            return None, "axe-core: npm is not installed"
        FOLDER.mkdir(parents=True, exist_ok=True)
        try:
            done = subprocess.run([npm, "install", "--prefix", str(FOLDER), "--no-save", "--ignore-scripts", "--no-audit", "--no-fund", f"axe-core@{VERSION}"],
                                  capture_output=True, text=True, timeout=120)
        except subprocess.TimeoutExpired:
            return None, "axe-core: npm reached no registry in 120 s"
        if done.returncode or not FILE.exists():
            return None, f"axe-core {VERSION} cannot be installed: {(done.stderr or done.stdout).strip().splitlines()[-1:]}"
    return Path(FILE).read_text(encoding="utf-8"), None


def findings(page, script):
    """What axe-core finds on the page as it stands: [rule, help, elements]."""
    page.driver.execute_cdp_cmd("Runtime.evaluate", {"expression": script + "\n;0"})
    page.driver.set_script_timeout(120)
    found = page.driver.execute_async_script(
        "const done = arguments[0]; axe.run(document, { resultTypes: ['violations'] }).then((r) => done(r.violations.map((v) => [v.id, v.help, v.nodes.map((n) => n.html.slice(0, 200))])), (e) => done([['broken', String(e), []]]))")
    return found
