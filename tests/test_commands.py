"""The commands: each does what it says, or says in one sentence why not."""

import asyncio
import io
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor

import pytest

from pullbook.cli import main
from pullbook.db.connect import connect
from pullbook.db.migrating import migrate
from pullbook.serving import listen
from pullbook.settings import MIGRATIONS
from pullbook.shop.signing_in import anybody_works_here
from tests.furnishing import CUSTOMER, OWNER, made


@pytest.fixture
def run(monkeypatch, tmp_path, capsys):
    """Run a command against a database; gives (code, what it printed, what it complained of)."""

    def run_command(*words, url=None, typed="", **settings):
        values = {"database_url": url or f"sqlite:///{tmp_path}/new.sqlite3", "data_dir": str(tmp_path), **settings}
        for name, value in values.items():
            monkeypatch.setenv(f"PULLBOOK_{name.upper()}", value)
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        code = main(words)
        told = capsys.readouterr()
        return code, told.out, told.err

    return run_command


@pytest.mark.parametrize("words", [("verify",), ("check",), ("db-status",), ("backup", "to.zip"), ("chain", "head")])
def test_a_mistyped_address_is_named_and_makes_no_file(run, tmp_path, words):
    code, told, complaint = run(*words)
    assert code == 1
    assert f"there is no file {tmp_path}/new.sqlite3" in told + complaint
    assert list(tmp_path.iterdir()) == []


def test_an_empty_database_is_named_and_migrated(run, tmp_path):
    (tmp_path / "new.sqlite3").touch()
    code, _, complaint = run("serve")
    assert code == 1
    assert complaint == "pullbook: the database is empty; `pullbook migrate` makes the tables\n"
    assert run("db-status")[0] == 1
    assert run("migrate")[:1] == (0,)
    code, told, _ = run("db-status")
    assert code == 0
    assert "up to date" in told


@pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")
def test_what_a_command_makes_is_for_the_services_own_user(tmp_path):
    told = {"PULLBOOK_DATABASE_URL": f"sqlite:///{tmp_path}/new.sqlite3", "PULLBOOK_DATA_DIR": str(tmp_path)}
    for words in (["migrate"], ["staff", "first-link"], ["chain", "head"]):
        command = [sys.executable, "-m", "pullbook", *words]
        done = subprocess.run(command, env=os.environ | told, umask=0o022, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    made_here = [place for place in tmp_path.rglob("*") if place.is_file()]
    assert {"new.sqlite3", "signing_key.pem"} <= {place.name for place in made_here}
    assert {place.name: oct(place.stat().st_mode & 0o077) for place in made_here} == {
        place.name: "0o0" for place in made_here
    }


def test_a_newer_database_is_refused_in_one_sentence(run, tmp_path):
    url = f"sqlite:///{tmp_path}/newer.sqlite3"
    migrate(url, MIGRATIONS)
    records = connect(url)
    with records.writer.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '2099_01_01_next'")
    records.close()
    for words in (("serve",), ("serve", "--migrate"), ("migrate",), ("check",), ("staff", "first-link")):
        code, _, complaint = run(*words, url=url)
        assert code == 1
        assert "newer version of Pullbook" in complaint
        assert complaint.count("\n") == 1


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("database_url", "mysql://x/y", "mysql is not spoken here"),
        ("database_url", "sqlite:////no/such/folder/x.sqlite3", "there is no file /no/such/folder/x.sqlite3"),
        ("public_url", "pulls.example.test", "PULLBOOK_PUBLIC_URL"),
        ("listen_port", "80000", "PULLBOOK_LISTEN_PORT"),
        ("largest_upload_bytes", "many", "PULLBOOK_LARGEST_UPLOAD_BYTES"),
    ],
)
def test_a_setting_that_will_not_do_is_named(run, name, value, words):
    code, _, complaint = run("check", **{name: value})
    assert code == 1
    assert words in complaint
    assert "Traceback" not in complaint


def test_a_file_that_is_no_database_is_said_to_be_none(run, tmp_path):
    (tmp_path / "letter.sqlite3").write_text("dear customer, " * 100)
    code, _, complaint = run("serve", url=f"sqlite:///{tmp_path}/letter.sqlite3")
    assert code == 1
    assert "not a database" in complaint


def test_the_first_link_opens_the_shop_and_is_not_given_twice(run, settings, anonymous):
    code, told, _ = run("staff", "first-link", url=settings.database_url, public_url="https://x.example.test/p")
    assert code == 0
    token = re.search(r"https://x\.example\.test/p/set-up/(\S+)", told).group(1)
    body = {**OWNER.sign_in, "token": token, "full_name": "Mira", "shop_name": "Shop", "time_zone": "UTC"}
    assert anonymous.post("/api/v1/staff/first", json=body).status_code in (201, 410)
    run("staff", "add", "second", "Second Person", url=settings.database_url, typed="seven quiet rollers\n")
    code, _, complaint = run("staff", "first-link", url=settings.database_url)
    assert code == 1
    assert "works here already" in complaint


def test_somebody_is_added_from_the_command_line(run, settings, anonymous):
    words = ("staff", "add", "Tadeo", "Tadeo Brandvik", "--role", "tuner")
    assert run(*words, url=settings.database_url, typed="short\n")[0] == 1
    code, told, _ = run(*words, url=settings.database_url, typed="rich under load\n")
    assert code == 0
    assert "tadeo (tuner)" in told
    credentials = {"sign_in_name": "tadeo", "password": "rich under load"}
    assert anonymous.post("/api/v1/session", json=credentials).json()["role"] == "tuner"


def test_check_looks_at_everything(run, settings):
    code, told, _ = run("check", url=settings.database_url)
    assert code == 0
    assert "can be written" in told


@pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")
def test_check_names_records_that_others_on_the_machine_may_open(run, tmp_path):
    file = tmp_path / "new.sqlite3"
    assert run("migrate")[0] == 0
    file.chmod(0o644)
    assert f"`chmod 600 {file}" in run("check")[1]
    for place in tmp_path.glob("new.sqlite3*"):
        place.chmod(0o600)
    assert "others on this machine" not in run("check")[1]


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(address, process):
    for _ in range(200):
        try:
            with urllib.request.urlopen(address, timeout=1) as answer:
                return answer.read()
        except (urllib.error.URLError, ConnectionError):
            assert process.poll() is None, process.communicate()
            time.sleep(0.05)
    raise AssertionError("no answer")


@pytest.fixture
def served(settings, tmp_path):
    """The real server on a port of its own; gives its address, its environment and the process."""
    port = free_port()
    environment = {
        **os.environ,
        "PULLBOOK_DATABASE_URL": settings.database_url,
        "PULLBOOK_DATA_DIR": str(tmp_path),
        "PULLBOOK_LISTEN_PORT": str(port),
        "PULLBOOK_PUBLIC_URL": f"http://127.0.0.1:{port}",
    }
    command = [shutil.which("pullbook", path=os.path.dirname(sys.executable)) or "pullbook", "serve"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    process = subprocess.Popen(command, env=environment, **pipes)
    yield f"http://127.0.0.1:{port}", environment, process
    process.kill()
    process.communicate()


def test_it_serves_prints_the_first_link_and_stops_when_told(served):
    address, environment, process = served
    assert wait_for(f"{address}/healthz", process) == b"alive\n"
    second = subprocess.run(process.args, env=environment, capture_output=True, text=True, timeout=30)
    assert second.returncode == 1
    assert f"port {environment['PULLBOOK_LISTEN_PORT']}" in second.stderr
    assert second.stderr.count("\n") == 1
    process.send_signal(signal.SIGTERM)
    told, log = process.communicate(timeout=20)
    assert f"{address}/set-up/" in told
    assert process.returncode in (0, -signal.SIGTERM)
    token = told.split("/set-up/")[1].strip()
    assert token not in log


def test_small_answers_are_sent_at_once_on_the_service_s_own_socket():
    """Without TCP_NODELAY the second answer on a kept connection waits some 40 ms for the client's acknowledgement."""
    listening = listen("127.0.0.1", 0)

    async def accept():
        met = asyncio.get_running_loop().create_future()
        server = await asyncio.start_server(lambda _, writer: met.set_result(writer), sock=listening)
        _, ours = await asyncio.open_connection(*listening.getsockname())
        theirs = await asyncio.wait_for(met, 10)
        at_once = theirs.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
        for writer in (ours, theirs):
            writer.close()
            await writer.wait_closed()
        server.close()
        return at_once

    with ThreadPoolExecutor(1) as aside:  # a browser's event loop may run in this thread
        assert aside.submit(asyncio.run, accept()).result() == 1


def test_neither_database_holds_anybody_after_starting(served, settings):
    address, _, process = served
    wait_for(f"{address}/healthz", process)
    records = connect(settings.database_url)
    with records.reading() as session:
        assert not anybody_works_here(session)
    records.close()


NOT_AT_START = ("scipy", "pandas", "pyarrow", "alembic", "plotly", "uvicorn.main", "pytest", "IPython", "matplotlib")


def test_a_serving_process_has_loaded_nothing_heavy(settings, tmp_path):
    script = f"""
import asyncio, sys
from pullbook.cli import main
from pullbook.app import create_app
from pullbook.settings import Settings
app = create_app(Settings())
async def ask(path):
    answers = []
    async def receive():
        return {{"type": "http.request", "body": b"", "more_body": False}}
    async def send(message):
        answers.append(message)
    headers = [(b"host", b"127.0.0.1:8420")]
    scope = {{"type": "http", "method": "GET", "path": path, "raw_path": path.encode(), "query_string": b"",
              "headers": headers, "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 8420), "scheme": "http",
              "http_version": "1.1", "root_path": "", "asgi": {{"version": "3.0"}}}}
    await app(scope, receive, send)
    return answers[0]["status"]
print([asyncio.run(ask(path)) for path in ("/healthz", "/readyz", "/sign-in", "/api/v1/session")])
print(sorted(set({NOT_AT_START!r}) & set(sys.modules)))
"""
    environment = {**os.environ, "PULLBOOK_DATABASE_URL": settings.database_url, "PULLBOOK_DATA_DIR": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["[200, 200, 200, 401]", "[]"]


def test_the_forgotten_are_forgotten_once_more_after_a_restore(owner, house, settings, tmp_path, run):
    url = settings.database_url
    name = owner.get(f"/api/v1/customers/{house.customer_id}").json()["full_name"]
    asked = {"full_name": name, "reason": "asked"}
    listed = tmp_path / "forgotten.txt"
    listed.write_text(f"{house.customer_id}\n0123456789abc\n")
    code, told, _ = run("erasures", "again", str(listed), url=url)
    assert (code, told) == (0, "1 forgotten once more; 1 are not in this copy\n")
    assert owner.post(f"/api/v1/customers/{house.customer_id}/erase", json=asked).status_code == 422
    assert run("erasures", "list", url=url)[:2] == (0, f"{house.customer_id}\n")
    assert run("erasures", "again", str(tmp_path / "none.txt"), url=url)[0] == 1


def test_a_car_that_was_here_in_an_older_copy_keeps_nobody_else_from_being_forgotten(
    owner, house, settings, tmp_path, run
):
    other = made(owner.post("/api/v1/customers", json={**CUSTOMER, "full_name": "Somebody Other"}))
    made(owner.post(f"/api/v1/tickets/{house.ticket_id}/steps", json={"state": "checked_in"}))
    listed = tmp_path / "forgotten.txt"
    listed.write_text(f"{house.customer_id}\n{other['id']}\n")
    code, told, refused = run("erasures", "again", str(listed), url=settings.database_url)
    assert (code, told) == (1, "1 forgotten once more; 0 are not in this copy\n")
    assert f"{house.customer_id}: A car of this customer is still here: ticket 1" in refused
    assert owner.get(f"/api/v1/customers/{other['id']}").json()["full_name"].startswith("Erased")
