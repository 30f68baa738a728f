"""How often anybody at all could tell a made lag within 20 ms: a bound on the estimator, whatever it does.

The posterior of the lag given the very data, priors known: the share of it in the best stretch of 40 ms is how often
the best guess hits, and no rule does better on average over the priors. White noise of known size, a free offset and a
Gaussian gain are taken out in closed form; time constant and the moment of a jump between two polls are summed over.

*Best possible* is told noise and the command's exact course, but, like a workshop, neither the mixture's offset nor
its gain (1 ± 0.15) nor the probe's time constant (0.1 ± 0.1 s), and of a jump that no poll lies in, not when between
two polls it was. *Told more* is told gain and time constant too. Both see gas burnt in the sweep, and from where the
opening throttle moved the command, as the estimator does.
"""

from dataclasses import dataclass

import numpy as np

from tests.studies.made_lambda import (
    BEGINS_S,
    ENDS_S,
    RATE_HZ,
    TAU_S,
    Case,
    Drawn,
    Floats,
    after_probe,
    drawn,
)

HALF_S = 0.020
STEP_S = 0.004
REACH_S = 0.4  # on either side of the truth
_FINE_S = 0.001
_LEAD_S, _EDGE_S = 0.6, 0.15
_QUICK_S = 0.2  # a move of the command that lasts longer is told by the polls
_JUMP = 0.05  # λ


@dataclass(frozen=True)
class Unknown:
    """What is not known: standard deviation of gain and offset, possible time constants in s with their shares."""

    gain_u: float
    taus_s: Floats
    shares: Floats
    offset_u: float = 1.0  # λ: as good as free


_TAUS = np.arange(0.0, 0.361, 0.04)
LITTLE_KNOWN = Unknown(0.15, _TAUS, np.exp(-0.5 * ((_TAUS - 0.1) / 0.1) ** 2))
TOLD_MORE = Unknown(1e-6, np.array([TAU_S]), np.array([1.0]))


def rows_seen(case: Case, made: Drawn) -> tuple[Floats, Floats, Floats]:
    """Stamps in s, λ and its standard deviation of the samples that count."""
    opens = case.shape == "opening throttle"
    first = BEGINS_S + (-_LEAD_S if opens else _EDGE_S) + case.lag_s
    if case.measured_way == "200 Hz":
        when, what, noise = made.time, made.measured, np.full(len(made.time), case.noise)
    else:
        when = made.asked_at
        what = np.interp(when, made.time, made.measured)
        part = when * RATE_HZ % 1.0
        noise = case.noise * np.hypot(part, 1.0 - part)  # two rows have a share in it
    rows = (when >= first) & (when <= ENDS_S - _EDGE_S + case.lag_s) & (when <= made.time[-1])
    return when[rows], what[rows], noise[rows]


def unseen_s(case: Case, made: Drawn) -> tuple[float, float]:
    """How much earlier and later than it did, s, the command may have jumped for all that the polls tell: (0, 0) where
    nothing jumps, or a poll lies in the jump and so tells when it was."""
    at, value = made.knots
    quick = np.flatnonzero((np.diff(at) < _QUICK_S) & (np.abs(np.diff(value)) > _JUMP))
    if case.way == "200 Hz" or not len(quick):
        return 0.0, 0.0
    begins, ends = at[quick[0]], at[quick[0] + 1]
    if ((made.asked_at > begins) & (made.asked_at < ends)).any():
        return 0.0, 0.0
    return float(begins - made.asked_at[made.asked_at <= begins][-1]), float(
        made.asked_at[made.asked_at >= ends][0] - ends
    )


def posterior(case: Case, unknown: Unknown = LITTLE_KNOWN, made: Drawn | None = None) -> tuple[Floats, Floats]:
    """Lags in s around the truth, all alike before, and the share of each after the data; two arrays of (lags,)."""
    made = drawn(case) if made is None else made
    lags = case.lag_s + STEP_S * np.arange(-round(REACH_S / STEP_S), round(REACH_S / STEP_S) + 1)
    logs = [
        np.log(share) + _log_likelihoods(case, made, lags, float(tau), unknown)
        for tau, share in zip(unknown.taus_s, unknown.shares, strict=True)
    ]
    whole = np.exp(np.array(logs) - np.max(logs)).sum(axis=0)
    earlier, later = unseen_s(case, made)
    if earlier + later > 0.0:  # a jump that was earlier makes the lag longer by as much
        box = np.arange(-round(later / STEP_S), round(earlier / STEP_S) + 1)
        padded = np.concatenate((whole, np.zeros(len(box))))
        whole = np.sum([np.roll(padded, shift) for shift in box], axis=0)[: len(lags)]
    return lags, whole / whole.sum()


def _log_likelihoods(case: Case, made: Drawn, lags: Floats, tau_s: float, unknown: Unknown) -> Floats:
    """Of each lag, offset and gain integrated out: y = o + g·x + noise with Gaussian o and g."""
    when, what, noise = rows_seen(case, made)
    middle = 0.88
    start = when[0] - lags[-1] - 0.01
    fine = start + _FINE_S * np.arange(int((when[-1] - lags[0] + tau_s - start) / _FINE_S) + 3)
    answered = after_probe(made.knots, fine, tau_s) - middle
    at = (when[None, :] - (lags[:, None] - tau_s) - start) / _FINE_S
    low = at.astype(np.intp)
    x = answered[low] + (at - low) * (answered[low + 1] - answered[low])
    weight = noise**-2.0
    left = what - middle - x
    one, by_x, xx = float(weight.sum()) + unknown.offset_u**-2.0, x @ weight, (x * x) @ weight + unknown.gain_u**-2.0
    side_one, side_x = left @ weight, (left * x) @ weight
    free = one * xx - by_x**2
    gained = (xx * side_one**2 - 2.0 * by_x * side_one * side_x + one * side_x**2) / free
    made_log: Floats = -0.5 * ((left * left) @ weight - gained) - 0.5 * np.log(free)
    return made_log


def best_window(lags: Floats, shares: Floats, half_s: float = HALF_S) -> tuple[float, float]:
    """The largest share that lies within `half_s` of one guess, and that guess in s."""
    grid = float(lags[1] - lags[0])
    reach = round(half_s / grid)
    within = np.convolve(shares, np.concatenate(([0.5], np.ones(2 * reach - 1), [0.5])), "same")
    best = int(within.argmax())
    return min(float(within[best]), 1.0), float(lags[best])


def best_possible(shape: str, way: str, noise: float, measured_way: str, seeds: int, unknown: Unknown) -> float:
    """Mean share over that many seeds, in 0 to 1. The lag itself hardly matters; half a second stands for all."""
    cases = [Case(shape, way, 0.5, seed, noise, measured_way=measured_way) for seed in range(seeds)]
    return float(np.mean([best_window(*posterior(case, unknown))[0] for case in cases]))
