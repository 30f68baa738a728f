"""A slow stray is in the uncertainty of what is fitted, as large as the harm it does; where none is, nothing is."""

import numpy as np
import pytest
from scipy import stats

from pullbook.measure.straying import strayed_u

AT_S = np.arange(0.0, 9.0, 0.02)
NOISE, KEEPS_S = 0.002, 1.2
SLOPES = np.stack((np.clip(AT_S - 2.0, 0.0, 1.2), np.clip(AT_S - 5.0, 0.0, 2.0), np.ones(len(AT_S))))
WANTED = np.array([1.0, 1.0, 0.0])
ALIKE = np.exp(-0.5 * ((AT_S[:, None] - AT_S) / KEEPS_S) ** 2)
ROOT = np.linalg.cholesky(ALIKE + 1e-8 * np.eye(len(AT_S)))
WEIGHT = np.full(len(AT_S), NOISE**-2.0)
NORMAL = (SLOPES * WEIGHT) @ SLOPES.T
BY_ROW = np.linalg.solve(NORMAL, SLOPES * WEIGHT)


def _fitted(values):
    """Least squares: the sum that is wanted, and what strays are said to do to it."""
    found = BY_ROW @ values
    return float(WANTED @ found), strayed_u(AT_S, values - found @ SLOPES, WEIGHT, SLOPES, NORMAL, WANTED)


def _values(chance, strays):
    return chance.normal(0.0, NOISE, len(AT_S)) + strays * (ROOT @ chance.standard_normal(len(AT_S)))


def test_it_is_as_large_as_the_harm_that_strays_do():
    chance, by_row = np.random.default_rng(1), WANTED @ BY_ROW
    both = np.array([_fitted(_values(chance, 0.004)) for _ in range(300)])
    harm = 0.004 * float(np.sqrt(by_row @ ALIKE @ by_row))  # the exact standard deviation; the truth is nought
    assert harm < float(np.sqrt(np.mean(both[:, 1] ** 2))) < harm * stats.t.ppf(0.975, 2.0) / 1.96
    assert 0.93 <= np.mean(np.abs(both[:, 0]) <= 2.0 * both[:, 1]) <= 0.99


def test_white_noise_alone_adds_next_to_nothing():
    chance = np.random.default_rng(2)
    stated = [_fitted(_values(chance, 0.0))[1] for _ in range(100)]
    straight = NOISE * float(np.sqrt(WANTED @ np.linalg.solve(SLOPES @ SLOPES.T, WANTED)))
    assert np.median(stated) <= straight


def test_it_grows_as_the_stray_does():
    once, thrice = (_fitted(_values(np.random.default_rng(3), size))[1] for size in (0.01, 0.03))
    assert thrice == pytest.approx(3.0 * once, rel=0.05)


def test_too_short_a_record_says_nothing():
    few = slice(0, 40)
    normal = SLOPES[:, few] @ SLOPES[:, few].T + np.eye(3)
    assert strayed_u(AT_S[few], np.ones(40), np.ones(40), SLOPES[:, few], normal, WANTED) == 0.0
