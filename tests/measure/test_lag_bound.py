"""What nobody can do better than is worked out rightly: held against closed forms, and against its own promise.

Cramér (1946) and Rao (1945): a ramp of slope m in white noise σ, seen n times, tells when it was to σ / (m √n) at best.
A moment of which only the interval Δ is known is hit within ± h with probability 2 h / Δ (the uniform distribution).
"""

from dataclasses import replace
from math import erf, sqrt

import numpy as np
import pytest

from tests.studies.lag_bound import (
    LITTLE_KNOWN,
    STEP_S,
    Unknown,
    best_possible,
    best_window,
    posterior,
    rows_seen,
)
from tests.studies.lags import WITHIN_LAG_MS, lag_row
from tests.studies.made_lambda import Case, Drawn, after_probe, drawn

AT_ONCE = Unknown(1e-6, np.array([0.0]), np.array([1.0]))
NO_OFFSET = replace(AT_ONCE, offset_u=1e-7)
SLOPE = 0.02


def _ramp(seed, gain=1.0, tau_s=0.0, slope=SLOPE):
    """A command that rises all the while, so that all rows tell alike."""
    case = Case("gentle slopes", "200 Hz", 0.5, seed, 0.02, tau_s)
    made = drawn(case)
    knots = np.array([-20.0, 40.0]), 0.88 + slope * np.array([-26.0, 34.0])
    clean = after_probe(knots, made.time - (case.lag_s - tau_s), tau_s)
    noise = np.random.default_rng(seed).normal(0.0, case.noise, len(made.time))
    return case, Drawn(knots, made.time, 0.88 + gain * (clean - 0.88) + noise, made.asked_at)


def test_of_a_ramp_in_white_noise_it_is_the_cramer_rao_bound():
    case, made = _ramp(3)
    lags, shares = posterior(case, NO_OFFSET, made)
    middle = float(lags @ shares)
    bound_s = case.noise / (SLOPE * sqrt(len(rows_seen(case, made)[0])))
    assert sqrt(float((lags - middle) ** 2 @ shares)) == pytest.approx(bound_s, rel=0.02)
    assert best_window(lags, shares)[0] == pytest.approx(erf(0.020 / (bound_s * sqrt(2.0))), abs=0.01)


def test_a_ramp_of_unknown_offset_tells_no_lag_at_all():
    case, made = _ramp(3)
    lags, shares = posterior(case, AT_ONCE, made)
    assert shares.max() < 1.1 / len(lags)


def test_a_sudden_step_polled_ten_times_a_second_is_hit_four_times_in_ten():
    assert best_possible("sudden step", "10 Hz held", 0.0005, "200 Hz", 6, LITTLE_KNOWN) == pytest.approx(
        0.040 / (0.1 - 0.004), abs=0.03
    )
    assert best_possible("sudden step", "200 Hz", 0.0005, "200 Hz", 2, LITTLE_KNOWN) == pytest.approx(1.0, abs=1e-6)


def test_the_best_guess_hits_as_often_as_is_promised_where_all_is_drawn_as_is_believed():
    known = Unknown(0.05, np.array([0.1]), np.array([1.0]))
    promised, hits = [], []
    for seed in range(60):
        case = Case("gentle slopes", "200 Hz", 0.5, seed, 0.004)
        made = drawn(case)
        gain = np.random.default_rng(seed + 1000).normal(1.0, known.gain_u)
        other = Drawn(made.knots, made.time, made.measured + (gain - 1.0) * (_clean(case, made) - 0.88), made.asked_at)
        share, guess_s = best_window(*posterior(case, known, other))
        promised.append(share)
        hits.append(abs(guess_s - case.lag_s) <= 0.020 + 0.5 * STEP_S)
    scatter = sqrt(float(np.mean(promised)) * (1.0 - float(np.mean(promised))) / len(hits))
    assert np.mean(hits) == pytest.approx(float(np.mean(promised)), abs=2.5 * scatter)


def _clean(case, made):
    return after_probe(made.knots, made.time - (case.lag_s - case.tau_s), case.tau_s)


def test_nobody_tells_gentle_slopes_within_20_ms_and_the_estimator_is_near_the_best():
    best = best_possible("gentle slopes", "200 Hz", 0.004, "200 Hz", 4, LITTLE_KNOWN)
    assert best < 0.25
    row = lag_row("gentle slopes", "200 Hz", seeds=40)
    assert np.mean(np.abs(row.errors_ms) <= WITHIN_LAG_MS) > 0.6 * best
