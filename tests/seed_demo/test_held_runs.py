"""The held runs of the year: the brake only ever resists, and its power is what the engine gives at that speed."""

from datetime import UTC, datetime

import numpy as np
import pytest

from seed_demo.files import drive
from seed_demo.holding_run import HeldRun
from seed_demo.plans import PullTaken
from seed_demo.year import the_year


def held_pulls() -> list[PullTaken]:
    year = the_year(datetime(2026, 11, 25, 14, 20, tzinfo=UTC))
    return [one for job in year.jobs for setup in job.setups for one in setup.pulls if one.hold is not None]


def test_a_ticket_is_mapped_with_holds_and_part_throttle() -> None:
    assert sorted({one.kind for one in held_pulls()}) == ["hold", "part_throttle"]


@pytest.mark.parametrize("taken", held_pulls(), ids=lambda taken: taken.file_name)
def test_the_brake_only_resists_and_the_balance_closes(taken: PullTaken) -> None:
    run = drive(taken)
    assert isinstance(run, HeldRun)
    truth = run.at(np.linspace(0.0, run.duration_s, 5000))
    assert float(truth.brake_nm.min()) >= 0.0
    car, roller = run.car, run.roller
    total = truth.brake_nm + truth.loss_nm + roller.inertia_kg_m2 * truth.roller_acceleration_rad_s2
    drive_nm = car.efficiency * car.turns * truth.engine_torque_nm
    given = drive_nm - car.inertia_kg_m2 * truth.roller_acceleration_rad_s2
    assert total == pytest.approx(given, rel=1e-9)
    assert truth.roller_power_w == pytest.approx(truth.roller_speed_rad_s * total, rel=1e-9)


def test_speed_is_the_slope_of_the_angle_and_acceleration_that_of_speed() -> None:
    run = drive(held_pulls()[0])
    time = np.arange(2.0, 30.0, 1e-3)
    truth = run.at(time)
    turned = np.diff(truth.roller_angle_rad)
    assert turned == pytest.approx(
        1e-3 * 0.5 * (truth.roller_speed_rad_s[1:] + truth.roller_speed_rad_s[:-1]), rel=1e-6
    )
    gained = np.gradient(truth.roller_speed_rad_s, 1e-3)
    assert gained[5:-5] == pytest.approx(truth.roller_acceleration_rad_s2[5:-5], abs=0.02)
