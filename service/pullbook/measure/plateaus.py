"""Where a recording stands still: stretches of steady roller speed and throttle, and from when on each is settled.

*Steady*: over two seconds around it roller speed changes by no more than 0.5 % a second, and over one second throttle
by no more than 2 points a second, what noise alone would do allowed for three times over; for two seconds at least. Two
seconds are long enough that a brake hunting around its speed does not count as a change.

*Settled*: the run-in of each stretch is cut where the rest has the least standard error of its mean (the marginal
standard error rule, White 1997, Simulation 69, 323-334; from memory), looked for in half-second means of speed and of
brake torque and in the first half of the stretch; the later of the two cuts counts. A standard error of 0.05 % is
enough: no more is cut for less.
"""

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Mask
from pullbook.measure.evenblocks import Blocks, into_blocks
from pullbook.measure.localfit import local_fit, noise_variance
from pullbook.measure.rollerspeed import RollerSignal
from pullbook.measure.timebase import TimeBase

BLOCK_S = 0.1
HALF_BLOCKS = 5  # of the window that speed and power are smoothed over: one second in all
_STEADY_BLOCKS = 10  # the like, for whether speed changes: two seconds
_SPEED_RATE = 0.005  # of speed, 1/s
_THROTTLE_RATE = 2.0  # points, 1/s
_SIGMAS = 3.0
LEAST_S = 2.0
_BRIDGED_BLOCKS = 3
_SAME_SPEED = 0.005
_SAME_THROTTLE = 2.0  # points
_BATCH_BLOCKS = 5
_GOOD_ENOUGH = 5e-4  # of the mean: a standard error that no more needs to be cut away for
_TURNING_RAD_S = 1.0


@dataclass(frozen=True)
class SteadyBlocks:
    """A recording in blocks of about a tenth of a second: middles, and roller speed smoothed over one second."""

    blocks: Blocks
    speed_rad_s: Array


@dataclass(frozen=True)
class Plateau:
    """Blocks `start` to `stop` (not included) are steady, from `settled` on they are settled."""

    start: int
    settled: int
    stop: int


def in_blocks(base: TimeBase, signal: RollerSignal) -> SteadyBlocks | None:
    """The recording in blocks; None where it is too short for one plateau."""
    time = base.channels["time_s"]
    each = max(1, round(BLOCK_S / base.step_s))
    if len(time) // each < 2 * _STEADY_BLOCKS + 1:
        return None
    blocks = into_blocks(time, each)
    values = blocks.mean(signal.values)
    if signal.derivative == 1:
        speed = local_fit(values, HALF_BLOCKS, 1, 0)
    else:
        speed = local_fit(values, HALF_BLOCKS, 2, 1) / blocks.step_s
    return SteadyBlocks(blocks, speed)


def find_plateaus(
    seen: SteadyBlocks, signal: RollerSignal, throttle_pct: Array | None, brake_nm: Array | None
) -> tuple[Plateau, ...]:
    """The plateaus of a recording, in time.

    `throttle_pct`, `brake_nm`: one value a row, without blanks, or None where there are none.
    """
    blocks = seen.blocks
    steady = _steady_speed(seen, signal)
    throttle = None if throttle_pct is None else blocks.mean(throttle_pct)
    if throttle is not None:
        steady &= _steady_values(throttle, blocks.step_s, _THROTTLE_RATE)
    brake = None if brake_nm is None else blocks.mean(brake_nm)
    found = []
    for start, stop in _joined(_runs(steady), seen.speed_rad_s, throttle):
        if (stop - start) * blocks.step_s < LEAST_S:
            continue
        cuts = [_cut(one[start:stop]) for one in (seen.speed_rad_s, brake) if one is not None]
        found.append(Plateau(start, start + max(cuts), stop))
    return tuple(found)


def _steady_speed(seen: SteadyBlocks, signal: RollerSignal) -> Mask:
    """Where the roller turns, and its speed hardly changes."""
    step, degree = seen.blocks.step_s, signal.derivative
    values = seen.blocks.mean(signal.values)
    slope = local_fit(values, _STEADY_BLOCKS, degree, degree) / step**degree
    width = (2 * _STEADY_BLOCKS + 1) * step
    if degree == 1:
        noise = (12.0 * noise_variance(values) * step / width**3) ** 0.5
    else:
        noise = (720.0 * signal.quantum**2 / 12.0 * (step / seen.blocks.rows_each) / width**5) ** 0.5
    turning = seen.speed_rad_s > max(_TURNING_RAD_S, 0.05 * float(seen.speed_rad_s.max()))
    steady: Mask = turning & (np.abs(slope) <= _SPEED_RATE * np.abs(seen.speed_rad_s) + _SIGMAS * noise)
    return steady


def _steady_values(values: Array, step_s: float, rate: float) -> Mask:
    slope = local_fit(values, HALF_BLOCKS, 1, 1) / step_s
    width = (2 * HALF_BLOCKS + 1) * step_s
    noise = (12.0 * noise_variance(values) * step_s / width**3) ** 0.5
    steady: Mask = np.abs(slope) <= rate + _SIGMAS * noise
    return steady


def _runs(steady: Mask) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], steady.astype(np.int8), [0]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _joined(runs: list[tuple[int, int]], speed: Array, throttle: Array | None) -> list[tuple[int, int]]:
    """Runs with a blink between them and the same speed and throttle on either side are one."""
    made: list[tuple[int, int]] = []
    for start, stop in runs:
        if made and start - made[-1][1] <= _BRIDGED_BLOCKS:
            before, here = slice(*made[-1]), slice(start, stop)
            near = abs(float(speed[here].mean() / speed[before].mean()) - 1.0) <= _SAME_SPEED
            if throttle is not None:
                near &= abs(float(throttle[here].mean() - throttle[before].mean())) <= _SAME_THROTTLE
            if near:
                made[-1] = (made[-1][0], stop)
                continue
        made.append((start, stop))
    return made


def _cut(values: Array) -> int:
    """How many of these to leave out in front, so that the rest's mean has the least standard error; half at most."""
    count = len(values) // _BATCH_BLOCKS
    if count < 4:
        return 0
    batches = values[: count * _BATCH_BLOCKS].reshape(count, _BATCH_BLOCKS).mean(axis=1)
    rests = [batches[cut:] for cut in range(count // 2 + 1)]
    squares = [float(((rest - rest.mean()) ** 2).sum()) / len(rest) ** 2 for rest in rests]
    good = max(min(squares), (_GOOD_ENOUGH * float(batches[-1])) ** 2)
    return next(cut for cut, one in enumerate(squares) if one <= good) * _BATCH_BLOCKS
