"""The year's parts are judged as they truly are: the one that gains gains, the one that does nothing is said to."""

from datetime import UTC, datetime

import numpy as np
import pytest

from pullbook.measure.air import air_from_relative_humidity
from pullbook.measure.correction import Engine
from pullbook.measure.curve import read_sweep
from pullbook.measure.curveparts import RollerCalibration, SweepSettings
from pullbook.measure.verdict import Verdict, verdict
from seed_demo.files import drive
from seed_demo.instruments import record
from seed_demo.plans import Job, PullTaken
from seed_demo.stories import EXHAUST_GAIN
from seed_demo.year import the_year

GRID = np.arange(2500.0, 6050.0, 50.0)
BAND = (2500.0, 6000.0)


def _power_w(job: Job, taken: PullTaken) -> np.ndarray:
    """Corrected power on the grid, read from what the cell's instruments recorded."""
    roller, air = taken.roller, taken.air
    calibration = RollerCalibration(
        roller.inertia_kg_m2,
        roller.radius_m,
        loss_c0_nm=roller.c0_nm,
        loss_c1_nm_s=roller.c1_nm_s,
        loss_c2_nm_s2=roller.c2_nm_s2,
    )
    channels = record(drive(taken), job.plan.cell.logger, taken.seed)
    speed = ("roller_pulses", "roller_pulse_increments", "roller_surface_speed_m_s")
    seen = {name: values for name, values in channels.items() if name not in speed}
    measured = air_from_relative_humidity(air.temperature_c, air.pressure_kpa, air.relative_humidity_pct)
    return read_sweep(seen, calibration, measured, Engine(), SweepSettings()).on_grid(GRID)


def _judged(key: str) -> Verdict:
    job = next(job for job in the_year(datetime(2026, 11, 25, 14, 20, tzinfo=UTC)).jobs if job.key == key)
    first, later = ([pull for pull in setup.pulls if not pull.set_aside] for setup in job.setups[:2])
    rows = [np.stack([_power_w(job, pull) for pull in pulls]) for pulls in (first, later)]
    times = [np.array([pull.taken_at.timestamp() for pull in pulls]) for pulls in (first, later)]
    return verdict(rows[0], rows[1], GRID, BAND, (times[0], times[1]))


def test_the_part_that_gains_is_called_a_gain_and_its_interval_holds_the_truth() -> None:
    found = _judged("exhaust-gains")
    assert found.kind == "gain"
    assert found.interval_pct is not None
    low, high = found.interval_pct
    assert low < 100.0 * (EXHAUST_GAIN - 1.0) < high


def test_the_part_that_does_nothing_is_called_so_from_pulls_taken_in_turn() -> None:
    found = _judged("filter-does-nothing")
    assert (found.kind, found.method, found.pairs) == ("no_difference", "paired", 5)
    assert found.interval_pct is not None
    assert found.interval_pct[0] < 0.0 < found.interval_pct[1]


def test_slipping_pulls_leave_one_that_counts_and_nothing_is_claimed() -> None:
    found = _judged("wheel-slip")
    assert (found.kind, found.counts) == ("not_enough_pulls", (1, 4))
    assert found.difference_pct == pytest.approx(7.0, abs=3.0)
