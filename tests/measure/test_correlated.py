"""Means and slopes of samples with a memory, against textbook variances and scipy."""

import numpy as np
import pytest
from scipy import signal, stats

from pullbook.measure.correlated import memory, trend, widened


def test_the_memory_of_a_first_order_process_is_one_plus_over_one_less():
    # Box and Jenkins: variance of a mean of n values of an AR(1) process is σ²/n · (1 + φ)/(1 − φ) for large n
    chance = np.random.default_rng(4)
    for phi in (0.0, 0.5, 0.9):
        series = signal.lfilter([1.0], [1.0, -phi], chance.standard_normal(200_000))
        assert memory(series - series.mean()) == pytest.approx((1.0 + phi) / (1.0 - phi), rel=0.1)


def test_the_uncertainty_of_a_mean_is_what_means_scatter_by():
    chance = np.random.default_rng(5)
    series = signal.lfilter([1.0], [1.0, -0.8], chance.standard_normal((400, 600)), axis=1)
    found = [trend(one, 0.1) for one in series]
    scatter = float(np.std([one.value for one in found]))
    assert float(np.mean([one.u_mean for one in found])) == pytest.approx(scatter, rel=0.15)


@pytest.mark.parametrize(("count", "phi"), [(300, 0.9), (300, 0.95), (1000, 0.95)])
def test_a_long_memory_does_not_make_a_mean_too_sure(count, phi):
    chance = np.random.default_rng(int(100 * phi) + count)
    series = signal.lfilter([1.0], [1.0, -phi], chance.standard_normal((400, count + 1000)), axis=1)[:, 1000:]
    found = [trend(one, 0.1) for one in series]
    held = np.mean([abs(one.value) <= 2.0 * widened(one.u_mean, one.independent) for one in found])
    assert held >= 0.90  # 93 to 96 % over many trials, 81 to 92 % were the fit's share left out; 400 trials here
    scatter = float(np.std([one.value for one in found]))
    assert np.median([one.u_mean for one in found]) < 1.4 * scatter


def test_a_slope_and_its_error_are_those_of_a_straight_line_fit():
    chance = np.random.default_rng(6)
    time = np.arange(400) * 0.1
    values = 5.0 + 0.3 * time + chance.standard_normal(400)
    made, known = trend(values, 0.1), stats.linregress(time, values)
    assert made.slope == pytest.approx(known.slope, rel=1e-9)
    tau = 400.0 / made.independent
    shared = 398.0 / (400.0 - 2.0 * tau)  # scatter shared among what the fit and the memory leave
    assert made.u_slope == pytest.approx(known.stderr * (tau * shared) ** 0.5, rel=1e-9)
    assert tau < 1.6


def test_a_bend_is_the_second_derivative():
    time = np.arange(50) * 0.2
    made = trend(3.0 - time + 0.7 * time * time, 0.2, 2)
    assert made.bend == pytest.approx(1.4, rel=1e-9)
    assert made.slope == pytest.approx(-1.0 + 1.4 * float(time.mean()), rel=1e-9)


def test_few_samples_widen_an_uncertainty_as_student_does():
    assert widened(1.0, 12.0) == pytest.approx(stats.t.ppf(0.975, 10.0) / 1.96, rel=1e-5)
    assert widened(1.0, 1e9) == pytest.approx(1.0, rel=1e-4)
