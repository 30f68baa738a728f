"""Each dialect of the year's files, read by the service's own reader: the same numbers come out as were recorded."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from pullbook.measure.correction import Engine
from pullbook.measure.curve import read_sweep
from pullbook.measure.curveparts import RollerCalibration, SweepSettings
from pullbook.measure.units import from_inside
from pullbook.runfile.channels import ChannelChoice, apply_map, recognise
from pullbook.runfile.delimited import read_delimited
from seed_demo.dialects import DIALECTS, STOICHIOMETRIC, Dialect
from seed_demo.files import drive, file_of, written
from seed_demo.instruments import Instruments, record
from seed_demo.on_record import map_body
from seed_demo.plans import PullTaken
from seed_demo.shapes import Floats
from seed_demo.year import the_year

BEGAN = datetime(2026, 11, 25, 14, 20, tzinfo=UTC)
NAMED = [name for name in DIALECTS if name != "numbered"]


@pytest.fixture(scope="module")
def taken() -> PullTaken:
    return next(job for job in the_year(BEGAN).jobs if job.key == "against-the-brake").setups[0].pulls[0]


@pytest.fixture(scope="module")
def seen(taken: PullTaken) -> Mapping[str, Floats]:
    logger = Instruments(rate_hz=100.0, speed_noise_rev_min=0.3, lambda_noise=0.003, pulses_per_turn=60)
    recorded = record(drive(taken), logger, 5)
    recorded["brake_force_n"] = recorded["brake_torque_nm"] / 0.35
    return recorded


def choices_for(dialect: Dialect, data: bytes) -> tuple[ChannelChoice, ...]:
    """What the headings say by themselves, or the map that the demo saves for them."""
    run = read_delimited(data)
    if dialect.map_name:
        return tuple(ChannelChoice(**column) for column in map_body(dialect)["columns"])
    found = recognise(run.headers, run.values)
    assert found.questions == ()
    return found.choices


@pytest.mark.parametrize("name", NAMED)
def test_it_writes_what_the_reader_gives_back(name: str, taken: PullTaken, seen: Mapping[str, Floats]) -> None:
    dialect = DIALECTS[name]
    data = written(dialect, dialect.columns, seen, taken.taken_at)
    run, choices = read_delimited(data), choices_for(dialect, data)
    channels = apply_map(run.headers, run.values, choices)
    assert set(channels) == {column.channel for column in dialect.columns}
    for column in dialect.columns:
        told, meant = (values[column.channel] * column.factor + column.offset for values in (channels, seen))
        if column.channel == "time_s":
            told, meant = told - told[0], meant - meant[0]  # a clock starts when it likes
        np.testing.assert_allclose(told, meant, atol=0.51 * 10.0**-column.decimals, rtol=1e-6, err_msg=column.channel)


def calibration_of(taken: PullTaken) -> RollerCalibration:
    roller = taken.roller
    return RollerCalibration(
        roller.inertia_kg_m2,
        roller.radius_m,
        pulses_per_turn=60.0,
        loss_c0_nm=roller.c0_nm,
        loss_c1_nm_s=roller.c1_nm_s,
        loss_c2_nm_s2=roller.c2_nm_s2,
        brake_arm_m=0.35,
    )


@pytest.mark.parametrize("key", ["plain-01", "plain-07", "plain-08", "diesel", "against-the-brake", "holds-its-boost"])
def test_it_lets_the_truth_be_found_again_from_the_file_alone(key: str) -> None:
    job = next(job for job in the_year(BEGAN).jobs if job.key == key)
    first = job.setups[0].pulls[0]
    dialect = DIALECTS[first.dialect]
    data = file_of(first, job.plan.cell.logger, job.plan.cell.brake_arm_m, 60)
    run = read_delimited(data)
    channels = apply_map(run.headers, run.values, choices_for(dialect, data))
    curve = read_sweep(channels, calibration_of(first), None, Engine(), SweepSettings(standard="observed"))
    grid = curve.engine_speed_rpm
    middle = (grid >= grid[0] + 0.1 * np.ptp(grid)) & (grid <= grid[-1] - 0.1 * np.ptp(grid))
    truth = drive(first).at_engine_speed(grid[middle]).roller_power_w
    off = curve.observed_power_w[middle] / truth - 1.0
    assert np.sqrt(np.mean(off**2)) < 0.005
    assert abs(np.mean(off)) < 0.001


def test_it_leaves_one_dialect_without_names_for_a_person_to_settle(
    taken: PullTaken, seen: Mapping[str, Floats]
) -> None:
    dialect = DIALECTS["numbered"]
    run = read_delimited(written(dialect, dialect.columns, seen, taken.taken_at))
    assert recognise(run.headers, run.values).questions


def test_it_asks_about_the_dialect_that_has_a_saved_map(taken: PullTaken, seen: Mapping[str, Floats]) -> None:
    for dialect in (dialect for dialect in DIALECTS.values() if dialect.map_name):
        run = read_delimited(written(dialect, dialect.columns, seen, taken.taken_at))
        assert recognise(run.headers, run.values).questions


def test_it_speaks_of_encodings_separators_and_decimals_of_many_kinds() -> None:
    assert {dialect.encoding for dialect in DIALECTS.values()} == {"utf-8", "utf-8-sig", "utf-16", "cp1252"}
    assert {dialect.separator for dialect in DIALECTS.values()} == {",", ";", "\t"}
    assert {dialect.decimal for dialect in DIALECTS.values()} == {".", ","}
    used = {pull.dialect for job in the_year(BEGAN).jobs for setup in job.setups for pull in setup.pulls}
    assert used == set(DIALECTS)


def test_it_logs_no_mixture_on_a_diesel_and_realistic_sizes_elsewhere() -> None:
    for job in the_year(BEGAN).jobs:
        if job.key in ("diesel", "exhaust-gains", "holds-its-boost"):
            cell = job.plan.cell
            data = file_of(job.setups[0].pulls[0], cell.logger, cell.brake_arm_m, 60)
            run = read_delimited(data)
            columns, rows = run.values.shape
            has_lambda = any("ambda" in header.text for header in run.headers)
            assert has_lambda == (job.key != "diesel")
            assert 8 <= columns <= 12
            assert 10.0 <= rows / cell.logger.rate_hz <= 16.0
            assert 50_000 < len(data) < 400_000


def test_it_writes_a_clock_over_midnight_as_the_clock_shows_it(taken: PullTaken, seen: Mapping[str, Floats]) -> None:
    late = replace(taken, taken_at=datetime(2026, 5, 4, 23, 59, 58, tzinfo=UTC))
    text = written(DIALECTS["clock"], DIALECTS["clock"].columns, seen, late.taken_at).decode()
    times = [line.split(",")[0] for line in text.splitlines()[1:]]
    assert times[0] == "23:59:58.000"
    assert times[200] == "00:00:00.000"


def test_it_turns_lambda_into_ratios_by_the_usual_stoichiometric_figures() -> None:
    # 14.1 ± 0.15 for ten per cent ethanol and 14.5 ± 0.15 for diesel are in public tables; 14.7 is the trade's own
    assert STOICHIOMETRIC["petrol"] == pytest.approx(float(from_inside(np.array([1.0]), "afr_petrol")[0]), abs=0.05)
