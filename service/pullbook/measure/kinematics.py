"""From the roller's motion to the torque that moves it: J·α and the brake's torque, estimated together.

The brake's share is added to the motion before anything is fitted: y = ω + ∫τ_b dt / J, whose slope is the total torque
over J. So brake and acceleration are smoothed by one and the same window, and a brake that comes on while the roller
slows for it cancels exactly. With pulses the same is done to the angle, integrated once more.

Three ways to fit, all local polynomials in time:
* a stated window: straight lines to speed (Savitzky and Golay 1964), parabolas to angle, of that full width;
* no stated window and next to no noise: the same, as narrow as noise allows (0.03 % of the acceleration);
* no stated window and noise: `bends`, whose width varies along the sweep as the data ask for; of counted pulses it is
  then held within each count (`counted`).
"""

from collections.abc import Callable

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.bends import Bent, fit_bends, smooth_speed
from pullbook.measure.counted import within_pulses
from pullbook.measure.curveparts import Array, RollerCalibration, SweepError
from pullbook.measure.evenblocks import Blocks, into_blocks
from pullbook.measure.localfit import local_fit, noise_variance
from pullbook.measure.rollerspeed import RollerSignal

_BLOCKS = 200  # for the fit by bends: more gain nothing, fewer lose corners
_QUIET = 3e-4  # of the acceleration: noise that a narrow window may leave
_NARROW_ROWS = 8


@dataclass(frozen=True)
class Motion:
    """The roller over the sweep: `time_s` and `speed_rad_s` on blocks, speed rising.

    `drive_nm` and `drive_deviation_nm` give inertial plus brake torque, and its standard deviation from noise, at any
    speeds in between; `drive_scatter_nm` is that deviation less what is unsure of where corners are.
    """

    time_s: Array
    speed_rad_s: Array
    drive_nm: Callable[[Array], Array]
    drive_deviation_nm: Callable[[Array], Array]
    drive_scatter_nm: Callable[[Array], Array]
    window_s: float
    window_chosen: bool
    window_range_s: tuple[float, float]
    corners_rad_s: Array


@dataclass(frozen=True)
class Moved:
    """What the fits work on: the sweep's rows."""

    time_s: Array
    gained: Array
    values: Array
    derivative: int
    variance: float
    quantum: float


def motion_of(
    time_s: Array, signal: RollerSignal, brake_nm: Array | None, calibration: RollerCalibration, window_s: float | None
) -> Motion:
    """The motion of a sweep whose rows have been cut out. SweepError for a window that cannot be."""
    inertia = calibration.inertia_kg_m2
    gained = signal.values
    if brake_nm is not None:
        share = brake_nm / inertia
        for _ in range(signal.derivative):
            share = np.concatenate(([0.0], np.cumsum(0.5 * (share[1:] + share[:-1]) * np.diff(time_s))))
        gained = gained + share
    variance = signal.quantum**2 / 12.0 if signal.derivative == 2 else noise_variance(signal.values)
    moved = Moved(time_s, gained, signal.values, signal.derivative, variance, signal.quantum)
    if window_s is not None:
        return _with_window(moved, inertia, window_s, chosen=False)
    narrow = _narrow_window_s(moved)
    if narrow is not None or len(time_s) < 60:
        return _with_window(moved, inertia, narrow or 0.2 * float(time_s[-1] - time_s[0]), chosen=True)
    return _with_bends(moved, inertia)


def _lasting(time_s: Array) -> float:
    return float(time_s[-1] - time_s[0])


def _narrow_window_s(moved: Moved) -> float | None:
    """The window that leaves the quiet share of noise on a straight-line fit, where that is only a few rows wide."""
    if moved.derivative != 1:
        return None
    step = _lasting(moved.time_s) / (len(moved.time_s) - 1)
    pace = float(moved.gained[-1] - moved.gained[0]) / _lasting(moved.time_s)
    if pace <= 0.0:
        return None
    width = ((12.0 * moved.variance * step) ** 0.5 / (_QUIET * pace)) ** (2.0 / 3.0)
    return max(width, 4.0 * step) if width <= _NARROW_ROWS * step else None


def _with_window(moved: Moved, inertia: float, window_s: float, chosen: bool) -> Motion:
    """Local polynomials of one full width; blocks are cut so that a window holds at least 24 of them where it can."""
    lasting = _lasting(moved.time_s)
    rows = len(moved.time_s)
    row_s = lasting / (rows - 1)
    if not 0.0 < window_s <= 0.5 * lasting:
        raise SweepError(
            f"A window of {window_s:g} s does not fit a sweep of {lasting:.2f} s; half of that is the most."
        )
    blocks = into_blocks(moved.time_s, max(1, int(window_s / row_s / 24.0)))
    degree = 2 if moved.derivative == 1 else 3
    half = max(2 if moved.derivative == 1 else 3, round(0.5 * window_s / blocks.step_s))
    half = min(half, (len(blocks.time_s) - 1) // 2)
    gained, values = blocks.mean(moved.gained), blocks.mean(moved.values)
    drive = local_fit(gained, half, degree, moved.derivative) * (inertia / blocks.step_s**moved.derivative)
    near = min(half, 8 if moved.derivative == 1 else half)
    speed = local_fit(values, near, 2, 0) if moved.derivative == 1 else local_fit(values, near, 3, 1) / blocks.step_s
    speed = _rising(speed)
    held = (2 * half + 1) * blocks.step_s
    deviation = inertia * _left_by(moved, row_s, held)
    return Motion(
        time_s=blocks.time_s,
        speed_rad_s=speed,
        drive_nm=lambda omega: np.interp(omega, speed, drive),
        drive_deviation_nm=lambda omega: np.full(len(omega), deviation),
        drive_scatter_nm=lambda omega: np.full(len(omega), deviation),
        window_s=held if chosen else window_s,
        window_chosen=chosen,
        window_range_s=(held, held),
        corners_rad_s=np.zeros(0),
    )


def _left_by(moved: Moved, row_s: float, window_s: float) -> float:
    """Standard deviation that noise leaves on the slope (12) or the curvature (720) of a fit of this width."""
    if moved.derivative == 1:
        return float((12.0 * moved.variance * row_s / window_s**3) ** 0.5)
    return float((720.0 * moved.variance * row_s / window_s**5) ** 0.5)


def _with_bends(moved: Moved, inertia: float) -> Motion:
    rows = len(moved.time_s)
    blocks = into_blocks(moved.time_s, max(1, rows // _BLOCKS))
    gained, values = blocks.mean(moved.gained), blocks.mean(moved.values)
    variance = max(_block_variance(gained, moved.derivative), moved.variance / blocks.rows_each)
    speed = _rising(smooth_speed(values, blocks.step_s, moved.derivative))
    bent = fit_bends(gained, speed, blocks.step_s, moved.derivative, variance)
    if moved.derivative == 2:
        bent = _counted(bent, moved, blocks, speed)
    left = bent.deviation
    most, usual, least = (
        _width_leaving(moved.derivative, variance * blocks.step_s, at) for at in _range_of(left[4:-4])
    )
    return Motion(
        time_s=blocks.time_s,
        speed_rad_s=speed,
        drive_nm=lambda omega: inertia * bent.value(omega),
        drive_deviation_nm=lambda omega: inertia * np.interp(omega, speed, left),
        drive_scatter_nm=lambda omega: inertia * np.interp(omega, speed, bent.scatter),
        window_s=usual,
        window_chosen=True,
        window_range_s=(least, most),
        corners_rad_s=bent.corners_rad_s,
    )


def _counted(bent: Bent, moved: Moved, blocks: Blocks, speed: Array) -> Bent:
    """Once more on the rows themselves, for a block of counts no longer lies within one pulse."""
    single = into_blocks(moved.time_s, 1)
    rows = slice(*np.searchsorted(single.time_s, (blocks.time_s[0], blocks.time_s[-1])).tolist())
    own = np.interp(single.time_s[rows], blocks.time_s, speed)
    return within_pulses(bent, single.mean(moved.gained)[rows], own, single.step_s, moved.quantum)


def _range_of(values: Array) -> tuple[float, float, float]:
    """The least, the middle one and the most."""
    ordered = np.sort(values)
    return float(ordered[0]), float(ordered[len(ordered) // 2]), float(ordered[-1])


def _width_leaving(derivative: int, variance_s: float, deviation: float) -> float:
    """The width of the fit that leaves this deviation: `_left_by` turned round."""
    held = max(deviation, 1e-12) ** 2
    return float((12.0 * variance_s / held) ** (1.0 / 3.0) if derivative == 1 else (720.0 * variance_s / held) ** 0.2)


def _rising(speed: Array) -> Array:
    """Speed that never falls; SweepError where that leaves no sweep."""
    made = np.maximum.accumulate(speed)
    if not (made[-1] > 0.0 and made[-1] - made[0] > 0.02 * made[-1]):
        raise SweepError(
            "Roller speed jumps about so much that no steady rise is left once it is smoothed; check the roller's "
            "pick-up and which column is roller speed."
        )
    return made


def _block_variance(gained: Array, derivative: int) -> float:
    """Noise of the block means; an angle bends too much for fourth differences: a local fit is taken out first."""
    if derivative == 1:
        return noise_variance(gained)
    half = 4
    over = gained - local_fit(gained, half, 3, 0)
    kept = over[half:-half] ** 2
    most = max(1, int(0.95 * len(kept)))
    weight = 1.0 - float(np.linalg.pinv(np.vander(np.arange(-half, half + 1.0) / half, 4, increasing=True))[0, half])
    return float(np.partition(kept, most - 1)[:most].mean() / (0.7588 * weight))
