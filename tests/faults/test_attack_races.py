"""Several processes at one database, all at once: nothing twice, nothing lost, no number left out."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.api.pull_files import Steady, where

HOUSE = Path(__file__).resolve().parents[2]
PROCESSES = 4
# One process: the service over the database of the test, somebody signed in, and requests as fast as they go.
SENDER = """
import json, sys
from tests.conftest import PUBLIC_URL, Clock, serving, settings_for
from pathlib import Path
told = json.load(sys.stdin)
with serving(settings_for(told["url"], Path(told["folder"])), Clock()) as (app, client):
    client.headers["Cookie"] = "pullbook=" + told["cookie"]
    answers = []
    for one in told["requests"]:
        body = {"content": one["text"].encode()} if "text" in one else {"json": one["json"]}
        headers = {"Content-Type": "text/csv"} if "text" in one else {}
        answer = client.request(one["method"], one["path"], params=one.get("params"), headers=headers, **body)
        answers.append([answer.status_code, answer.json()])
    json.dump(answers, sys.stdout)
"""


@pytest.fixture
def all_at_once(settings, database, tmp_path):
    """Send lists of requests, each by a process of its own; gives the answers of each."""

    def send(lists):
        running = []
        for _ in lists:
            command = [sys.executable, "-c", SENDER]
            running.append(subprocess.Popen(command, cwd=HOUSE, stdin=-1, stdout=-1, stderr=-1, text=True))
        for process, requests in zip(running, lists, strict=True):
            told = {"url": settings.database_url, "folder": str(tmp_path), "requests": requests}
            process.stdin.write(json.dumps({**told, "cookie": database.cookies["tuner"][0].value}))
            process.stdin.close()
            process.stdin = None
        found = []
        for process in running:
            said, complaint = process.communicate(timeout=120)
            assert process.returncode == 0, complaint[-2000:]
            found.append(json.loads(said))
        return found

    return send


def test_tickets_made_at_once_are_numbered_without_gap_or_twin(all_at_once, owner, house):
    asked = {"customer_id": house.customer_id, "vehicle_id": house.vehicle_id, "asked": "All at once"}
    ticket = {"method": "POST", "path": "/api/v1/tickets", "json": asked}
    answers = [one for found in all_at_once([[ticket] * 25] * PROCESSES) for one in found]
    assert {status for status, _ in answers} == {201}
    numbers = sorted(body["number"] for _, body in answers)
    first = owner.get(f"/api/v1/tickets/{house.ticket_id}").json()["number"] + 1
    assert numbers == list(range(first, first + 25 * PROCESSES))


def test_one_file_sent_by_all_at_once_is_filed_once(all_at_once, owner, house):
    path = f"/api/v1/tickets/{house.ticket_id}/pulls"
    files = [Steady(gain_rad_s2=8.0 + number / 10).csv().decode() for number in range(6)]
    wanted = [{"method": "POST", "path": path, "params": where(house), "text": text} for text in files]
    answers = [one for found in all_at_once([wanted] * PROCESSES) for one in found]
    assert sorted(status for status, _ in answers) == [200] * 6 * (PROCESSES - 1) + [201] * 6
    by_hash = {}
    for _, body in answers:
        by_hash.setdefault(body["sha256"], []).append({**body, "received_at": None})
    assert len(by_hash) == 6
    assert all(len({body["id"] for body in bodies}) == 1 for bodies in by_hash.values())
    assert len(owner.get(path).json()["items"]) == 6


def test_of_all_who_edit_one_version_at_once_one_wins(all_at_once, owner, house):
    path = f"/api/v1/tickets/{house.ticket_id}"
    version = owner.get(path).json()["version"]
    lists = [
        [{"method": "PATCH", "path": path, "json": {"version": version, "notes": f"by {number}"}}]
        for number in range(PROCESSES)
    ]
    answers = [found[0] for found in all_at_once(lists)]
    assert sorted(status for status, _ in answers) == [200] + [409] * (PROCESSES - 1)
    (kept,) = [body["notes"] for status, body in answers if status == 200]
    assert owner.get(path).json()["notes"] == kept
    entries = owner.get("/api/v1/audit", params={"record": "ticket", "record_id": house.ticket_id}).json()["items"]
    assert len([entry for entry in entries if entry["action"] == "change"]) == 1
