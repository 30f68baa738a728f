"""The tickets with a second logger: what it wrote is read back as the forward model meant it, on its own clock."""

from datetime import UTC, datetime

import numpy as np
import pytest
from asammdf import MDF

from pullbook.measure.alignment import clock_offset
from pullbook.runfile.any_kind import read_run
from pullbook.runfile.channels import apply_map, recognise
from seed_demo.answering import BEFORE_S, answers_of
from seed_demo.files import drive
from seed_demo.instruments import Instruments, record
from seed_demo.measurement_file import Group, Signal, mdf_of
from seed_demo.plans import PullTaken
from seed_demo.rollers import VALLEY
from seed_demo.story_loggers import measured
from seed_demo.year import the_year

BEGAN = datetime(2026, 11, 25, 14, 20, tzinfo=UTC)


@pytest.fixture(scope="module")
def taken() -> PullTaken:
    return next(job for job in the_year(BEGAN).jobs if job.key == "controller-answers").setups[0].pulls[0]


@pytest.fixture(scope="module")
def packed() -> PullTaken:
    return next(job for job in the_year(BEGAN).jobs if job.key == "measurement-file").setups[0].pulls[0]


def test_what_the_controller_answered_is_understood_by_itself(taken: PullTaken) -> None:
    run = read_run(answers_of(taken))
    found = recognise(run.headers, run.values, needs_roller=False)
    assert found.questions == ()
    quantities = {choice.quantity for choice in found.choices}
    assert {"engine_speed_rpm", "lambda_measured", "lambda_commanded", "manifold_pressure_kpa"} <= quantities
    assert "frames lost within an answer" not in run.found


def test_its_clock_is_found_by_engine_speed(taken: PullTaken) -> None:
    run = read_run(answers_of(taken))
    choices = recognise(run.headers, run.values, needs_roller=False).choices
    beside = apply_map(run.headers, run.values, choices, needs_roller=False)
    own = record(drive(taken), VALLEY.logger, taken.seed)
    found = clock_offset(own["time_s"], own["engine_speed_rpm"], beside["time_s"], beside["engine_speed_rpm"])
    assert found.reason is None
    assert found.offset_s == pytest.approx(-BEFORE_S, abs=0.03)


def test_its_values_are_the_models_own_as_far_as_their_bytes_go(taken: PullTaken) -> None:
    run = read_run(answers_of(taken))
    beside = apply_map(
        run.headers, run.values, recognise(run.headers, run.values, needs_roller=False).choices, needs_roller=False
    )
    truth = record(drive(taken), Instruments(rate_hz=50.0, lambda_delay_s=0.06, lambda_lag_s=0.08), taken.seed)
    for name, step in (("manifold_pressure_kpa", 1.0), ("lambda_measured", 1e-4), ("coolant_temperature_c", 1.0)):
        known = np.isfinite(beside[name])
        when = beside["time_s"][known] - BEFORE_S - 0.006  # the answer's first frame follows the question
        inside = (when > 0.0) & (when < truth["time_s"][-1])
        meant = np.interp(when[inside], truth["time_s"], truth[name])
        assert np.abs(beside[name][known][inside] - meant).max() < step


def test_the_measurement_file_holds_both_groups_for_an_outside_reader(packed: PullTaken, tmp_path) -> None:
    path = tmp_path / packed.file_name
    path.write_bytes(measured(packed, VALLEY.logger))
    with MDF(path) as file:
        assert file.version == "4.10"
        assert len(file.groups) == 2
        assert file.get("Roller speed").unit == "rad/s"
        slow, fast = file.get("Lambda").timestamps, file.get("Roller speed").timestamps
    assert len(fast) > 9 * len(slow)
    assert not set(slow.tolist()) & set(fast.tolist())


def test_the_measurement_file_is_read_as_a_pull(packed: PullTaken) -> None:
    run = read_run(measured(packed, VALLEY.logger))
    assert run.reader.startswith("mdf")
    assert recognise(run.headers, run.values).questions == ()


def test_the_simplest_file_is_as_its_standard_has_it(tmp_path) -> None:
    """Held against the reference library, name, unit and every sample."""
    stamps = np.arange(7) / 3.0
    path = tmp_path / "a.mf4"
    path.write_bytes(mdf_of(BEGAN, [Group(stamps, [Signal("Öltemperatur", "°C", stamps * 2.0)])]))
    with MDF(path) as file:
        signal = file.get("Öltemperatur")
        assert (signal.unit, signal.timestamps.tolist()) == ("°C", stamps.tolist())
        assert signal.samples.tolist() == (stamps * 2.0).tolist()
        assert file.start_time.timestamp() == BEGAN.timestamp()
