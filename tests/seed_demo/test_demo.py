"""The demo's command: what it says before anything slow, and that a second run, even after a kill, doubles nothing."""

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from pullbook.db.connect import connect
from seed_demo import demo, run
from seed_demo.filling import sign_everybody_in
from seed_demo.folder import DemoError, Folder
from seed_demo.people import STAFF
from seed_demo.serving import migrate, service
from seed_demo.story_calibration import reference_jobs, reference_readings
from seed_demo.year import the_year

HOUSE = Path(__file__).resolve().parents[2]


@pytest.fixture
def port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@contextlib.contextmanager
def taken(port: int) -> Iterator[None]:
    with socket.socket() as other:
        other.bind(("127.0.0.1", port))
        other.listen()
        yield


COUNTED = ("staff", "cell", "calibration", "weather_reading", "customer", "vehicle", "ticket", "ticket_step", "setup")
COUNTED += ("channel_map", "pull", "raw_file", "results_link", "audit_entry", "price_item", "charge", "payment")


def counts(place: Path) -> dict[str, int]:
    """How many rows each table holds."""
    database = connect(f"sqlite:///{Folder(place).database}")
    with database.reading() as session:
        found = {table: session.scalar(text(f"SELECT count(*) FROM {table}")) for table in COUNTED}
        for state in ("readable", "unreadable"):
            found[state] = session.scalar(text("SELECT count(*) FROM pull WHERE state = :state"), {"state": state})
        live = "SELECT count(*) FROM results_link WHERE revoked_at IS NULL"
        found["live"] = session.scalar(text(live))
    database.close()
    return found


def fill(place: Path, port: int) -> int:
    return demo.main(["--once", "--small", "--port", str(port)], place)


def test_it_fills_itself_once_and_adds_nothing_when_run_again(
    tmp_path: Path, port: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert fill(tmp_path, port) == 0
    said = capsys.readouterr().out
    first = counts(tmp_path)
    assert fill(tmp_path, port) == 0
    again = capsys.readouterr().out
    assert counts(tmp_path) == first | {"audit_entry": first["audit_entry"] + 3}  # three people signed in
    year = the_year(Folder(tmp_path).began_at(), small=True)
    house_car = reference_jobs(year)
    visits = sum(len(job.setups[0].pulls) for job in house_car)
    made = (len(year.jobs) + len(house_car), year.pulls + visits + 1, 1)  # and one coast-down of the house car
    assert (first["ticket"], first["pull"], first["unreadable"]) == made
    for words in (said, again):
        assert f"http://127.0.0.1:{port}/r/" in words
        assert f"http://127.0.0.1:{port}/compare?pull_id=" in words
        assert all(person.sign_in_name in words for person in STAFF)
    passwords = Folder(tmp_path).passwords()
    assert len(set(passwords.values())) == 3
    assert all(password in said for password in passwords.values())


@pytest.mark.skipif(os.name != "posix", reason="no SIGKILL there")
def test_it_completes_what_a_killed_run_left_and_doubles_nothing(tmp_path: Path, port: int) -> None:
    script = (
        "import sys; from pathlib import Path; from seed_demo.demo import main; "
        f"main(['--once', '--small', '--port', '{port}'], Path({str(tmp_path)!r}))"
    )
    half = subprocess.Popen([sys.executable, "-u", "-c", script], cwd=HOUSE, stdout=subprocess.PIPE, text=True)
    assert half.stdout is not None
    for line in half.stdout:
        sent = re.search(r" (\d+)/(\d+)$", line.rstrip())
        if sent and int(sent[1]) > int(sent[2]) // 4:
            break
    half.kill()
    half.wait()
    half.stdout.close()
    left = int(Folder(tmp_path).service.read_text())
    os.kill(left, signal.SIGTERM)  # what was killed could not stop its own service
    until = time.monotonic() + 15.0
    while not run_is_free(port) and time.monotonic() < until:
        time.sleep(0.05)
    assert fill(tmp_path, port) == 0
    found, year = counts(tmp_path), the_year(Folder(tmp_path).began_at(), small=True)
    house_car = reference_jobs(year)
    visits = sum(len(job.setups[0].pulls) for job in house_car)
    assert (found["ticket"], found["pull"]) == (len(year.jobs) + len(house_car), year.pulls + visits + 1)
    assert found["live"] == sum(bool(job.plan.link_note) for job in year.jobs)
    assert found["vehicle"] == len({job.vehicle.vin for job in (*year.jobs, *house_car)})
    assert found["weather_reading"] == len((*year.readings, *reference_readings(house_car)))


def run_is_free(port: int) -> bool:
    return run.why_not(port) == ""


def test_it_says_plainly_that_a_port_is_taken(port: int) -> None:
    with taken(port):
        done = subprocess.run(
            [sys.executable, HOUSE / "seed_demo" / "run.py", "--port", str(port)], capture_output=True, text=True
        )
    assert done.returncode == 1
    assert done.stderr.splitlines() == [
        f"Port {port} of this machine is taken. Another would do: --port {port + 1}"
    ] or done.stderr.startswith(f"Port {port} of this machine is taken, perhaps by an earlier demo's service")


def test_it_refuses_a_port_that_is_none() -> None:
    for word in ("0", "65536", "http"):
        done = subprocess.run(
            [sys.executable, HOUSE / "seed_demo" / "run.py", "--port", word], capture_output=True, text=True
        )
        assert done.returncode == 2
        assert "a number from 1 to 65535 would do" in done.stderr


def test_it_lets_one_demo_at_a_time_into_a_folder(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    with folder.held(), pytest.raises(DemoError, match="is running on"), Folder(tmp_path).held():
        pytest.fail("two at once")
    with folder.held():
        pass


def test_it_says_plainly_that_a_database_is_none_of_ours(tmp_path: Path, port: int) -> None:
    folder = Folder(tmp_path)
    folder.database.write_bytes(b"not a database at all, but long enough to be looked at " * 20)
    with pytest.raises(DemoError, match=r"cannot be used: .+\nTo start over: --fresh"):
        migrate(folder, port)


def test_it_starts_over_when_told_to_and_keeps_nothing(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    before = folder.passwords()
    folder.database.write_bytes(b"x")
    (tmp_path / "prepared").mkdir()
    (tmp_path / "prepared" / "file").write_text("x")
    with folder.held():
        folder.clear()
        assert [entry.name for entry in tmp_path.iterdir()] == ["held"]
    assert folder.passwords() != before


def test_it_keeps_sign_ins_for_their_owner_alone_and_the_same_the_next_time(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    first = folder.passwords()
    assert Folder(tmp_path).passwords() == first
    assert folder.sign_ins.stat().st_mode & 0o077 == 0
    assert folder.began_at() == Folder(tmp_path).began_at()
    assert Folder(tmp_path / "other").path != folder.path


def test_it_says_so_when_the_sign_ins_are_gone_but_the_shop_is_there(tmp_path: Path, port: int) -> None:
    folder = Folder(tmp_path)
    migrate(folder, port)
    with service(folder, port) as running:
        sign_everybody_in(running.address, folder, port).close()
        folder.sign_ins.unlink()
        with pytest.raises(DemoError, match=r"sign-ins\.txt is gone. To start over: --fresh"):
            sign_everybody_in(running.address, folder, port)


def test_it_says_what_the_service_said_when_it_does_not_start(tmp_path: Path, port: int) -> None:
    folder = Folder(tmp_path)
    with taken(port), pytest.raises(DemoError, match=r"The service did not start: .+"):  # noqa: SIM117
        with service(folder, port):
            pytest.fail("nothing to serve")
