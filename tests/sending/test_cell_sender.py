"""The sender on the cell's computer: each file once, in order, none lost, whatever the line and the power do."""

import hashlib
import os
import random
import time

import pytest

from tests.api.pull_files import Steady
from tests.bench.served import free_port
from tests.sending.conftest import in_tray, serving_at, until
from tests.sending.lying_proxy import LyingProxy

START_S = 1_770_000_000


def write(folder, number, data=None):
    """A small run of its own, as old as its number says."""
    path = folder / f"run-{number:03d}.csv"
    path.write_bytes(data or Steady(seconds=0.5, hertz=40.0, gain_rad_s2=5.0 + 0.01 * number).csv())
    os.utime(path, (START_S + number, START_S + number))
    return path


def sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_files_are_sent_with_their_receipts_and_stay_where_they_were(port, sender_to, settings, tmp_path):
    sender, files = sender_to(port), [write(tmp_path, number) for number in range(3)]
    done = sender.run("send", *files)
    assert done.returncode == 0, done.stdout + done.stderr
    assert in_tray(settings) == [(path.name, sha256(path)) for path in files]
    assert "3 sent · 0 waiting · 0 refused" in done.stdout
    assert all(path.exists() for path in files)
    assert len(sender.lying_in("sent")) == 3
    again = sender.run("send", *files)
    assert (again.returncode, len(in_tray(settings))) == (0, 3)


def test_what_the_service_refuses_lies_apart_with_the_reason_and_the_rest_goes_on(port, sender_to, settings, tmp_path):
    picture = tmp_path / "screen.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    os.utime(picture, (START_S, START_S))
    good = write(tmp_path, 5)
    sender = sender_to(port)
    done = sender.run("send", picture, good)
    assert done.returncode == 1
    assert "screen.png" in done.stdout
    copy, why = sender.lying_in("refused")
    assert copy.endswith("screen.png")
    assert "415" in (sender.spool / "refused" / why).read_text("utf-8")
    assert in_tray(settings) == [(good.name, sha256(good))]


def test_a_file_that_is_not_there_or_empty_is_told_and_the_others_are_sent(port, sender_to, settings, tmp_path):
    empty, good = tmp_path / "empty.csv", write(tmp_path, 3)
    empty.touch()
    done = sender_to(port).run("send", tmp_path / "no such run.csv", empty, good)
    assert done.returncode == 1
    assert "no such run.csv" in done.stdout
    assert "empty.csv: empty" in done.stdout
    assert in_tray(settings) == [(good.name, sha256(good))]


def test_a_refused_file_named_again_is_tried_again_and_told_again(port, sender_to, tmp_path):
    picture, sender = tmp_path / "screen.png", sender_to(port)
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    for tries in (1, 2):
        done = sender.run("send", picture)
        assert (done.returncode, len(sender.lying_in("refused"))) == (1, 2 * tries)


def test_a_file_that_still_grows_is_left_until_it_stands_still(port, sender_to, settings, tmp_path):
    folder, whole = tmp_path / "runs", Steady(seconds=4.0).csv()
    folder.mkdir()
    sender = sender_to(port)
    watching = sender.start("watch", folder, "--still", 0.6)
    try:
        with (folder / "growing.csv").open("wb") as file:
            for at in range(0, len(whole), len(whole) // 8):
                file.write(whole[at : at + len(whole) // 8])
                file.flush()
                time.sleep(0.15)
        until(lambda: in_tray(settings))
        assert in_tray(settings) == [("growing.csv", hashlib.sha256(whole).hexdigest())]
    finally:
        watching.kill()
        watching.communicate()


def test_a_service_that_is_away_is_waited_for_and_nothing_is_lost(sender_to, settings, tmp_path, token):
    number = free_port()
    sender, file = sender_to(number), write(tmp_path, 1)
    sending = sender.start("send", file)
    until(lambda: (sender.spool / "state.txt").exists() and "waits" in (sender.spool / "state.txt").read_text("utf-8"))
    assert sending.poll() is None
    sending.kill()
    sending.communicate()
    file.write_bytes(b"written over meanwhile")
    with serving_at(settings, tmp_path, number):
        done = sender.run("send", file)
        names = in_tray(settings)
    assert names[0][1] == hashlib.sha256(Steady(seconds=0.5, hertz=40.0, gain_rad_s2=5.01).csv()).hexdigest()
    assert done.returncode == 0, done.stdout  # the file as it is now is another one, and is kept as well
    assert len(names) == 2


def test_a_wrong_token_keeps_everything_and_says_what_would_do(port, sender_to, settings, tmp_path):
    sender, file = sender_to(port), write(tmp_path, 1)
    right = sender.environment["PULLBOOK_TOKEN"]
    sender.environment["PULLBOOK_TOKEN"] = "not-a-token"
    sending = sender.start("send", file)
    said = sender.spool / "state.txt"
    until(lambda: said.exists() and "token is not taken" in said.read_text("utf-8"))
    sending.kill()
    sending.communicate()
    assert len(sender.lying_in("waiting")) == 1
    sender.environment["PULLBOOK_TOKEN"] = right
    assert sender.run("send", file).returncode == 0
    assert in_tray(settings) == [(file.name, sha256(file))]


def test_weather_goes_the_same_way_and_each_row_once(port, sender_to, owner, tmp_path, now):
    table = tmp_path / "station.csv"
    heading = "read_at,air_temperature_c,station_pressure_kpa,relative_humidity_pct\n"
    rows = [f"2026-03-0{day}T10:00:00+00:00,{15 + day}.5,98.{day},4{day}\n" for day in range(1, 5)]
    table.write_text(heading + "".join(rows[:3]), "utf-8")
    sender = sender_to(port)
    assert sender.run("weather", table).returncode == 0
    table.write_text(heading + "".join(rows), "utf-8")
    done = sender.run("weather", table)
    assert done.returncode == 0, done.stdout + done.stderr
    told = [one for one in owner.get("/api/v1/weather").json()["items"] if one["source"] == "Cell PC"]
    assert sorted(one["air_temperature_c"] for one in told) == [16.5, 17.5, 18.5, 19.5]


def test_connecting_tries_the_token_before_it_is_kept(port, sender_to, tmp_path, token):
    sender = sender_to(port)
    done = sender.run("connect", f"http://127.0.0.1:{port}", token)
    assert done.returncode == 0, done.stderr
    assert "Connected as Cell PC" in done.stdout
    kept = sender.spool / "settings.ini"
    assert kept.stat().st_mode & 0o077 == 0
    sender.environment.pop("PULLBOOK_TOKEN")
    sender.environment.pop("PULLBOOK_ADDRESS")
    assert sender.run("send", write(tmp_path, 9)).returncode == 0
    assert sender.run("connect", f"http://127.0.0.1:{port}", "wrong").returncode == 1


FILES = 200


@pytest.mark.parametrize("seed", [1])
def test_two_hundred_files_through_a_lying_line_and_many_kills_arrive_once_each_in_order(
    port, sender_to, settings, tmp_path, seed
):
    folder = tmp_path / "runs"
    folder.mkdir()
    files = [write(folder, number) for number in range(FILES)]
    proxy, draw, kills = LyingProxy(port, seed), random.Random(seed), 0
    sender = sender_to(proxy.port)
    try:
        while len(list((sender.spool / "sent").glob("*"))) < FILES:
            watching = sender.start("watch", folder, "--still", 0.05)
            ended = time.monotonic() + draw.uniform(0.15, 2.5)
            while time.monotonic() < ended and len(sender.lying_in("sent") if sender.spool.exists() else ()) < FILES:
                time.sleep(0.02)
            watching.kill()
            watching.communicate()
            kills += 1
            assert kills < 400, sender.run("state").stdout
    finally:
        proxy.close()
    assert in_tray(settings) == [(path.name, sha256(path)) for path in files]
    assert sender.lying_in("refused") == []
    assert kills >= 5
    assert min(proxy.done.values()) >= 5, proxy.done
    assert len(list(folder.iterdir())) == FILES
