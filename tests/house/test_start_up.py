"""What a serving process has loaded: heavy packages only when somebody needs them."""

import importlib.util
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

NOT_LOADED = {"asammdf", "scipy", "pyarrow", "alembic", "plotly", "matplotlib", "numba", "polars", "hypothesis", "pint"}


@pytest.fixture
def engine_name():
    """What is loaded does not hang on the engine."""
    return "sqlite"


def test_a_serving_process_has_loaded_nothing_that_it_does_not_need(settings, tmp_path):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    told = {"DATABASE_URL": settings.database_url, "DATA_DIR": str(tmp_path), "LISTEN_PORT": str(port)}
    told["PUBLIC_URL"] = f"http://127.0.0.1:{port}"
    environment = {**os.environ, **{f"PULLBOOK_{name}": value for name, value in told.items()}}
    log = tmp_path / "imports.txt"
    with log.open("wb") as errors:
        command = [sys.executable, "-X", "importtime", "-m", "pullbook", "serve"]
        process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=errors)
        try:
            for path, expected in (("/readyz", 200), ("/api/v1/session", 401), ("/sign-in", 200), ("/r/unknown", 404)):
                assert _status(process, f"http://127.0.0.1:{port}{path}") == expected, path
        finally:
            process.terminate()
            process.wait(20)
    lines = log.read_text(encoding="utf-8", errors="replace").splitlines()
    loaded = {line.rpartition("|")[2].strip().split(".")[0] for line in lines if line.startswith("import time:")}
    assert {"pullbook", "fastapi", "numpy", "sqlalchemy", "uvloop"} <= loaded
    # a package that is not installed is listed too, when somebody looked whether it is
    assert {name for name in loaded & NOT_LOADED if importlib.util.find_spec(name)} == set()


def test_small_matrices_are_not_shared_out_among_threads():
    ask = (
        "import pullbook.measure.curve, numpy; numpy.ones((400, 400)) @ numpy.ones((400, 400));"
        "print([line.split()[1] for line in open('/proc/self/status') if line.startswith('Threads')][0])"
    )
    unset = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    told = subprocess.run([sys.executable, "-c", ask], env=unset, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "1"


def _status(process, url):
    for _ in range(300):
        assert process.poll() is None, "it stopped"
        try:
            with urllib.request.urlopen(url, timeout=10) as answer:
                return answer.status
        except urllib.error.HTTPError as refusal:
            return refusal.code
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.1)
    return None
