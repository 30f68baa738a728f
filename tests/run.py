"""Every test there is, on a machine with nothing but Python: `python3 tests/run.py [what pytest should be told]`.

Sets itself up, finds or installs a browser, then runs ruff, mypy and pytest. `--bench` prints the bench table instead.
"""

from __future__ import annotations  # so that an old Python reaches the sentence that says so

import os
import shutil
import subprocess
import sys
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(HOUSE))

from seed_demo.house_setup import SetupError, ensure_venv  # noqa: E402 - the house must be on the path first

EXTRAS = ("tests", "postgres", "demo")
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
INSTALLERS = {
    "apt-get": [["apt-get", "update"], ["apt-get", "install", "--yes", "--no-install-recommends", "chromium"]],
    "dnf": [["dnf", "install", "--assumeyes", "chromium"]],
    "apk": [["apk", "add", "chromium"]],
    "pacman": [["pacman", "--sync", "--refresh", "--noconfirm", "chromium"]],
    "zypper": [["zypper", "--non-interactive", "install", "chromium"]],
}


def main(arguments: list[str]) -> int:
    """Set up, check, test. 0 when all of it is well."""
    python = ensure_venv(EXTRAS)
    os.environ["CHROMIUM"] = _browser(python)
    if "--bench" in arguments:
        rest = [word for word in arguments if word != "--bench"]
        return _run("bench", [python, "-m", "tests.bench.table", *rest])
    lint = [
        _run("ruff", [python, "-m", "ruff", "check", "."]),
        _run("mypy", [python, "-m", "mypy"]),
    ]
    tests = _run("pytest", [python, "-m", "pytest", *arguments])
    if any(lint):
        print("ruff or mypy found something: see above pytest's part.", flush=True)
    return tests or max(lint)


def _run(name: str, command: list[str | Path]) -> int:
    print(f"── {name}", flush=True)
    return subprocess.run(command, cwd=HOUSE).returncode


def _browser(python: Path) -> str:
    """A Chromium to test pages in: named by CHROMIUM, on the path, Playwright's own, or installed now."""
    found = _browser_here(python)
    if found:
        return found
    tool = next((tool for tool in INSTALLERS if shutil.which(tool)), None)
    may_install = hasattr(os, "geteuid") and os.geteuid() == 0
    if tool and may_install:
        print(f"No Chromium here; installing it with {tool} …", flush=True)
        for command in INSTALLERS[tool]:
            subprocess.run(command, stdout=subprocess.DEVNULL)
        found = _browser_here(python)
        if found:
            return found
    mend = f"sudo {' '.join(INSTALLERS[tool][-1])}" if tool else f"{python} -m playwright install chromium"
    raise SetupError(f"The browser tests need Chromium, and there is none here. This mends it: {mend}")


def _browser_here(python: Path) -> str | None:
    named = os.environ.get("CHROMIUM")
    if named:
        if not Path(named).is_file():
            raise SetupError(f"CHROMIUM names {named}, and there is no such file. This mends it: unset CHROMIUM")
        return named
    on_path = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if on_path:
        return on_path
    script = "from playwright.sync_api import sync_playwright as s\nwith s() as p: print(p.chromium.executable_path)"
    own = subprocess.run([python, "-c", script], capture_output=True, text=True).stdout.strip()
    return own if own and Path(own).is_file() else None


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except SetupError as problem:
        sys.exit(str(problem))
