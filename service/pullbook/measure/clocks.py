"""Two loggers' clocks laid over each other by the engine speed that both wrote down.

A sum of squared differences over every whole tenth of a second (by Fourier transforms, gaps left out) tells where to
look; Gauss-Newton steps on the offset, with Huber's weights (1964) against stray samples, tell it below one sample.
One offset holds for the whole file: a crystal that is 100 parts per million off drifts 6 ms in a minute, less than
what is told here.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Indices
from pullbook.measure.held import in_order, thinned, when_new
from pullbook.measure.resampling import laid_on

_Spectrum = NDArray[np.complex128]
_COARSE_S = 0.1
_FINE_S = 0.02
_LEAST_S = 3.0  # of both recordings beside each other
_LEAST_SHARE = 0.5  # of the shorter one
_LONGEST_S = 86_400.0
_MOVES_RPM = 60.0  # standard deviation: an engine that keeps its speed is the same at any offset
_LOOSEST = 0.1  # share of the variance that may remain: above, it is not the same engine at the same time
_APART_S = 0.5  # another offset is one at least this far off
_TWICE = 1.5  # how many times better than the next best the best must fit
_SURE_S = 0.05


@dataclass(frozen=True)
class ClockOffset:
    """How far one clock is from another.

    offset_s: s to *add* to the second clock's stamps to have them on the first's (t_a = t_b + offset_s); None where
        none can be told, and `reason` then says why and what would do.
    u_s: its standard uncertainty (k = 1), s.
    residual_rpm: rms difference of the two engine speeds at that offset, rev/min.
    matched_share: how much of the shorter recording lies beside the other, 0 to 1.
    next_best_s, next_best_residual_rpm: the best offset that is another one, and its rms difference; None: there is
        no other.
    """

    offset_s: float | None
    u_s: float | None
    residual_rpm: float | None
    matched_share: float
    reason: str | None
    next_best_s: float | None = None
    next_best_residual_rpm: float | None = None


@dataclass(frozen=True)
class _Fit:
    offset_s: float
    u_s: float
    residual_rpm: float
    share: float
    unexplained: float
    moves_rpm: float


def clock_offset(time_a_s: Array, rpm_a: Array, time_b_s: Array, rpm_b: Array) -> ClockOffset:
    """The offset between two clocks, from the engine speed that was recorded on both.

    `time_a_s`, `rpm_a`: (rows,) on the first clock, s and rev/min; `time_b_s`, `rpm_b`: on the second, of their own
    length and rate (10 Hz and 200 Hz will do). Blanks, zeros, unordered stamps and held values are allowed. What is
    found includes any lateness of the second file's engine speed itself. Never raises: what cannot be told has a
    `reason` that says what would do.
    """
    a, b = _cleaned(time_a_s, rpm_a), _cleaned(time_b_s, rpm_b)
    for name, (when, what) in (("first", a), ("second", b)):
        reason = _unfit(name, when, what)
        if reason:
            return ClockOffset(None, None, None, 0.0, reason)
    starts = _candidates(a, b)
    if not starts:
        text = (
            f"The recordings last {np.ptp(a[0]):.1f} s and {np.ptp(b[0]):.1f} s; at least {_LEAST_S:.0f} s with a "
            "change of engine speed must lie in both. Give the offset by hand."
        )
        return ClockOffset(None, None, None, 0.0, text)
    fits = sorted((_refined(a, b, start) for start in starts), key=lambda fit: fit.unexplained)
    best = fits[0]
    others = [fit for fit in fits[1:] if abs(fit.offset_s - best.offset_s) > _APART_S]
    found = ClockOffset(best.offset_s, best.u_s, best.residual_rpm, best.share, None)
    if others:
        found = replace(found, next_best_s=others[0].offset_s, next_best_residual_rpm=others[0].residual_rpm)
    reason = _doubt(best, others)
    return found if reason is None else replace(found, offset_s=None, u_s=None, reason=reason)


def _cleaned(time_s: Array, rpm: Array) -> tuple[Array, Array]:
    """Turning samples in order, held ones at the moment they were new, not closer than needed."""
    when, what = in_order(np.asarray(time_s, np.float64), np.where(np.asarray(rpm) > 0.0, rpm, np.nan))
    when, what = when_new(when, what)
    return thinned(when, what, _FINE_S) if len(when) else (when, what)


def _unfit(name: str, when: Array, what: Array) -> str | None:
    if len(when) < 10 or when[-1] - when[0] < _LEAST_S:
        return (
            f"The {name} recording has engine speed in {len(when)} samples over "
            f"{when[-1] - when[0] if len(when) else 0.0:.1f} s; matching needs {_LEAST_S:.0f} s of it. "
            "Give the offset by hand."
        )
    if when[-1] - when[0] > _LONGEST_S:
        return f"The {name} recording spans more than a day; cut it to the pull, or give the offset by hand."
    if float(what.std()) < _MOVES_RPM:
        return (
            f"Engine speed hardly changes in the {name} recording ({float(what.std()):.0f} rev/min standard deviation)"
            ": it fits at any offset. Record a sweep or a blip of the throttle in both, or give the offset by hand."
        )
    return None


def _candidates(a: tuple[Array, Array], b: tuple[Array, Array]) -> list[float]:
    """Offsets to look at closely, in s, the likeliest first; none where the recordings are too short."""
    first, second = (_even(*one) for one in (a, b))
    counts, misfit = _misfit(first, second)
    shortest = min(np.isfinite(first).sum(), np.isfinite(second).sum())
    enough = counts >= max(_LEAST_S / _COARSE_S, _LEAST_SHARE * float(shortest))
    misfit = np.where(enough, misfit, np.inf)
    inner = np.pad(misfit, 1, constant_values=np.inf)
    dips = np.flatnonzero(np.isfinite(misfit) & (misfit <= inner[:-2]) & (misfit <= inner[2:]))
    dips = dips[np.argsort(misfit[dips], kind="stable")][:6]
    zero = len(second) - 1  # at this place both grids begin together
    return [float(a[0][0] - b[0][0] + (place - zero) * _COARSE_S) for place in dips]


def _even(when: Array, what: Array) -> Array:
    return laid_on(when[0] + _COARSE_S * np.arange(int((when[-1] - when[0]) / _COARSE_S) + 1), when, what)


def _misfit(first: Array, second: Array) -> tuple[Array, Array]:
    """For every shift of the second: how many samples lie beside each other, and the share of variance unexplained."""
    length = 1 << int(len(first) + len(second)).bit_length()
    middle = float(np.nanmean(first))
    there = [np.isfinite(one) for one in (first, second)]
    filled = [np.where(known, one - middle, 0.0) for one, known in zip((first, second), there, strict=True)]
    spectra = [
        [np.fft.rfft(row, length) for row in (known, one, one * one)]
        for known, one in zip((there[0].astype(float), there[1].astype(float)), filled, strict=True)
    ]
    (n1, x1, q1), (n2, x2, q2) = spectra

    def beside(one: _Spectrum, other: _Spectrum) -> Array:
        made = np.fft.irfft(one * np.conj(other), length)
        return np.concatenate((made[length - len(second) + 1 :], made[: len(first)]))

    counts = np.rint(beside(n1, n2))
    some = np.maximum(counts, 1.0)
    squares1, squares2 = beside(q1, n2) / some, beside(n1, q2) / some
    means1, means2 = beside(x1, n2) / some, beside(n1, x2) / some
    apart = np.maximum(squares1 + squares2 - 2.0 * beside(x1, x2) / some, 0.0)
    varies = 0.5 * (squares1 - means1**2 + squares2 - means2**2)
    return counts, np.where(varies > _MOVES_RPM**2, apart / np.maximum(varies, 1.0), np.inf)


def _refined(a: tuple[Array, Array], b: tuple[Array, Array], start_s: float) -> _Fit:
    """From a start within a tenth of a second or two to the offset of least (robust) squares."""
    swapped = len(a[0]) / np.ptp(a[0]) < len(b[0]) / np.ptp(b[0])  # the coarser one's samples are laid on the finer
    (when, what), (fine_s, fine) = (a, b) if swapped else (b, a)
    offset = -start_s if swapped else start_s
    slope = np.gradient(fine, fine_s)
    scan = offset + np.arange(-15, 16) * 0.02
    gaps = laid_on(when + scan[:, None], fine_s, fine) - what
    rms = np.sqrt(np.nanmean(np.minimum(gaps**2, 4.0 * np.nanmedian(gaps**2)), axis=1))
    offset = float(scan[int(np.nanargmin(rms))])
    for _ in range(8):
        laid = laid_on(when + offset, fine_s, fine)
        rows = np.flatnonzero(np.isfinite(laid))
        gap, steep = laid[rows] - what[rows], np.interp(when[rows] + offset, fine_s, slope)
        scale = 1.4826 * float(np.median(np.abs(gap))) + 1e-9
        weight = np.minimum(1.0, 1.5 * scale / np.maximum(np.abs(gap), 1e-12))
        step = -float((weight * steep) @ gap) / max(float((weight * steep) @ steep), 1e-12)
        offset += float(np.clip(step, -0.1, 0.1))
        if abs(step) < 1e-5:
            break
    return _told(a, b, -offset if swapped else offset, (when, what, gap, steep, weight, rows))


def _told(
    a: tuple[Array, Array],
    b: tuple[Array, Array],
    offset_s: float,
    at: tuple[Array, Array, Array, Array, Array, Indices],
) -> _Fit:
    when, what, gap, steep, weight, rows = at
    square = float(np.average(gap**2, weights=weight))
    near = float(np.clip((gap[1:] @ gap[:-1]) / max(float(gap @ gap), 1e-12), 0.0, 0.95))
    alike = (1.0 + near) / (1.0 - near)  # neighbours that err together count for less
    rounding = np.median(np.diff(when)) ** 2 / 12.0 / max(len(rows), 1)  # of when the slower source was asked
    u = np.sqrt(square * alike / max(float((weight * steep) @ steep), 1e-12) + rounding + (_FINE_S / 20.0) ** 2)
    shorter = min(float(np.ptp(a[0])), float(np.ptp(b[0])))
    both = min(a[0][-1], b[0][-1] + offset_s) - max(a[0][0], b[0][0] + offset_s)
    beside = what[rows]
    varies = float(beside.var()) if len(beside) else 0.0
    return _Fit(
        offset_s,
        float(u),
        float(np.sqrt(square)),
        float(np.clip(both / shorter, 0.0, 1.0)),
        square / max(varies, 1e-9),
        float(np.sqrt(varies)),
    )


def _doubt(best: _Fit, others: list[_Fit]) -> str | None:
    """Why the best offset is not to be relied on; None where it is."""
    by_hand = "Give the offset by hand, or join a file in which engine speed changes during the pull."
    if best.moves_rpm < _MOVES_RPM:
        return f"Engine speed hardly changes where both recordings lie beside each other. {by_hand}"
    if best.unexplained > _LOOSEST:
        return (
            f"The two engine speeds differ by {best.residual_rpm:.0f} rev/min rms at the best offset: that is not the "
            f"same engine at the same time. {by_hand}"
        )
    alike = [fit for fit in others if fit.residual_rpm < _TWICE * best.residual_rpm]
    if alike:
        return (
            f"The recordings fit about as well at {alike[0].offset_s:+.2f} s ({alike[0].residual_rpm:.0f} rev/min rms) "
            f"as at {best.offset_s:+.2f} s ({best.residual_rpm:.0f} rev/min rms). Cut the second file to this pull, or "
            "give the offset by hand."
        )
    if best.u_s > _SURE_S:
        return f"The offset is known to no better than {best.u_s:.2f} s (k = 1). {by_hand}"
    return None
