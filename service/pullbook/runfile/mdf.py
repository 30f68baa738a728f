"""ASAM MDF 4 measurement files → `RawRun`, decoded by a process of its own.

The file is anybody's, its format is deep, and what decodes it is compiled code that trusts what a file says of itself.
So a child process does it, with bounded memory, time and no surroundings to speak of: the worst file costs one refusal.
That also keeps what the decoder loads (half a second, 150 MB) out of the serving process altogether.
"""

import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
from typing import Any

import numpy as np

from pullbook.runfile.not_read import RefusedFile, RunFileError
from pullbook.runfile.raw_run import Header, RawRun
from pullbook.runfile.screening import LOOKED_AT, screen

READER = "mdf-1"
PROCESSOR_S = 20  # the largest file within the caps takes 8
_AT_A_TIME = threading.Lock()  # a child may take a gigabyte, two of them two
_DAMAGED = "This MDF file cannot be decoded: it is damaged or breaks off. Send it again, or export it anew."
_TOO_MUCH = (
    "This MDF file takes more memory or time than decoding is given: it is damaged, or unpacks to far more than its "
    "size. Export the channels that are needed over the time that is needed."
)
_RUN = (sys.executable, "-I", "-m", "pullbook.runfile.mdf_decoding")


def read_mdf(data: bytes, processor_s: int = PROCESSOR_S) -> RawRun:
    """Read a whole file.

    A row for every stamp of any channel group, blank where a group has no sample; each channel of numbers is a column
    under its own name and unit. Channels of text, enumerations and arrays are left out and counted, and so are groups
    without a time. Raises `RefusedFile` for another version or beyond a cap (512 columns, 2 million rows, 24 million
    cells), `RunFileError` where the file is damaged, unfinished or takes more than `processor_s` or too much memory.
    """
    screen(data[:LOOKED_AT], len(data))
    if data.startswith(b"UnFinMF "):
        raise RunFileError(
            "This MDF file was never closed by what wrote it (its mark is UnFinMF): finish it there, or export it anew."
        )
    if len(data) < 64 + 104:  # the identification and the header that every file has
        raise RunFileError(_DAMAGED)
    told, body = _decoded(data, processor_s)
    if "refused" in told:
        raise RefusedFile(told["refused"])
    if "fault" in told:
        raise RunFileError(told["fault"])
    headers = tuple(Header(text, unit) for text, unit in told["headers"])
    values = np.frombuffer(body, dtype="<f8").astype(np.float64).reshape(len(headers), -1)
    return RawRun(headers, values, told["found"], READER)


def _decoded(data: bytes, processor_s: int) -> tuple[dict[str, Any], bytes]:
    """What the child says of the file, and the columns one after the other."""
    with _AT_A_TIME, tempfile.TemporaryDirectory(prefix="pullbook-") as nothing_else:
        try:
            child = subprocess.run(  # noqa: S603 - our own interpreter, our own module; the file comes by its input
                (*_RUN, str(processor_s)),
                input=data,
                capture_output=True,
                timeout=3 * processor_s,  # of the clock, on a machine that has other things to do
                cwd=nothing_else,
                env=_surroundings(nothing_else),
            )
        except subprocess.TimeoutExpired:
            raise RunFileError(_TOO_MUCH) from None
    if child.returncode in (-signal.SIGKILL, -signal.SIGABRT, -getattr(signal, "SIGXCPU", signal.SIGABRT), 9):
        raise RunFileError(_TOO_MUCH)
    first, _, body = child.stdout.partition(b"\n")
    try:
        told: dict[str, Any] = json.loads(first)
    except ValueError:
        raise RunFileError(_DAMAGED) from None
    return told, body


def _surroundings(folder: str) -> dict[str, str]:
    """No secret of the service's, and one thread: each would reserve memory of its own."""
    threads = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_MAX_THREADS")
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "LANG") if name in os.environ}
    return {**kept, **dict.fromkeys(threads, "1"), "TMPDIR": folder, "TEMP": folder, "HOME": folder}
