"""The last step of a fit to counted pulses: what a count really says.

A count of whole pulses is no measurement with noise: at the moment of the sample the angle lay within the one pulse,
all places in it alike. What all the pulses allow together (`bounded`) says more of the curve than least squares, which
take the same counts for normal noise – enough more to look for sharp corners once again (`cornered`). How many corners
there are and where is seldom certain, so what is given is the mean of the curves that are likely, each as much as it
is likely; its deviation holds how far they are apart. Same input, same bits.
"""

from dataclasses import replace

import numpy as np

from pullbook.measure.bends import Bent
from pullbook.measure.cornered import Kept, Pulses, deviation_of, with_corners, without_corners
from pullbook.measure.curveparts import Array

_CORNERS_FIRST = 2.0  # log odds: a corner overlooked costs a curve more than one too many
_EACH_CORNER = 1.0  # and each more
_LEAST_LIKELY = 0.05  # of the likeliest curve
_MOST_ROWS = 1000
_STRAY = 1.5  # half pulses: a count farther off is no count of these pulses, and least squares keep the word


def within_pulses(bent: Bent, gained: Array, speed_rad_s: Array, step_s: float, quantum: float) -> Bent:
    """The fit with every residual inside its pulse, where there is one; as it was otherwise.

    `gained`: angle in rad with the brake's share, on rows `step_s` apart; `speed_rad_s`: rising roller speed there;
    `quantum`: the angle of one pulse.
    """
    every = max(1, len(gained) // _MOST_ROWS)
    pulses = Pulses(gained[::every], speed_rad_s[::every], step_s * every, quantum)
    try:
        with np.errstate(all="ignore"):  # what are no pulses of a sweep ends as NaN, and is then not taken
            kept = _likely([without_corners(pulses, bent), *with_corners(pulses, bent)])
            if kept and max(_farthest(pulses, one) for _, one in kept) < _STRAY:
                return _mean_of(pulses, bent, kept)
    except np.linalg.LinAlgError:
        pass
    return bent


def _likely(curves: list[Kept]) -> list[tuple[float, Kept]]:
    """Those that are, with the share of each."""
    odds = np.array(
        [
            one.evidence + (_CORNERS_FIRST if many else 0.0) + _EACH_CORNER * many
            for one in curves
            for many in [len(one.corners)]
        ]
    )
    shares = np.exp(odds - np.max(odds, initial=-np.inf, where=np.isfinite(odds)))
    shares[~(shares >= _LEAST_LIKELY)] = 0.0
    shares /= np.add.reduce(shares) + 1e-300
    return [(float(share), one) for share, one in zip(shares, curves, strict=True) if share > 0.0]


def _farthest(pulses: Pulses, kept: Kept) -> float:
    """Half pulses."""
    return float(np.abs(pulses.middle - kept.at).max()) / pulses.half


def _mean_of(pulses: Pulses, bent: Bent, kept: list[tuple[float, Kept]]) -> Bent:
    """The curve between them all."""
    part = (bent.speed_rad_s - pulses.problem.low) / pulses.problem.span
    drawn = [_drawn(pulses, bent, one) for _, one in kept]
    shares = np.array([share for share, _ in kept])
    values = np.array([one.value(bent.speed_rad_s) for one in drawn])
    alone = np.array([pulses.scale * deviation_of(pulses, one, part, unsure_places=True) for _, one in kept])
    scatter = np.array([pulses.scale * deviation_of(pulses, one, part, unsure_places=False) for _, one in kept])
    corners = [share * one.weights[: len(one.corners)] for share, one in kept]
    bends = np.array([one.weights[len(one.corners) :] for _, one in kept])
    return replace(
        drawn[int(shares.argmax())],
        corners=np.concatenate([one.corners for _, one in kept]),
        line=shares @ np.array([one.line for _, one in kept]),
        weights=np.concatenate([*corners, shares @ bends]),
        deviation=np.sqrt(shares @ (alone**2 + (values - shares @ values) ** 2)),
        scatter=shares @ scatter,
    )


def _drawn(pulses: Pulses, bent: Bent, kept: Kept) -> Bent:
    """One of them, alone."""
    low, span = pulses.problem.low, pulses.problem.span
    return replace(
        bent,
        low_rad_s=low,
        span_rad_s=span,
        corners=kept.corners,
        corners_rad_s=low + span * np.sort(kept.corners),
        line=kept.line,
        weights=kept.weights,
        scale=pulses.scale,
    )
