"""Local polynomial fits on a uniform base (Savitzky and Golay 1964): value, slope or curvature at every point.

The rows of coefficients depend on the half width, the degree and the derivative alone, so they are kept.
"""

from functools import cache
from math import factorial

import numpy as np

from pullbook.measure.curveparts import Array


@cache
def polynomial_rows(half: int, degree: int) -> Array:
    """Rows k = 0 … degree, each 2·half + 1 long: row k applied to samples gives the fitted coefficient of j^k,
    j counting samples from the middle."""
    scaled = np.arange(-half, half + 1, dtype=np.float64) / half
    rows = np.linalg.pinv(np.vander(scaled, degree + 1, increasing=True))
    made: Array = np.asarray(rows, np.float64) / (float(half) ** np.arange(degree + 1))[:, None]
    return made


@cache
def middle_row(half: int, degree: int, derivative: int) -> Array:
    """The coefficients that give the derivative in the middle of a full window, per sample spacing."""
    row: Array = polynomial_rows(half, degree)[derivative] * factorial(derivative)
    return row


@cache
def _edge_rows(half: int, degree: int, derivative: int) -> Array:
    """One row for each of the first `half` points: the first full window's polynomial, read away from its middle."""
    rows = polynomial_rows(half, degree)
    at = np.arange(-half, 0, dtype=np.float64)
    powers = np.zeros((half, degree + 1))
    for k in range(derivative, degree + 1):
        powers[:, k] = factorial(k) / factorial(k - derivative) * at ** (k - derivative)
    made: Array = powers @ rows
    return made


def local_fit(y: Array, half: int, degree: int, derivative: int) -> Array:
    """The derivative of the local polynomial at each of the samples, per sample spacing; as long as y.

    Needs at least 2·half + 1 samples and half ≥ 1; the ends are read off the first and the last full window.
    """
    width = 2 * half + 1
    edge = _edge_rows(half, degree, derivative)
    made = np.empty(len(y))
    made[half : len(y) - half] = np.convolve(y, middle_row(half, degree, derivative)[::-1], "valid")
    made[:half] = edge @ y[:width]
    sign = -1.0 if derivative % 2 else 1.0
    made[len(y) - half :] = sign * (edge @ y[: -width - 1 : -1])[::-1]
    return made


def noise_variance(y: Array) -> float:
    """Variance of white noise on a smooth curve, from its fourth differences.

    The largest twentieth is left out, so that a corner or a spike does not count as noise; 0.7588 is what leaving it
    out takes off a chi-square of one degree. 70 is the sum of the squared weights 1, 4, 6, 4, 1.
    Neighbouring differences tell little new, so long records are read in steps.
    """
    if len(y) < 12:
        return 0.0
    step, last = max(1, len(y) // 600), len(y) - 4
    middle, beside, ends = y[2 : last + 2 : step], y[1 : last + 1 : step] + y[3 : last + 3 : step], y[:last:step]
    fourth = 6.0 * middle - 4.0 * beside + (ends + y[4::step])
    fourth *= fourth
    keep = max(1, int(0.95 * len(fourth)))
    fourth.partition(keep - 1)
    return float(np.add.reduce(fourth[:keep]) / (keep * 70.0 * 0.7588))
