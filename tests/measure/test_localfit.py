"""The local polynomial fit against published coefficients, scipy, and polynomials."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import savgol_filter

from pullbook.measure.localfit import local_fit, middle_row, noise_variance
from tests.published.published_rows import case, published


@pytest.mark.parametrize("row", published("savitzky_golay"), ids=case)
def test_it_has_the_published_coefficients(row):
    words = dict(word.split("=") for word in row.inputs["inputs"].split())
    made = middle_row(int(words["window"]) // 2, int(words["order"]), int(words["derivative"]))
    expected = [float(number) for number in row.expected.strip("[]").split()]
    assert np.allclose(made, expected, rtol=0.0, atol=1e-6), row.source  # they are printed to seven digits


@pytest.mark.parametrize(("half", "degree", "derivative"), [(2, 2, 0), (5, 2, 1), (9, 3, 1), (12, 3, 2), (6, 4, 2)])
def test_it_is_the_same_as_scipys_to_the_very_ends(half, degree, derivative):
    y = np.random.default_rng(3).normal(size=80)
    theirs = savgol_filter(y, 2 * half + 1, degree, deriv=derivative, mode="interp")
    assert np.allclose(local_fit(y, half, degree, derivative), theirs, rtol=0.0, atol=1e-10)


@given(st.lists(st.floats(-3.0, 3.0), min_size=3, max_size=3), st.integers(2, 8))
def test_it_gives_back_a_parabola_and_its_slope(coefficients, half):
    x = np.linspace(-1.0, 1.0, 41)
    a, b, c = coefficients
    y = a + b * x + c * x * x
    step = x[1] - x[0]
    assert np.allclose(local_fit(y, half, 2, 0), y, atol=1e-10)
    assert np.allclose(local_fit(y, half, 2, 1) / step, b + 2.0 * c * x, atol=1e-8)


def test_it_finds_the_noise_on_a_curve_without_counting_its_corner():
    x = np.linspace(0.0, 1.0, 3000)
    curve = np.abs(x - 0.4) * 50.0 + np.sin(3.0 * x)
    draws = np.random.default_rng(8).normal(0.0, 0.03, (40, 3000))
    # one draw tells it to 5 % (k = 1), since differences hang together; forty to 0.8 %
    assert np.mean([noise_variance(curve + draw) for draw in draws]) == pytest.approx(9e-4, rel=0.03)
