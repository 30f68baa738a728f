"""The demo, on a machine with nothing but Python: `python3 seed_demo/run.py`. It sets itself up, fills itself, serves.

--port N    serve on another port of this machine     --fresh    start over
--once      fill, look at the main pages, stop        --small    a handful of tickets only
"""

from __future__ import annotations  # so that an old Python reaches the sentence that says so

import argparse
import os
import socket
import subprocess
import sys
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(HOUSE))

from seed_demo.house_setup import SetupError, ensure_venv  # noqa: E402 - the house must be on the path first

HOST = "127.0.0.1"


def asked(arguments: list[str]) -> argparse.Namespace:
    """What the command line says."""
    parser = argparse.ArgumentParser(prog="seed_demo/run.py", description="Pullbook with an invented year in it.")
    parser.add_argument("--port", type=_port, default=8420, help="port on this machine (8420)")
    parser.add_argument("--fresh", action="store_true", help="throw the last demo away and start over")
    parser.add_argument("--small", action="store_true", help="a handful of tickets only")
    parser.add_argument("--once", "--no-serve", action="store_true", help="fill it, look at the main pages, stop")
    return parser.parse_args(arguments)


def main(arguments: list[str]) -> int:
    """Look at the port before anything slow, set up, then go on inside the environment."""
    words = asked(arguments)
    refusal = why_not(words.port)
    if refusal:
        print(refusal, file=sys.stderr)
        return 1
    python = str(ensure_venv(("demo",)))
    command = [python, "-m", "seed_demo.demo", *arguments]
    os.chdir(HOUSE)
    sys.stdout.flush()
    if os.name == "posix":
        os.execv(python, command)  # noqa: S606 - our own interpreter, our own words
    return subprocess.run(command).returncode


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; a number from 1 to 65535 would do")
    return int(text)


def why_not(port: int) -> str:
    """Why this port will not do, in words; empty when it will."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        if os.name == "posix":
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # a port just left is not a port in use
        try:
            trial.bind((HOST, port))
        except PermissionError:
            return f"Port {port} is not yours to use. Another would do: --port 8420"
        except OSError:
            left = _left_behind()
            other = f"Another would do: --port {port + 1 if port < 65535 else 8420}"
            return f"Port {port} of this machine is taken{left}. {other}"
    return ""


def _left_behind() -> str:
    """A service whose demo was killed goes on by itself, and may be what holds the port."""
    if os.name != "posix":
        return ""
    try:
        process = int((HOUSE / ".demo" / "service.pid").read_text())
        os.kill(process, 0)
    except (OSError, ValueError):
        return ""
    return f", perhaps by an earlier demo's service (process {process})"


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except SetupError as problem:
        sys.exit(str(problem))
    except KeyboardInterrupt:
        sys.exit(130)
