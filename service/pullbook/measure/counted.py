"""The last step of a fit to counted pulses: what a count really says.

A count of whole pulses is no measurement with noise: at the moment of the sample the angle lay within the one pulse,
all places in it alike. A fit that keeps every residual inside its pulse knows a curve up to three times better than
least squares, which take the same counts for normal noise. The edges are softened – likelihood exp(−(r/h)⁸) with h
half a pulse – so that a stamp or a pulse a little off does no harm; the optimum is found by damped Newton steps.
Corners move along. Same input, same bits.
"""

from dataclasses import replace

import numpy as np

from pullbook.measure.bends import Bent
from pullbook.measure.curveparts import Array
from pullbook.measure.leastsquares import Problem

_STEEPNESS = (4, 8)
_MOVES = 3  # rounds in which corners move
_STEPS = 8
_AT_REST = 2e-3  # half pulses
_FARTHEST = 0.01  # of the range, in one round
_STRAY = 1.5  # half pulses: a count farther off is no count of these pulses, and least squares keep the word


def within_pulses(bent: Bent, gained: Array, speed_rad_s: Array, step_s: float, quantum: float) -> Bent:
    """The fit with every residual inside its pulse, where there is one; as it was otherwise.

    `gained`: angle in rad with the brake's share, on rows `step_s` apart; `speed_rad_s`: rising roller speed there;
    `quantum`: the angle of one pulse.
    """
    problem = Problem(gained, speed_rad_s, 2, quantum * quantum / 12.0)
    corners = (bent.low_rad_s + bent.span_rad_s * bent.corners - problem.low) / problem.span
    free, half = len(corners), 0.5 * quantum
    scale = (step_s / problem.step) ** -2
    known = bent.weights * (bent.scale / scale)
    held = bent.bend_variance * (bent.scale / scale) ** 2
    unknown = np.zeros(0)
    for _ in range(_MOVES if free else 1):
        moved = problem.integral(-known[:free, None] * (problem.part > corners[:, None]))
        rows = np.concatenate([problem.fixed, problem.corner_rows(corners), problem.bends_raw, moved])
        sizes = np.sqrt(np.add.reduce(rows * rows, axis=1)) + 1e-300
        stiff = np.concatenate([np.zeros(4 + free), 1.0 / held, np.full(free, _FARTHEST**-2)]) / sizes**2
        found = _inside(rows / sizes[:, None], problem.gained, stiff, half)
        if found is None:
            return bent
        unknown = found / sizes
        known = unknown[4 : len(unknown) - free]
        corners = np.clip(corners + np.clip(unknown[len(unknown) - free :], -_FARTHEST, _FARTHEST), 0.005, 0.995)
    return replace(
        bent,
        low_rad_s=problem.low,
        span_rad_s=problem.span,
        corners=corners,
        line=unknown[2:4],
        weights=known,
        scale=scale,
    )


def _inside(rows: Array, data: Array, stiff: Array, half: float) -> Array | None:
    """Unknowns whose residuals keep within `half`, `stiff` holding each to zero; None where none do."""
    scaled, wanted = rows / half, data / half
    normal = 3.0 * (scaled @ scaled.T) + np.diag(stiff + 1e-12)
    found = np.asarray(np.linalg.solve(normal, 3.0 * (scaled @ wanted)), np.float64)
    for power in _STEEPNESS:
        for _ in range(_STEPS):
            left = wanted - found @ scaled
            push = left ** (power - 1) * power
            bend = left ** (power - 2) * (power * (power - 1))
            gradient = scaled @ push - stiff * found
            normal = (scaled * (bend + 0.05)) @ scaled.T + np.diag(stiff + 1e-12)
            step = np.asarray(np.linalg.solve(normal, gradient), np.float64)
            before = _cost(left, found, stiff, power)
            share = 1.0
            while share > 1e-3 and _cost(left - share * (step @ scaled), found + share * step, stiff, power) > before:
                share *= 0.5
            found = found + share * step
            if float(np.abs(step @ scaled).max()) < _AT_REST:
                break
    return found if float(np.abs(wanted - found @ scaled).max()) < _STRAY else None


def _cost(left: Array, found: Array, stiff: Array, power: int) -> float:
    return float(np.add.reduce(left**power) + 0.5 * np.add.reduce(stiff * found * found))
