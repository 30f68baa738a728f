"""Fisher's F distribution, as far as joint regions and tests of spread need it: its function and its quantiles.

By the regularised incomplete beta function (Abramowitz and Stegun 1964, 26.6.2; from memory); the tests hold both
against scipy.
"""

from math import lgamma

import numpy as np

_MOST_STEPS = 400
_NEAR = 1e-15
_TINY = 1e-300


def f_cdf(value: float, over: float, under: float) -> float:
    """The chance of a value below `value` with `over` and `under` degrees of freedom, both above 0."""
    if value <= 0.0:
        return 0.0
    return _share(0.5 * over, 0.5 * under, over * value / (over * value + under))


def f_quantile(probability: float, over: float, under: float) -> float:
    """What F stays below with this chance; `probability` strictly between 0 and 1, or ValueError. By halving."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a probability of {probability} will not do; one between 0 and 1 would")
    low, high = 0.0, 1.0
    while f_cdf(high, over, under) < probability:
        low, high = high, 2.0 * high
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if f_cdf(middle, over, under) < probability else (low, middle)
    return 0.5 * (low + high)


def _share(a: float, b: float, x: float) -> float:
    """I_x(a, b), turned round where its continued fraction would be slow."""
    if x <= 0.0 or x >= 1.0:
        return float(x >= 1.0)
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _share(b, a, 1.0 - x)
    front = lgamma(a + b) - lgamma(a) - lgamma(b) + a * float(np.log(x)) + b * float(np.log1p(-x))
    return float(np.exp(front)) * _fraction(a, b, x) / a


def _fraction(a: float, b: float, x: float) -> float:
    """Modified Lentz, from the front."""
    over, under = 1.0, 1.0 / _kept(1.0 - (a + b) * x / (a + 1.0))
    value = under
    for m in range(1, _MOST_STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for part in (even, odd):
            under = 1.0 / _kept(1.0 + part * under)
            over = _kept(1.0 + part / over)
            value *= over * under
        if abs(over * under - 1.0) < _NEAR:
            break
    return value


def _kept(value: float) -> float:
    return _TINY if abs(value) < _TINY else value
