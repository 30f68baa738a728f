"""What a stranger may send down a bare connection: the service stays up, small, and answers the next one."""

import os
import shutil
import socket
import subprocess
import sys
import time

import httpx2
import pytest

from tests.api.pull_files import Steady
from tests.furnishing import TUNER, sign_in


@pytest.fixture
def engine_name():
    """What a connection carries does not hang on the engine."""
    return "sqlite"


@pytest.fixture
def port(owner, settings, tmp_path):
    """The service as it is started, as a process over a shop with staff; its port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]
    told = {"DATABASE_URL": settings.database_url, "DATA_DIR": str(tmp_path), "LISTEN_PORT": str(number)}
    told["PUBLIC_URL"] = f"http://127.0.0.1:{number}"
    environment = {**os.environ, **{f"PULLBOOK_{name}": value for name, value in told.items()}}
    command = [shutil.which("pullbook", path=os.path.dirname(sys.executable)) or "pullbook", "serve"]
    with (tmp_path / "said.txt").open("wb") as said:
        process = subprocess.Popen(command, env=environment, stdout=said, stderr=said)
        try:
            for _ in range(300):
                assert process.poll() is None, (tmp_path / "said.txt").read_text()
                try:
                    socket.create_connection(("127.0.0.1", number)).close()
                    break
                except ConnectionError:
                    time.sleep(0.05)
            yield number
        finally:
            process.terminate()
            process.wait(20)


def exchange(port, *pieces, wait_s=5.0, half_close=False):
    """Send pieces until the other side will have no more; gives what it said and how many bytes it took."""
    said, taken = b"", 0
    with socket.create_connection(("127.0.0.1", port), timeout=wait_s) as line:
        try:
            for piece in pieces:
                line.sendall(piece)
                taken += len(piece)
            if half_close:
                line.shutdown(socket.SHUT_WR)
            while part := line.recv(65_536):
                said += part
        except (ConnectionError, TimeoutError):
            pass
    return said, taken


def head(port, request_line, *lines):
    return "\r\n".join((request_line, f"Host: 127.0.0.1:{port}", *lines, "", "")).encode("latin-1")


def alive(port):
    return exchange(port, head(port, "GET /healthz HTTP/1.1", "Connection: close"))[0].endswith(b"alive\n")


def test_a_head_without_end_is_cut_off_early(port):
    endless = (b"X: " + b"a" * 65_533 for _ in range(1600))  # 100 MB in one line, from somebody nobody knows
    beginning = f"GET /sign-in HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nX: ".encode()
    _, taken = exchange(port, beginning, *endless)
    assert taken < 20_000_000, "what lies between is in the buffers of the machine"
    assert alive(port)


def test_many_lines_of_head_are_cut_off_like_a_long_one(port):
    lines = (b"X-%d: " % number + b"a" * 60_000 + b"\r\n" for number in range(1600))
    _, taken = exchange(port, f"GET /sign-in HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n".encode(), *lines)
    assert taken < 20_000_000
    assert alive(port)


def test_trailers_without_end_are_cut_off_too(port):
    beginning = head(port, "POST /api/v1/session HTTP/1.1", "Transfer-Encoding: chunked")
    lines = (b"X-%d: " % number + b"a" * 60_000 + b"\r\n" for number in range(1600))
    _, taken = exchange(port, beginning, b"2\r\n{}\r\n0\r\n", *lines)
    assert taken < 20_000_000
    assert alive(port)


def test_a_long_address_within_reason_is_answered(port):
    answer, _ = exchange(port, head(port, f"GET /sign-in?next=/{'w' * 8000} HTTP/1.1", "Connection: close"))
    assert answer.startswith(b"HTTP/1.1 200 ")


@pytest.mark.parametrize(
    "lines",
    [
        ("Content-Length: \xb2",),
        ("Content-Length: -5",),
        ("Content-Length: " + "9" * 5000,),
        ("Content-Length: 5", "Transfer-Encoding: chunked"),
        ("Content-Length: 5", "Content-Length: 6"),
    ],
)
def test_a_length_that_cannot_be_is_refused(port, lines):
    answer, _ = exchange(port, head(port, "POST /api/v1/session HTTP/1.1", *lines), b"{}   ")
    assert answer.startswith(b"HTTP/1.1 400 ")
    assert alive(port)


def test_a_large_body_of_a_stranger_is_refused_unread(port):
    pieces = [b"x" * 65_536] * 900
    address = "POST /api/v1/tickets/0123456789abc/pulls?setup_id=a&cell_id=b&file_name=c&taken_at=2026-01-01T00:00:00Z"
    for length, expected in ((104_857_600, b"HTTP/1.1 413 "), (60_000_000, b"HTTP/1.1 401 ")):
        beginning = head(port, f"{address} HTTP/1.1", f"Content-Length: {length}")
        assert exchange(port, beginning, wait_s=1.5)[0].startswith(expected), "before a byte of it came"
    assert exchange(port, beginning, *pieces, wait_s=1.5)[0].startswith(expected), "also to who sends on regardless"
    assert alive(port)


def test_a_sender_that_vanishes_leaves_nothing(port, house):
    data = Steady().csv()
    asked = f"setup_id={house.setup_id}&cell_id={house.cell_id}&taken_at=2026-03-10T08:50:00Z&file_name=run.csv"
    origin = f"http://127.0.0.1:{port}"
    with httpx2.Client(base_url=origin, headers={"Origin": origin}) as client:
        sign_in(client, TUNER)
        cookie = f"Cookie: pullbook={client.cookies['pullbook']}"
        lines = (f"Origin: {origin}", cookie, f"Content-Length: {len(data) + 500}")
        beginning = head(port, f"POST /api/v1/tickets/{house.ticket_id}/pulls?{asked} HTTP/1.1", *lines)
        answer, _ = exchange(port, beginning, data, half_close=True)
        assert not answer.startswith(b"HTTP/1.1 2")
        assert client.get(f"/api/v1/tickets/{house.ticket_id}/pulls").json()["items"] == []
        whole = beginning.replace(str(len(data) + 500).encode(), str(len(data)).encode())
        answer, _ = exchange(port, whole, data, wait_s=2.0)
        assert answer.startswith(b"HTTP/1.1 201 ")
