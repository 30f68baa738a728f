"""The budget of a figure: it says what the figure's own uncertainty says, and the truth is where it says."""

from math import inf, sqrt

import numpy as np
import pytest

from pullbook.measure.budget import budget_of
from pullbook.measure.curve import SweepSettings, read_sweep
from pullbook.measure.propagation import coverage_factor, effective_dof
from pullbook.measure.uncertainty import BRAKE_ZERO_U_NM
from tests.measure.made_sweeps import SPARK, rounded, sweep_lasting
from tests.measure.test_sweep_flags import MILD
from tests.studies.absolute import CASES, held_pct, read_air, samples, study, told, world_of

MADE = sweep_lasting(8.0, rounded)
BOTH = ("peak_power", "mean_power")


def _curve(**constants):
    known = {"inertia_u_kg_m2": 0.004 * MADE.inertia_kg_m2, "loss_c0_nm": 9.0, "loss_u_nm": 1.0, **constants}
    return read_sweep(MADE.channels(200.0, 0.4, 1), MADE.calibration(**known), MILD, SPARK, SweepSettings())


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
@pytest.mark.parametrize("figure", BOTH)
def test_the_budget_comes_to_the_figures_expanded_uncertainty(case, figure):
    chance, world = np.random.default_rng(5), world_of(case)
    channels, calibration = samples(case, world, chance), told(case, world, chance)
    curve = read_sweep(channels, calibration, read_air(case, chance), SPARK, SweepSettings(case.standard))
    budget = budget_of(curve, figure)
    stated = getattr(curve.headline, f"{figure}_w")
    assert budget.expanded_w == pytest.approx(stated.expanded_uncertainty, rel=1e-12)
    assert budget.combined_w == pytest.approx(sqrt(sum(row.contribution_w**2 for row in budget.rows)), rel=1e-12)
    assert sum(row.share_pct for row in budget.rows) == pytest.approx(100.0)
    assert budget.cancelling_pct == pytest.approx(
        100.0 - sum(row.share_pct for row in budget.rows if row.name == "noise")
    )


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_sensitivity_is_what_moving_the_input_does(case):
    """Each constant and each reading moved by its own standard uncertainty, and the pull read again."""
    chance, world = np.random.default_rng(6), world_of(case)
    channels, calibration = samples(case, world, chance), told(case, world, chance)
    air, settings = read_air(case, chance), SweepSettings(case.standard)
    curve = read_sweep(channels, calibration, air, SPARK, settings)
    rows = {row.name: row for row in budget_of(curve, "mean_power").rows}
    moved = {
        "inertia": {"inertia_kg_m2": calibration.inertia_kg_m2 + calibration.inertia_u_kg_m2},
        "losses": {"loss_c0_nm": calibration.loss_c0_nm + calibration.loss_u_nm},
        "radius": {"roller_radius_m": calibration.roller_radius_m + calibration.roller_radius_u_m},
        "brake scale": {"brake_scale": calibration.brake_scale + calibration.brake_scale_u},
        "brake arm": {"brake_arm_m": calibration.brake_arm_m + calibration.brake_arm_u_m},
        "brake zero": {"brake_zero_nm": calibration.brake_zero_nm + BRAKE_ZERO_U_NM},
    }
    for name, change in moved.items():
        if name not in rows:
            continue
        there = read_sweep(channels, type(calibration)(**{**vars(calibration), **change}), air, SPARK, settings)
        by_w = there.headline.mean_power_w.value - curve.headline.mean_power_w.value
        said = rows[name].sensitivity * rows[name].standard_uncertainty
        assert said == pytest.approx(by_w, rel=0.03, abs=2e-5 * curve.headline.mean_power_w.value), name


def test_inputs_that_do_not_count_say_nought():
    rows = {row.name: row for row in budget_of(_curve(roller_radius_u_m=0.002)).rows}
    assert rows["radius"].standard_uncertainty == 0.002
    assert rows["radius"].contribution_w == 0.0  # speed came in rad/s
    assert not {"brake scale", "brake zero", "brake arm"} & set(rows)


def test_noise_alone_is_type_a_and_has_degrees_of_freedom():
    for row in budget_of(_curve()).rows:
        assert (row.evaluation == "A") == (row.name == "noise") == (row.degrees_of_freedom < inf)


def test_few_degrees_of_freedom_widen_the_factor_and_many_leave_it_at_two():
    assert coverage_factor(inf) == coverage_factor(60.0) == 2.0
    assert coverage_factor(9.0) == pytest.approx(2.262157, rel=1e-5)  # scipy 1.17.1 t.ppf(0.975, 9)
    assert coverage_factor(1.0) == pytest.approx(12.7062, rel=1e-5)
    assert effective_dof([1.0, 1.0], [4.0, inf]) == pytest.approx(16.0)
    assert effective_dof([1.0], [inf]) == inf


def test_the_truth_is_held_as_often_as_promised():
    """A quarter of what `python -m tests.studies.absolute` does; 95 % promised, and chance may take three of it."""
    assert (held_pct(study(250)) >= 92.0).all()
