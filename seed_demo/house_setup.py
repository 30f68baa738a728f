"""What both commands do first, with nothing but Python: a virtual environment of the project's own, kept up to date."""

from __future__ import annotations  # so that an old Python reaches the sentence that says so

import hashlib
import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

HOUSE = Path(__file__).resolve().parents[1]
ENVIRONMENT = HOUSE / ".venv"
OLDEST_PYTHON = (3, 11)


class SetupError(Exception):
    """The environment cannot be made; the message says what would mend it."""


def ensure_venv(extras: Sequence[str]) -> Path:
    """Make or update `.venv` with the project and these extras in it; return its Python. Quick when nothing changed."""
    if sys.version_info < OLDEST_PYTHON:
        wanted = ".".join(map(str, OLDEST_PYTHON))
        raise SetupError(f"This is Python {sys.version.split()[0]}; Pullbook needs {wanted} or newer.")
    python = _environment_python()
    wanted_extras = sorted(set(extras) | set(_noted().get("extras", [])))
    note = {"extras": wanted_extras, "project": _digest_of_project()}
    if _noted() == note:
        return python
    print(f"Setting up {ENVIRONMENT} (once; some minutes on a slow line) …", flush=True)
    _install(python, wanted_extras)
    _note_path().write_text(json.dumps(note))
    return python


def _environment_python() -> Path:
    """The environment's Python, made if it is missing or was carried here from another folder."""
    python = ENVIRONMENT / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    if python.exists() and subprocess.run([python, "-m", "pip", "--version"], capture_output=True).returncode == 0:
        return python
    try:
        import venv  # noqa: PLC0415 - some systems ship Python without it

        venv.create(ENVIRONMENT, with_pip=True, clear=True, symlinks=sys.platform != "win32")
    except (ImportError, subprocess.CalledProcessError, OSError) as error:
        raise SetupError(
            f"Python could not make a virtual environment in {ENVIRONMENT} ({error}).\n"
            "On Debian and Ubuntu this mends it: sudo apt-get install python3-venv"
        ) from error
    return python


def _install(python: Path, extras: Sequence[str]) -> None:
    project = f"{HOUSE}[{','.join(extras)}]" if extras else str(HOUSE)
    command = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--editable", project]
    done = subprocess.run(command, cwd=HOUSE, stderr=subprocess.PIPE, text=True, errors="replace")
    if done.returncode != 0:
        said = ENVIRONMENT / "pip-said.txt"
        said.write_text(done.stderr, encoding="utf-8")
        raise SetupError(f"{_why(done.stderr)}\nAll that pip said is in {said}. By hand: {' '.join(command)}")


def _why(said: str) -> str:
    """What pip's many lines come to."""
    if "connection broken" in said or "name resolution" in said or "getaddrinfo" in said:
        return (
            "pip reached no package index: this first set-up needs the network, or a local index that pip is told of."
        )
    errors = [line.strip() for line in said.splitlines() if "ERROR" in line]
    return f"pip could not install what Pullbook needs. {errors[-1] if errors else said.strip()[-200:]}"


def _note_path() -> Path:
    return ENVIRONMENT / "pullbook-installed.json"


def _noted() -> dict[str, Any]:
    """What was installed last time; empty when that is not known."""
    try:
        noted = json.loads(_note_path().read_text())
    except (OSError, ValueError):
        return {}
    return noted if isinstance(noted, dict) else {}


def _digest_of_project() -> str:
    """Changes when what must be installed does, or when the folder was moved."""
    text = f"{HOUSE}\n{sys.version}\n".encode() + (HOUSE / "pyproject.toml").read_bytes()
    return hashlib.sha256(text).hexdigest()
