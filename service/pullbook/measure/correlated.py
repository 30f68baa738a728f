"""Means and slopes of samples that are not independent: how sure they are, after their own memory.

Neighbouring samples of a controlled brake or of a late probe say nearly the same. The variance of a mean of n such
samples is that of n/τ independent ones, where τ = 1 + 2·Σ ρ_k; the sum is ended by Geyer's initial positive sequence
(1992, Statistical Science 7, 473-483; from memory). JCGM 100:2008, 4.2.7, asks for such care, the method is open.

A fit takes part of a long memory with it: what is left remembers less than there was, and scatters less. So τ is never
below that of a first-order process whose coefficient is mended for the fit, and scatter is shared among fewer degrees.
"""

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array
from pullbook.measure.studentt import two_sided_95


@dataclass(frozen=True)
class Trend:
    """A series around a polynomial in time.

    value: its mean. u_mean: standard uncertainty of that mean from scatter alone. spread: standard deviation around the
    polynomial. slope, u_slope: change a second in the middle (first derivative), with its standard uncertainty.
    bend, u_bend: second derivative, zero where the polynomial is a line. independent: how many independent samples the
    series is worth.
    """

    value: float
    u_mean: float
    spread: float
    slope: float
    u_slope: float
    bend: float
    u_bend: float
    independent: float


def memory(residuals: Array, fitted: int = 1) -> float:
    """τ: over how many samples a series remembers itself; 1 where it does not, never below.

    `residuals`: (n,) what a fit of so many coefficients, `fitted`, left over; 1 for a mean alone.
    """
    count = len(residuals)
    power = float(residuals @ residuals)
    if count < 8 or not power > 0.0:
        return 1.0
    size = 1 << (2 * count - 1).bit_length()
    spectrum = np.fft.rfft(residuals, size)
    rho = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, size)[: count // 2] / power
    pairs = rho[0 : len(rho) // 2 * 2 : 2] + rho[1 : len(rho) // 2 * 2 : 2]
    ended = np.flatnonzero(pairs <= 0.0)
    until = int(ended[0]) if len(ended) else len(pairs)
    return max(1.0, 2.0 * float(pairs[:until].sum()) - 1.0, _first_order(float(rho[1]), count, fitted))


def _first_order(phi: float, count: int, fitted: int) -> float:
    """τ of a first-order process whose coefficient was estimated from the rest of a fit; 1 where that is chance.

    The estimate's bias, (k + (k + 2)·φ)/n for k fitted shapes, is Kendall's (1954, Biometrika 41, 403-404; from memory)
    for a mean, carried on from a mean and a line.
    """
    if phi <= 2.0 / count**0.5:
        return 1.0
    mended = min(phi + (fitted + (fitted + 2.0) * phi) / count, 0.999)
    return (1.0 + mended) / (1.0 - mended)


def trend(values: Array, step_s: float, degree: int = 1) -> Trend:
    """A line (`degree` 1) or a parabola (2) through even samples `step_s` apart; (n,) finite, n above degree + 1."""
    count = len(values)
    away = (np.arange(count) - 0.5 * (count - 1)) * step_s
    basis = np.vander(away, degree + 1, increasing=True)
    inverse = np.linalg.inv(basis.T @ basis)
    fitted = inverse @ (basis.T @ values)
    residuals = values - basis @ fitted
    tau = memory(residuals, degree + 1)
    independent = max(count / tau, 1.0)
    variance = float(residuals @ residuals) / max(count - (degree + 1) * tau, 0.2 * (count - degree - 1), 1.0)
    deviations = np.sqrt(np.diagonal(inverse) * variance * tau)
    return Trend(
        value=float(values.mean()),
        u_mean=float((variance * tau / count) ** 0.5),
        spread=float(variance**0.5),
        slope=float(fitted[1]),
        u_slope=float(deviations[1]),
        bend=2.0 * float(fitted[2]) if degree > 1 else 0.0,
        u_bend=2.0 * float(deviations[2]) if degree > 1 else 0.0,
        independent=independent,
    )


def widened(u: float, independent: float, fitted: int = 2) -> float:
    """A standard uncertainty from few samples, made so wide that twice it holds 95 % as Student's t has it."""
    return u * float(two_sided_95(max(independent - fitted, 1.0))) / 1.96
