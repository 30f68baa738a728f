"""Several checks of one brake: all of them count, and so does how far they lie apart."""

import numpy as np
import pytest
from scipy import stats

from pullbook.measure.brakecheck import STANDARD_GRAVITY_M_S2, BrakeCheck, Step, check_brake
from pullbook.measure.brakepool import pool_checks

ARM_M = 0.35
UP = (0.0, 10.0, 20.0, 40.0, 60.0)


def _check(scale: float, zero_nm: float = 1.5, arm_u_m: float = 0.0005) -> BrakeCheck:
    truth = [mass * STANDARD_GRAVITY_M_S2 * ARM_M for mass in UP]
    ways = ((True, zip(UP, truth, strict=True)), (False, zip(UP[::-1], truth[::-1], strict=True)))
    steps = [Step(mass, (nm + zero_nm) / scale, rising) for rising, both in ways for mass, nm in both]
    return check_brake(steps, ARM_M, arm_u_m)


def test_one_check_stays_as_it_is():
    one = _check(1.02)
    pool = pool_checks([one])
    assert (pool.scale, pool.zero_nm) == (one.scale, one.zero_nm)
    assert pool.scale_u == pytest.approx(one.scale_u)
    assert pool.scale_scatter is None
    assert pool.words == ()


def test_checks_that_agree_are_no_surer_than_one_since_they_share_arm_and_weights():
    pool = pool_checks([_check(1.02)] * 3)
    assert pool.scale == pytest.approx(1.02)
    assert pool.scale_u == pytest.approx(_check(1.02).scale_u)


def test_what_lies_between_checks_is_in_the_uncertainty_of_their_mean():
    scales, zeros = (1.018, 1.021, 1.0205, 1.0195), (1.0, 1.4, 1.8, 1.2)
    checks = [_check(scale, zero) for scale, zero in zip(scales, zeros, strict=True)]
    pool = pool_checks(checks)
    assert pool.scale == pytest.approx(np.mean(scales))
    assert pool.zero_nm == pytest.approx(np.mean(zeros))
    half = stats.sem(scales) * stats.t.ppf(0.975, 3)  # the 95 % interval of a mean, GUM H.1's way
    common = float(np.sqrt(np.mean([one.scale_u**2 for one in checks])))
    assert pool.scale_u == pytest.approx(np.hypot(common, half / 1.96), rel=1e-3)
    assert pool.zero_u_nm > stats.sem(zeros)
    assert "mean of 4 checks" in pool.words[0]


def test_a_check_that_does_not_belong_with_the_others_is_pointed_at():
    pool = pool_checks([_check(1.02), _check(1.02), _check(1.08)])
    assert pool.words[-1].startswith("Look first:")


def test_twice_the_uncertainty_holds_the_truth_of_a_scale_that_walks_from_day_to_day():
    chance, hits, trials = np.random.default_rng(5), 0, 300
    for _ in range(trials):
        pool = pool_checks([_check(scale, arm_u_m=1e-9) for scale in 1.02 + 0.004 * chance.standard_normal(3)])
        hits += abs(pool.scale - 1.02) <= 2.0 * pool.scale_u
    assert hits / trials >= 0.94


def test_no_check_gives_no_scale():
    with pytest.raises(ValueError, match="no check"):
        pool_checks([])
