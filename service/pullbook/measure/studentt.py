"""Student's t distribution, as far as intervals and verdicts need it: its distribution function and its quantiles.

By the regularised incomplete beta function (Abramowitz and Stegun 1964, 26.7.1 and, for the continued fraction, 26.5.8,
both from memory); the tests hold both against scipy and against printed tables.
"""

from functools import lru_cache
from math import lgamma, pi, tan
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from pullbook.measure.curveparts import Array

_MOST_STEPS = 400
_NEAR = 1e-15
_KNOTS = 513
_TINY = 1e-300


def t_cdf(t: ArrayLike, dof: ArrayLike) -> Array:
    """The chance of a value below t; arrays of one shape (or scalars). `dof` above 0, whole or not."""
    at, nu = np.broadcast_arrays(np.asarray(t, np.float64), np.asarray(dof, np.float64))
    shape = at.shape
    at, nu = np.atleast_1d(at), np.atleast_1d(nu)
    tail = 0.5 * _incomplete_beta(0.5 * nu, 0.5, nu / (nu + at * at))
    below: Array = np.where(at >= 0.0, 1.0 - tail, tail).reshape(shape)
    return below


def t_quantile(probability: float, dof: ArrayLike) -> Array:
    """The t that a value stays below with this chance; `probability` from 0.5 to below 1, `dof` 1 or more.

    ValueError outside. Newton's steps from the normal quantile: the distribution function bends one way above zero, so
    they rise to the root and never pass it.
    """
    nu = np.asarray(dof, np.float64)
    if not 0.5 <= probability < 1.0:
        raise ValueError(f"a probability of {probability} will not do; from 0.5 to below 1 would")
    if not np.all(nu >= 1.0):
        raise ValueError("fewer than 1 degree of freedom will not do")
    shape, nu = nu.shape, np.atleast_1d(nu)
    t = np.full(nu.shape, NormalDist().inv_cdf(probability))
    highest = tan(pi * (probability - 0.5)) if probability > 0.5 else 0.0  # the quantile for one degree of freedom
    for _ in range(60):
        step = (probability - t_cdf(t, nu)) / _density(t, nu)
        t = np.minimum(t + step, max(highest, 0.0))
        if np.all(np.abs(step) <= 1e-13 * (1.0 + t)):
            break
    return t.reshape(shape)


def two_sided_95(dof: ArrayLike) -> Array:
    """The t that holds 95 % of the values between −t and t, for `dof` of 1 or more (infinity too), of any shape.

    Read off a table that is made once, good to 1e-6 of the value: curves have a hundred points, each with a `dof`.
    """
    reciprocals, logarithms = _table()
    read: Array = np.exp(np.interp(1.0 / np.asarray(dof, np.float64), reciprocals, logarithms))
    return read


@lru_cache(maxsize=1)
def _table() -> tuple[Array, Array]:
    """1/dof from 0 to 1, and the logarithm of the 97.5 % quantile there."""
    reciprocals = np.linspace(0.0, 1.0, _KNOTS)
    quantiles = np.empty(_KNOTS)
    quantiles[0] = NormalDist().inv_cdf(0.975)
    quantiles[1:] = t_quantile(0.975, 1.0 / reciprocals[1:])
    return reciprocals, np.log(quantiles)


def _density(t: Array, nu: Array) -> Array:
    scale = np.array([lgamma(0.5 * (one + 1.0)) - lgamma(0.5 * one) for one in nu.tolist()])
    made: Array = np.exp(scale - 0.5 * np.log(nu * pi) - 0.5 * (nu + 1.0) * np.log1p(t * t / nu))
    return made


def _incomplete_beta(a: Array, b: float, x: Array) -> Array:
    """I_x(a, b), regularised; turned round where the continued fraction would be slow."""
    turned = x > (a + 1.0) / (a + b + 2.0)
    first, second = np.where(turned, b, a), np.where(turned, a, b)
    at = np.where(turned, 1.0 - x, x)
    with np.errstate(divide="ignore"):  # x of 0 or 1: the logarithm is −inf and the share 0
        front = np.exp(
            np.array([lgamma(one + b) - lgamma(one) for one in a.tolist()])
            - lgamma(b)
            + first * np.log(at)
            + second * np.log1p(-at)
        )
    share = front * _fraction(first, second, at) / first
    made: Array = np.where(turned, 1.0 - share, share)
    return made


def _fraction(a: Array, b: Array, x: Array) -> Array:
    """The continued fraction of the incomplete beta function, from the front, by ratios (modified Lentz)."""
    over = np.ones_like(x)
    under = 1.0 / _kept(1.0 - (a + b) * x / (a + 1.0))
    value = under.copy()
    for m in range(1, _MOST_STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for part in (even, odd):
            under = 1.0 / _kept(1.0 + part * under)
            over = _kept(1.0 + part / over)
            value = value * over * under
        if np.all(np.abs(over * under - 1.0) < _NEAR):
            break
    return value


def _kept(values: Array) -> Array:
    """Values with none too near zero to divide by."""
    made: Array = np.where(np.abs(values) < _TINY, _TINY, values)
    return made
