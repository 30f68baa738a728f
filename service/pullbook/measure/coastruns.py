"""Several coast-downs taken together: losses with all their uncertainty, drift between runs, and J held to account.

Each run counts by its own covariance (generalised least squares); where runs differ by more than that, each has a
level of loss of its own besides (a random effect), and what is left of their scatter widens the covariance (Birge 1932,
Phys. Rev. 40, 207; from memory). Losses go with the inertia they are reckoned with: its uncertainty is added last.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import inf

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.coastdown import CoastDown
from pullbook.measure.curveparts import Array
from pullbook.measure.fisherf import f_quantile
from pullbook.measure.studentt import two_sided_95

DOUBTED_Z, WRONG_Z = 2.0, 3.0


@dataclass(frozen=True)
class Losses:
    """Loss coefficients of the bare rollers: c0, c1, c2 in N·m, N·m·s, N·m·s².

    covariance: 3 by 3, from the fit alone; with_inertia: with the inertia's share. at_rad_s, loss_nm, u_nm: loss over
    the reach of speed, and its standard uncertainty; u_typical_nm: its root mean square, what a calibration states as
    one figure. scatter: how many times more the runs differ than each by itself would say (1 or less: agreed).
    """

    coefficients: Array
    covariance: Array
    with_inertia: Array
    dof: float
    inertia_kg_m2: float
    at_rad_s: Array
    loss_nm: Array
    u_nm: Array
    u_typical_nm: float
    scatter: float
    runs: int

    def half_widths(self) -> Array:
        """Half the 95 % interval of each coefficient by itself, inertia included."""
        made: Array = np.sqrt(np.diagonal(self.with_inertia)) * two_sided_95(max(self.dof, 1.0))
        return made


@dataclass(frozen=True)
class Drifted:
    """How the loss at one speed changes from run to run. `per_run_nm`, its 95 % half width: None with under three."""

    at_rad_s: float
    loss_nm: tuple[float, ...]
    per_run_nm: float | None
    half_width_nm: float | None
    words: str


@dataclass(frozen=True)
class InertiaCheck:
    """J as two kinds of runs imply it, beside the calibration's. z: how many standard uncertainties lie between."""

    inertia_kg_m2: float
    u_kg_m2: float
    calibration_kg_m2: float
    calibration_u_kg_m2: float
    z: float
    words: str


def holds(losses_per_inertia: Array, run: CoastDown) -> bool:
    """Whether a run's own 95 % region holds these coefficients over inertia."""
    away = np.asarray(losses_per_inertia, np.float64) - run.per_inertia
    distance = float(away @ np.linalg.solve(run.covariance, away)) / 3.0
    return distance <= f_quantile(0.95, 3.0, run.dof)


def combine(runs: Sequence[CoastDown], inertia_kg_m2: float, inertia_u_kg_m2: float = 0.0) -> Losses:
    """Runs of the bare rollers, one or more, as one set of losses. ValueError for none."""
    if not runs:
        raise ValueError("there is no coast-down to take losses from")
    mean, covariance, scatter, dof = _together(runs)
    coefficients, covariance = mean * inertia_kg_m2, covariance * inertia_kg_m2**2
    share = inertia_u_kg_m2 / inertia_kg_m2
    whole = covariance + share * share * np.outer(coefficients, coefficients)
    at = np.linspace(min(run.low_rad_s for run in runs), max(run.high_rad_s for run in runs), 41)
    powers = np.vander(at, 3, increasing=True)
    u_nm = np.sqrt(np.einsum("ij,jk,ik->i", powers, whole, powers))
    return Losses(
        coefficients=coefficients,
        covariance=covariance,
        with_inertia=whole,
        dof=dof,
        inertia_kg_m2=inertia_kg_m2,
        at_rad_s=at,
        loss_nm=powers @ coefficients,
        u_nm=u_nm,
        u_typical_nm=float(np.sqrt(np.mean(u_nm * u_nm))),
        scatter=scatter,
        runs=len(runs),
    )


def _together(runs: Sequence[CoastDown]) -> tuple[Array, Array, float, float]:
    """Weighted mean of coefficients over inertia, its covariance, the scatter left between runs, degrees of freedom."""
    scale = np.abs(runs[0].per_inertia) + 1e-30
    even = np.outer(scale, scale)
    between, from_runs = _between(runs)
    weights = [np.linalg.inv((run.covariance + between) / even) for run in runs]
    inverse = np.linalg.inv(np.sum(weights, axis=0))
    scaled = [run.per_inertia / scale for run in runs]
    mean = inverse @ np.sum([weight @ one for weight, one in zip(weights, scaled, strict=True)], axis=0)
    dof = float(len(runs) - 1) if from_runs else float(sum(run.dof for run in runs))
    scatter = 1.0
    if len(runs) > 1:
        freedom = 3 * (len(runs) - 1)
        away = [one - mean for one in scaled]
        spread = float(sum(one @ weight @ one for one, weight in zip(away, weights, strict=True))) / freedom
        scatter = spread**0.5
        if spread > f_quantile(0.9, freedom, float(sum(run.dof for run in runs))):
            inverse = inverse * spread
    return mean * scale, inverse * even, scatter, dof


def _between(runs: Sequence[CoastDown]) -> tuple[Array, bool]:
    """How runs differ beyond their own uncertainty: a level of loss that is the day's (grease, warmth), in c0 alone.

    Its covariance over inertia, and whether it outweighs what each run is unsure of by itself.
    """
    made = np.zeros((3, 3))
    low, high = max(run.low_rad_s for run in runs), min(run.high_rad_s for run in runs)
    if len(runs) < 2 or low >= high:
        return made, False
    powers = (0.5 * (low + high)) ** np.arange(3)
    levels = np.array([powers @ run.per_inertia for run in runs])
    own = float(np.mean([powers @ run.covariance @ powers for run in runs]))
    made[0, 0] = max(float(levels.var(ddof=1)) - own, 0.0)
    return made, made[0, 0] > own


def drift(runs: Sequence[CoastDown], inertia_kg_m2: float) -> Drifted | None:
    """Loss at one speed all runs pass, in the order taken: rollers that warm lose less. None: no speed is shared."""
    low, high = max(run.low_rad_s for run in runs), min(run.high_rad_s for run in runs)
    if low >= high:
        return None
    at = 0.5 * (low + high)
    powers = at ** np.arange(3)
    losses = np.array([run.per_inertia @ powers * inertia_kg_m2 for run in runs])
    told = tuple(float(one) for one in losses)
    if len(runs) < 3:
        return Drifted(at, told, None, None, "Fewer than three runs: whether the losses drift cannot be said.")
    place = np.arange(len(runs)) - 0.5 * (len(runs) - 1)
    slope = float(place @ losses / (place @ place))
    over = losses - losses.mean() - slope * place
    dof = len(runs) - 2
    u = (float(over @ over) / dof / float(place @ place)) ** 0.5
    own = (float(np.mean([powers @ run.covariance @ powers for run in runs])) * inertia_kg_m2**2) ** 0.5
    half = float(two_sided_95(float(dof))) * max(u, own / float(place @ place) ** 0.5)
    return Drifted(at, told, slope, half, _drift_words(slope, half, float(losses.mean()), len(runs)))


def _drift_words(slope: float, half: float, usual: float, runs: int) -> str:
    change = 100.0 * slope * (runs - 1) / usual
    if abs(slope) <= half:
        return "No drift from run to run that these runs could show."
    if slope < 0.0:
        return (
            f"Losses fell by {-change:.1f} % from the first run to the last: the rollers were still warming. "
            "Calibrate at the warmth you pull at, or leave out the first runs."
        )
    return (
        f"Losses rose by {change:.1f} % from the first run to the last: that is not what warming bearings do. "
        "Look for a dragging brake, a belt or a bearing before using these."
    )


@dataclass(frozen=True)
class Added:
    """What was added to the bare rollers in a run: a steady torque that resists (below zero: a weight that drives), an
    inertia, each with its standard uncertainty."""

    torque_nm: float = 0.0
    torque_u_nm: float = 0.0
    inertia_kg_m2: float = 0.0
    inertia_u_kg_m2: float = 0.0


def check_inertia(
    bare: Sequence[CoastDown],
    loaded: Sequence[tuple[CoastDown, Added]],
    calibration_kg_m2: float,
    calibration_u_kg_m2: float,
) -> InertiaCheck:
    """J from bare and loaded runs: bare ones give c/J, loaded ones (c + τ)/(J + ΔJ), and J is what makes both true.

    One or more of each, or ValueError; also where what was added makes no difference to be measured.
    """
    if not bare or not loaded:
        raise ValueError("bare coast-downs and at least one with something known added are needed together")
    mean, covariance, _, dof = _together(bare)
    between, from_runs = _between(bare)
    loaded = [(replace(run, covariance=run.covariance + between), added) for run, added in loaded]
    inertia, precision = calibration_kg_m2, 0.0
    for _ in range(12):
        above, precision = 0.0, 0.0
        for run, added in loaded:
            direction, wanted, spread = _equation(run, added, mean, covariance, inertia)
            weighted = np.linalg.solve(spread, direction)
            above += float(weighted @ wanted)
            precision += float(weighted @ direction)
        if not precision > 0.0 or not above > 0.0:
            raise ValueError("what was added makes no difference to the motion; J cannot be found from it")
        if abs(above / precision - inertia) < 1e-12 * inertia:
            break
        inertia = above / precision
    u = _with_added(loaded, mean, covariance, inertia, precision)
    u *= float(two_sided_95(dof)) / 1.96 if from_runs else 1.0  # few runs know little of how runs differ
    z = (inertia - calibration_kg_m2) / (u * u + calibration_u_kg_m2**2) ** 0.5
    return InertiaCheck(
        inertia, u, calibration_kg_m2, calibration_u_kg_m2, z, _check_words(z, inertia, calibration_kg_m2)
    )


def _equation(
    run: CoastDown, added: Added, mean: Array, covariance: Array, inertia: float
) -> tuple[Array, Array, Array]:
    """J·(b − a) = τ·e0 − b·ΔJ as direction, right side and covariance of what is left, for this J, in even scales."""
    scale = np.abs(run.per_inertia) + 1e-30
    direction = (run.per_inertia - mean) / scale
    wanted = (np.array([added.torque_nm, 0.0, 0.0]) - run.per_inertia * added.inertia_kg_m2) / scale
    spread = (inertia + added.inertia_kg_m2) ** 2 * run.covariance + inertia**2 * covariance
    return direction, wanted, spread / np.outer(scale, scale)


def _with_added(
    loaded: Sequence[tuple[CoastDown, Added]], mean: Array, covariance: Array, inertia: float, precision: float
) -> float:
    """Standard uncertainty of J: each loaded run's own; that of the bare runs, which all loaded ones are held against,
    and that of what was added, both taken as the same error in every run."""
    if not precision > 0.0:
        return inf
    own = by_torque = by_inertia = 0.0
    by_bare = np.zeros(3)
    for run, added in loaded:
        direction, _, spread = _equation(run, added, mean, covariance, inertia)
        weighted = np.linalg.solve(spread, direction) / precision / (np.abs(run.per_inertia) + 1e-30)
        own += (inertia + added.inertia_kg_m2) ** 2 * float(weighted @ run.covariance @ weighted)
        by_bare += inertia * weighted
        by_torque += float(weighted[0]) * added.torque_u_nm
        by_inertia += float(weighted @ run.per_inertia) * added.inertia_u_kg_m2
    return float((own + by_bare @ covariance @ by_bare + by_torque**2 + by_inertia**2) ** 0.5)


def _check_words(z: float, found: float, stated: float) -> str:
    apart = 100.0 * (found / stated - 1.0)
    if abs(z) <= DOUBTED_Z:
        return f"J agrees with the calibration: {apart:+.2f} % apart, {abs(z):.1f} standard uncertainties."
    if abs(z) <= WRONG_Z:
        return (
            f"J is in doubt: {apart:+.2f} % from the calibration, {abs(z):.1f} standard uncertainties. "
            "Repeat it before changing anything."
        )
    return (
        f"J does not agree with the calibration: {apart:+.2f} %, {abs(z):.1f} standard uncertainties. Check what was "
        "added and the brake first; if it stands on repeating, make a new calibration."
    )
