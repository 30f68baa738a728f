"""How late a probe tells the mixture: found by laying measured λ over commanded λ.

*Lag* here is the effective delay: the way of the gas to the probe (a pure delay) plus the time constant of the probe (a
first-order answer). It is the mean of the answer to a pulse, so a rising or falling mixture is seen exactly that late;
the answer to a step passes 63 % then, where delay and time constant are its two parts.

    λ_measured(t) = offset + gain · (λ_commanded * first order of τ)(t − d),    lag = d + τ

Every whole 20 ms is tried first; then Gauss-Newton steps on d, τ, gain and offset at once, with weights that leave out
what is far off (Beaton and Tukey 1974). Offset and gain belong to the mixture, which need not be right for its lateness
to show. Only the second before a movement of the command and the two after it count: elsewhere λ tells nothing of time,
and a mixture that is not quite as commanded there would be taken for lateness. Where it strays by something of its own
while the command moves, what the fit leaves tells how far, and the uncertainty holds it (`straying`); over one slope
alone no fit can tell that from lateness, and the uncertainty holds too little of it.

A command that is only asked now and then has moved anywhere between two answers. How far apart they are is in the
uncertainty: a single sudden step is placed by them and by nothing else.
"""

from collections.abc import Mapping

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Mask, ProbeLag
from pullbook.measure.held import in_order, thinned, when_bent, when_new
from pullbook.measure.straying import strayed_u

USUAL_LAG_S = 0.45  # common practice: 0.2 to 0.8 s for a probe in the tailpipe at full load
USUAL_U_S = 0.25
STATED_U_S = 0.05  # of a figure that somebody gives
LONGEST_S = 1.8
_STEP_S = 0.02
_MOVES = 0.02  # λ: a command that moves less tells no lag
_STIRS = 0.008  # λ within two seconds: enough to be followed
_MEMORY_S = 2.0
_AHEAD_S = 1.0  # before a movement: what λ was until then tells how far it moved
_LEAD_S = 0.6  # before the sweep: where opening the throttle may move the command
EDGE_S = 0.15  # before the sweep's end: later gas mixes with that of the throttle shutting
_USUAL_TAU_S, _TAU_U_S = 0.10, 0.10
_GAIN_U = 0.15
_UNSURE_S = 0.12
_NUDGE_S = 0.01
_ALIKE = 2e-4  # λ: residuals that small tell nothing between two ways
_FINEST = 5e-4  # λ: no two samples are nearer to each other than that with any meaning
_FLOOR_S = 0.003
_ONE_SIDED = 2.0  # a step that was written down when it was asked lay up to a whole pause before, not half to each side
_LAG = np.array([1.0, 1.0, 0.0, 0.0])  # of delay, time constant, gain and offset
_CLEARLY_OBEYED = 20.0  # log likelihood by which steps must fit better than the course they were taken from


@dataclass(frozen=True)
class _Lines:
    """The command on even steps, long enough before; the measured samples; which of them can tell (`stirred`); and how
    unsure it is when between two of its own samples the command moved."""

    even_s: Array
    command: Array
    time_s: Array
    measured: Array
    stirred: Mask
    between_s: float


@dataclass(frozen=True)
class _Fit:
    delay_s: float
    tau_s: float
    gain: float
    u_s: float
    residual: float
    rows: int


def probe_lag(channels: Mapping[str, Array], sweep_s: tuple[float, float], given_s: float | None = None) -> ProbeLag:
    """The lag of measured behind commanded λ in one pull.

    `channels`: (rows,) arrays with `time_s` and, where there are any, `lambda_commanded` and `lambda_measured`; held
    values of a slow source are allowed. `sweep_s`: first and last moment of full throttle, s. `given_s`: a figure that
    is to be used instead.
    """
    if given_s is not None:
        return ProbeLag(given_s, STATED_U_S, False, "given", "The lag was given by hand.")
    if "lambda_commanded" not in channels or "lambda_measured" not in channels:
        return _usual("There is no commanded λ in this pull to find the lag by. Log the controller's λ target as well.")
    lines = _lines(channels, sweep_s)
    if isinstance(lines, str):
        return _usual(lines)
    fits = [fit for fit in (_fit(one, sweep_s) for one in lines) if fit is not None]
    if not fits:
        return _usual("Measured λ moves nowhere as the command does, so the lag cannot be found by it.")
    fit = fits[-1]
    if fit.rows * np.log((fit.residual + _ALIKE) / (fits[0].residual + _ALIKE)) > _CLEARLY_OBEYED:
        fit = fits[0]
    reason = _doubt(fit)
    if reason is not None:
        return _usual(reason)
    quality = "good" if fit.u_s <= 0.02 else "fair" if fit.u_s <= 0.05 else "weak"
    lag = fit.delay_s + fit.tau_s
    return ProbeLag(lag, fit.u_s, True, quality, None, fit.delay_s, fit.tau_s, fit.residual)


def _usual(reason: str) -> ProbeLag:
    return ProbeLag(USUAL_LAG_S, USUAL_U_S, False, "usual", reason)


def _lines(channels: Mapping[str, Array], sweep_s: tuple[float, float]) -> list[_Lines] | str:
    """Both channels ready to be laid over each other; in words, why they cannot be.

    Two ways where the command was held: as steps that were obeyed, and as the controller's own course, seen at times.
    """
    time, first, last = channels["time_s"], sweep_s[0] - _LEAD_S, sweep_s[1]
    near = slice(*np.searchsorted(time, (first - LONGEST_S, last)).tolist())
    when, asked = in_order(time[near], channels["lambda_commanded"][near])
    inside = when >= first
    if np.count_nonzero(inside) < 4:
        return "Commanded λ is blank over the sweep."
    moves = float(np.ptp(asked[inside]))
    if moves < _MOVES:
        return (
            f"The command moves by λ {moves:.3f} in the sweep, which tells no lag; {_MOVES:.2f} or more would. "
            "A sweep that begins at part throttle usually shows one."
        )
    near = slice(*np.searchsorted(time, (first, last + LONGEST_S)).tolist())
    seen_s, seen = in_order(time[near], channels["lambda_measured"][near])
    if len(seen) < 20:
        return "Measured λ is blank over the sweep."
    seen_s, seen = thinned(*when_new(seen_s, seen), _STEP_S)
    start = first - LONGEST_S
    even = start + _STEP_S * np.arange(int((last + LONGEST_S - start) / _STEP_S) + 1, dtype=np.float64)
    place = np.clip((seen_s - start) / _STEP_S, 0, len(even) - 1).astype(np.intp)
    new = when_new(when, asked)
    ways = [((when, asked), _between_s(*when_bent(when, asked)))]
    if len(new[0]) < len(when):
        between_s = _between_s(*new)
        ways = [((when, asked), between_s * _ONE_SIDED), (new, between_s)]
    made = []
    for way, between_s in ways:
        command = np.interp(even, *thinned(*way, _STEP_S))
        made.append(_Lines(even, command, seen_s, seen, _stirred(command)[place], between_s))
    return made


def _between_s(when: Array, asked: Array) -> float:
    """A jump of a command that is only asked now and then lies anywhere between two answers; a long slope does not."""
    step, moves = float(np.median(np.diff(when))), np.diff(asked) ** 2
    whole = float(moves.sum())
    return step / 12.0**0.5 * float(moves.max()) / whole if step > 2.0 * _STEP_S and whole > 0.0 else 0.0


def _after_first_order(command: Array, tau_s: float) -> Array:
    """The exact answer of a first-order probe to lines between even steps, at rest before the first."""
    if tau_s < 0.1 * _STEP_S:
        return command
    keep = np.exp(-_STEP_S / tau_s)
    share = (tau_s / _STEP_S) * (1.0 - keep)
    taps = int(6.0 * tau_s / _STEP_S) + 2
    kernel = np.empty(taps)
    kernel[0] = 1.0 - share
    kernel[1:] = share * (1.0 - keep) * keep ** np.arange(taps - 1)
    answered: Array = command[0] + np.convolve(command - command[0], kernel / kernel.sum())[: len(command)]
    return answered


def _stirred(command: Array) -> Mask:
    """Where the command moves within the next second, or moved within the last two: there measured λ can tell how late
    it follows, and how far."""
    before, after = int(_MEMORY_S / _STEP_S), int(_AHEAD_S / _STEP_S)
    longer = np.concatenate((np.full(before, command[0]), command, np.full(after, command[-1])))[::10]
    windows = sliding_window_view(longer, (before + after) // 10 + 1)
    made: Mask = np.repeat(windows.max(axis=1) - windows.min(axis=1) > _STIRS, 10)[: len(command)]
    return made


def _coarse(lines: _Lines, sweep_s: tuple[float, float]) -> float | None:
    """The lag of closest likeness among whole steps, offset and gain free; None where nothing is alike."""
    shifts = int(LONGEST_S / _STEP_S)
    first, last = np.searchsorted(lines.even_s, sweep_s).tolist()
    weight = np.interp(lines.even_s[first:last], lines.time_s, lines.stirred)
    whole = float(weight.sum())
    if whole < 10.0:
        return None
    weight /= whole
    seen = np.interp(lines.even_s[first:last], lines.time_s, lines.measured)
    seen -= float(weight @ seen)
    likely = _after_first_order(lines.command, _USUAL_TAU_S)[first - shifts : last]
    likely = likely - float(likely.mean())
    late = sliding_window_view(likely, last - first)  # row 0: the longest shift
    mean, square, both = (
        late @ weight,
        sliding_window_view(likely * likely, last - first) @ weight,
        late @ (weight * seen),
    )
    varies = np.maximum(square - mean * mean, 1e-12)
    gain = np.clip(both / varies, 0.3, 1.7)
    best = int((gain * (gain * varies - 2.0 * both)).argmin())
    if not both[best] > 0.0:
        return None
    return (shifts - best) * _STEP_S + _USUAL_TAU_S


def _rows_that_tell(lines: _Lines, sweep_s: tuple[float, float], lag_s: float) -> Mask:
    """Samples of gas burnt in the sweep; of the moments before it too, where opening the throttle moved the command."""
    before, at = np.interp([sweep_s[0] - _LEAD_S, sweep_s[0]], lines.even_s, lines.command)
    begins = sweep_s[0] + (-_LEAD_S if abs(at - before) > _MOVES else EDGE_S)
    inside = (lines.time_s >= begins + lag_s) & (lines.time_s <= sweep_s[1] + lag_s - EDGE_S)
    made: Mask = inside & lines.stirred
    return made


def _fit(lines: _Lines, sweep_s: tuple[float, float]) -> _Fit | None:
    """The closest fit; None where nothing is alike."""
    lag_s = _coarse(lines, sweep_s)
    if lag_s is None:
        return None
    fit = _Fit(lag_s - _USUAL_TAU_S, _USUAL_TAU_S, 1.0, np.inf, np.inf, 0)
    for _ in range(3):  # which samples count depends a little on the lag itself
        rows = _rows_that_tell(lines, sweep_s, max(fit.delay_s + fit.tau_s, 0.0))
        if np.count_nonzero(rows) < 12:
            return None
        before = fit.delay_s + fit.tau_s
        fit = _fitted(lines, lines.time_s[rows], lines.measured[rows], fit)
        if abs(fit.delay_s + fit.tau_s - before) < 0.01:
            break
    return fit


def _fitted(lines: _Lines, when: Array, seen: Array, fit: _Fit) -> _Fit:
    middle, offset = float(lines.command.mean()), None
    delay, tau, gain = fit.delay_s, fit.tau_s, fit.gain
    prior = np.array([1e-9, 1.0 / _TAU_U_S**2, 1.0 / _GAIN_U**2, 1e-9])
    for _ in range(8):
        answered = _after_first_order(lines.command, tau) - middle
        later = _after_first_order(lines.command, tau + _NUDGE_S) - answered - middle
        model = np.interp(when - delay, lines.even_s, answered)
        by_delay = -gain / _STEP_S * np.interp(when - delay - 0.5 * _STEP_S, lines.even_s[:-1], np.diff(answered))
        by_tau = gain / _NUDGE_S * np.interp(when - delay, lines.even_s, later)
        slopes = np.stack((by_delay, by_tau, model, np.ones(len(when))))
        if offset is None:
            offset = float(np.median(seen - gain * model))
        gap = seen - offset - gain * model
        scale = max(1.4826 * float(np.median(np.abs(gap))), _FINEST)
        weight = np.clip(1.0 - (gap / (4.7 * scale)) ** 2, 0.0, 1.0) ** 2
        weighed = slopes * (weight / scale**2)
        normal = weighed @ slopes.T + np.diag(prior)
        step = np.linalg.solve(normal, weighed @ gap + prior * np.array([0.0, _USUAL_TAU_S - tau, 1.0 - gain, 0.0]))
        shorter = float(np.clip(tau + step[1], 0.0, 0.8))
        # what the time constant may not take, the delay does
        delay, tau = delay + float(np.clip(step[0] + tau + step[1] - shorter, -0.2, 0.2)), shorter
        gain, offset = gain + float(step[2]), offset + float(step[3])
        if abs(step[0] + step[1]) < 5e-4:
            break
    strayed_s = strayed_u(when, gap, weight / scale**2, slopes, normal, _LAG)
    return _weighed((delay, tau, gain), gap, weight, normal, float(np.hypot(lines.between_s, strayed_s)))


def _weighed(found: tuple[float, float, float], gap: Array, weight: Array, normal: Array, besides_s: float) -> _Fit:
    near = float(np.clip((gap[1:] * weight[1:]) @ gap[:-1] / max(float((gap * weight) @ gap), 1e-12), 0.0, 0.97))
    alike = (1.0 + near) / (1.0 - near)  # neighbours that err together count for less
    variance = float(_LAG @ np.linalg.solve(normal, _LAG)) * alike
    residual = float(np.sqrt(np.average(gap * gap, weights=weight)))
    return _Fit(*found, float(np.sqrt(variance + besides_s**2 + _FLOOR_S**2)), residual, len(gap))


def _doubt(fit: _Fit) -> str | None:
    """Why this fit is not to be relied on; None where it is."""
    lag = fit.delay_s + fit.tau_s
    if not np.isfinite(fit.u_s) or fit.u_s > _UNSURE_S:
        return (
            "The command moves too gently, or measured λ follows it too loosely, for the lag to be told to a tenth of "
            "a second."
        )
    if not 0.0 <= lag <= LONGEST_S - 0.1:
        return f"The best fit would be a lag of {lag:.2f} s, which is none. Is the commanded λ of this very pull?"
    if not 0.5 < fit.gain < 1.6:
        return f"Measured λ moves {fit.gain:.1f} times as far as the command: it does not follow it closely enough."
    return None
