"""ASAM MDF 4 files, as the reference library writes them, become columns on all their stamps."""

import os
import subprocess
import sys

import numpy as np
import pytest
from asammdf import Signal

from pullbook.measure.resampling import on_the_stamps_of
from pullbook.runfile.any_kind import read_run
from pullbook.runfile.channels import apply_map, recognise
from pullbook.runfile.not_read import RefusedFile, RunFileError
from tests.runfile.mdf_files import two_groups, written


@pytest.mark.parametrize("version", ["4.00", "4.10", "4.20"])
@pytest.mark.parametrize("compression", [0, 1, 2])
def test_groups_keep_their_own_samples_at_their_own_stamps(tmp_path, version, compression):
    run = read_run(two_groups(tmp_path / "a.mf4", version=version, compression=compression))
    headings = ["Time [s]", "Roller speed [rad/s]", "Engine speed [rpm]", "Throttle [%]", "Lambda"]
    assert [header.text for header in run.headers] == headings
    assert [header.unit_text for header in run.headers] == ["s", "rad/s", "rpm", "%", ""]
    assert run.values.shape == (5, 880)
    assert (np.diff(run.values[0]) > 0).all()
    roller, mixture = np.isfinite(run.values[1]), np.isfinite(run.values[4])
    assert (roller ^ mixture).all()
    assert run.values[0][roller].tolist() == (np.arange(800) / 100.0).tolist()
    assert run.values[1][roller].tolist() == (40.0 + 8.0 * np.arange(800) / 100.0).tolist()
    assert run.values[0][mixture].tolist() == (np.arange(80) / 10.0 + 0.003).tolist()
    assert run.found["channels of text, enumerations or arrays, left out"] == "2"
    assert run.found["kind"] == f"ASAM MDF {version}"


def test_its_headings_are_understood_and_lie_on_the_rollers_stamps(tmp_path):
    run = read_run(two_groups(tmp_path / "a.mf4"))
    found = recognise(run.headers, run.values)
    assert found.questions == ()
    channels = on_the_stamps_of("roller_speed_rad_s", apply_map(run.headers, run.values, found.choices))
    assert {len(values) for values in channels.values()} == {800}
    assert np.isfinite(channels["roller_speed_rad_s"]).all()
    inside = (channels["time_s"] > 0.01) & (channels["time_s"] < 7.9)
    assert np.allclose(channels["lambda_measured"][inside], 0.9)


def test_conversions_are_applied_and_same_names_told_apart(tmp_path):
    stamps = np.arange(30) / 10.0
    linear = {"a": 0.5, "b": -64.0}
    groups = [
        [Signal(np.arange(30, dtype=np.int16), stamps, name="Ignition advance", unit="deg", conversion=linear)],
        [Signal(np.arange(30, dtype=np.int16), stamps, name="Ignition advance", unit="deg")],
    ]
    run = read_run(written(tmp_path / "a.mf4", *groups))
    assert [header.text for header in run.headers[1:]] == ["Ignition advance [deg]", "Ignition advance [deg] #2"]
    assert run.values[1].tolist() == (np.arange(30) * 0.5 - 64.0).tolist()
    assert run.values.shape == (3, 30)


def test_what_holds_no_number_is_said(tmp_path):
    stamps = np.arange(5) / 10.0
    notes = [Signal(np.array([b"warm"] * 5), stamps, name="Note", encoding="utf-8")]
    with pytest.raises(RunFileError, match="no channel of numbers"):
        read_run(written(tmp_path / "a.mf4", notes))


def test_other_versions_are_refused_with_what_is_read(tmp_path):
    data = written(tmp_path / "a.mdf", [Signal(np.arange(5.0), np.arange(5.0), name="a")], version="3.30")
    with pytest.raises(RefusedFile, match=r"MDF file of 3\.30; ASAM MDF 4 is read"):
        read_run(data)


def test_a_file_that_was_never_closed_is_kept_and_says_so(tmp_path):
    data = b"UnFinMF " + two_groups(tmp_path / "a.mf4")[8:]
    with pytest.raises(RunFileError, match="never closed"):
        read_run(data)


def test_more_columns_than_the_cap_are_refused(tmp_path):
    stamps = np.arange(3) / 10.0
    wide = [Signal(np.arange(3.0), stamps, name=f"channel {place}") for place in range(520)]
    with pytest.raises(RefusedFile, match="more than 511 channels"):
        read_run(written(tmp_path / "a.mf4", wide))


def test_the_decoder_is_never_loaded_where_files_are_served(tmp_path):
    two_groups(tmp_path / "a.mf4")
    told = (
        "import sys; from pullbook.runfile.any_kind import read_run; "
        "read_run(open(sys.argv[1], 'rb').read()); print('asammdf' in sys.modules, 'pandas' in sys.modules)"
    )
    command = [sys.executable, "-c", told, os.fspath(tmp_path / "a.mf4")]
    assert subprocess.run(command, capture_output=True, text=True, check=True).stdout.split() == ["False", "False"]
