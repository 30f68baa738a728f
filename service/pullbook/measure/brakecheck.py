"""A brake's load cell under known weights, hung on and taken off again: scale, zero, linearity, hysteresis, repeats.

True torque at a step is m·g·arm. Readings are taken as uncertain and weights as known, so the line is fitted as
reading on truth and turned round into the calibration's torque = scale · reading − zero. g is the standard 9.80665 m/s²
(with what a place unknown may differ), or by latitude and altitude after the normal gravity of WGS 84 (NIMA TR8350.2,
Somigliana's closed form, from memory) and the free-air gradient 3.086e-6 1/s².
"""

from collections.abc import Sequence
from math import radians, sin

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array
from pullbook.measure.studentt import two_sided_95

STANDARD_GRAVITY_M_S2 = 9.80665
PLACE_UNKNOWN_U_M_S2 = 0.015  # equator 9.780, pole 9.832: half the reach over root three
PLACE_KNOWN_U_M_S2 = 0.0005  # what the ground's own unevenness leaves
FEWEST_STEPS = 4


@dataclass(frozen=True)
class Step:
    """One weight hanging, kg in all, and what the cell said: N·m (or N, times the arm). `rising`: while adding."""

    mass_kg: float
    reading_nm: float
    rising: bool


@dataclass(frozen=True)
class BrakeCheck:
    """The cell as the weights found it. Everything in N·m at the roller unless named otherwise; `…_u` is k = 1.

    truth_nm, residual_nm: one value a step, in the order given. linearity_nm: the worst distance of the mean at a load
    from the line; hysteresis_nm: the most that a load reads apart going up and coming down; None without both ways.
    repeatability_nm: standard deviation of repeats; None where nothing was repeated.
    """

    scale: float
    scale_u: float
    zero_nm: float
    zero_u_nm: float
    truth_nm: Array
    residual_nm: Array
    span_nm: float
    linearity_nm: float
    hysteresis_nm: float | None
    repeatability_nm: float | None
    left_nm: float
    gravity_m_s2: float
    words: tuple[str, ...]


def gravity(latitude_deg: float, altitude_m: float) -> float:
    """Gravity at a place, m/s²; latitude from −90 to 90."""
    square = sin(radians(latitude_deg)) ** 2
    at_sea = 9.7803253359 * (1.0 + 0.00193185265241 * square) / (1.0 - 0.00669437999013 * square) ** 0.5
    return float(at_sea) - 3.086e-6 * altitude_m


def check_brake(
    steps: Sequence[Step],
    arm_m: float,
    arm_u_m: float,
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2,
    gravity_u_m_s2: float = PLACE_UNKNOWN_U_M_S2,
    mass_share_u: float = 0.0,
) -> BrakeCheck:
    """The fit. `mass_share_u`: standard uncertainty of the weights as a share of them. ValueError for too few steps."""
    masses = np.array([step.mass_kg for step in steps], np.float64)
    if len(steps) < FEWEST_STEPS or len(np.unique(masses)) < 3:
        raise ValueError(f"at least {FEWEST_STEPS} steps over three different weights are needed; {len(steps)} came")
    truth, read = masses * gravity_m_s2 * arm_m, np.array([step.reading_nm for step in steps], np.float64)
    slope, start, variance, inverse = _line(truth, read)
    if slope <= 0.0:
        raise ValueError(
            "the readings fall as weight is added; check the sign of the load cell and which arm it hangs on"
        )
    scale, zero = 1.0 / slope, start / slope
    residual = scale * read - zero - truth
    loads = _loads(steps, residual)
    hysteresis = _hysteresis(steps, residual)
    # a cell that lags behind is off by half of it, whichever way one came
    lagging = (hysteresis or 0.0) / 12.0**0.5 / float(np.ptp(truth))
    shares = (arm_u_m / arm_m, gravity_u_m_s2 / gravity_m_s2, mass_share_u, lagging)
    fit_share = (variance * inverse[0, 0]) ** 0.5 / slope * _few(len(steps) - 2)
    zero_u = (variance * inverse[1, 1]) ** 0.5 * scale * _few(len(steps) - 2)
    linearity = max(loads.values(), key=abs)
    repeats = _repeatability(steps, residual)
    return BrakeCheck(
        scale=scale,
        scale_u=scale * float(np.sqrt(fit_share**2 + sum(share * share for share in shares))),
        zero_nm=zero,
        zero_u_nm=zero_u,
        truth_nm=truth,
        residual_nm=residual,
        span_nm=float(np.ptp(truth)),
        linearity_nm=linearity,
        hysteresis_nm=hysteresis,
        repeatability_nm=repeats,
        left_nm=float(np.sqrt(variance)) * scale,
        gravity_m_s2=gravity_m_s2,
        words=_words(float(np.ptp(truth)), linearity, hysteresis, repeats),
    )


def _line(truth: Array, read: Array) -> tuple[float, float, float, Array]:
    """Slope and start of reading on truth, the variance left, and the inverse normal matrix of (slope, start)."""
    rows = np.stack((truth, np.ones_like(truth)), axis=1)
    inverse = np.linalg.inv(rows.T @ rows)
    slope, start = inverse @ (rows.T @ read)
    over = read - rows @ np.array([slope, start])
    return float(slope), float(start), float(over @ over) / (len(read) - 2), np.asarray(inverse, np.float64)


def _few(dof: int) -> float:
    """Few steps leave their own scatter badly known: wide enough that twice it holds 95 %."""
    return float(two_sided_95(float(dof))) / 1.96


def _loads(steps: Sequence[Step], residual: Array) -> dict[float, float]:
    return {
        mass: float(np.mean([left for step, left in zip(steps, residual, strict=True) if step.mass_kg == mass]))
        for mass in sorted({step.mass_kg for step in steps})
    }


def _hysteresis(steps: Sequence[Step], residual: Array) -> float | None:
    apart = []
    for mass in {step.mass_kg for step in steps}:
        ways: dict[bool, list[float]] = {True: [], False: []}
        for step, left in zip(steps, residual, strict=True):
            if step.mass_kg == mass:
                ways[step.rising].append(float(left))
        if ways[True] and ways[False]:
            apart.append(float(np.mean(ways[False]) - np.mean(ways[True])))
    return max(apart, key=abs) if apart else None


def _repeatability(steps: Sequence[Step], residual: Array) -> float | None:
    groups: dict[tuple[float, bool], list[float]] = {}
    for step, left in zip(steps, residual, strict=True):
        groups.setdefault((step.mass_kg, step.rising), []).append(float(left))
    several = [group for group in groups.values() if len(group) > 1]
    if not several:
        return None
    squares = sum(float(np.sum((np.array(group) - np.mean(group)) ** 2)) for group in several)
    return float((squares / sum(len(group) - 1 for group in several)) ** 0.5)


def _words(span: float, linearity: float, hysteresis: float | None, repeats: float | None) -> tuple[str, ...]:
    worst = abs(linearity)
    said = [f"Worst distance from a straight line {worst:.2f} N·m, {100.0 * worst / span:.2f} % of the span."]
    if hysteresis is None:
        said.append("Weights went one way only: hysteresis is unknown. Take them off again and read each step.")
    else:
        said.append(
            f"Coming down it reads {hysteresis:+.2f} N·m against going up at worst, "
            f"{100.0 * abs(hysteresis) / span:.2f} % of the span."
        )
        if abs(hysteresis) > 0.003 * span:
            said.append("That is much for a load cell: look for a stiff trunnion bearing or a hose that pulls.")
    if repeats is None:
        said.append("No step was repeated: repeatability is unknown.")
    else:
        said.append(f"Repeats scatter by {repeats:.2f} N·m.")
    return tuple(said)
