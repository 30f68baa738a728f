"""Roller losses from a coast-down: c0 + c1·ω + c2·ω² with their covariance, fitted to the motion and never to slopes.

The whole motion is fitted by least squares (Gauss and Newton) to block means of speed, or of angle where pulses were
counted, so nothing noisy is differentiated. What is left over is seldom white: a logger filters, rounds, counts. Its
own memory is taken out by an autoregression before the covariance is drawn (Cochrane and Orcutt 1949 in idea; its order
by what it saves), and the region of three coefficients is that of F with what degrees of freedom are left.
"""

from dataclasses import replace

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.coasting import LARGEST_FALL, angle_of, find_coasting, speed_at
from pullbook.measure.curveparts import Array, RollerCalibration, SweepError
from pullbook.measure.rollerspeed import RollerSignal, roller_signal
from pullbook.measure.timebase import repaired

_BLOCKS = 400
_LONGEST_MEMORY = 4
_WORTH = 6.0  # what one more weight must save of n·log(variance): Schwarz's log n of 400 blocks
_COUNTED = -0.2  # neighbours that undo each other: speeds that are differences of a count …
_BOUNDED = 3.0  # … whose errors never add up to more than some of themselves
_ROUNDS = 12
_ROUNDED = 2.0  # times the variance: errors of rounding keep step with a smooth motion, and average out less than noise


@dataclass(frozen=True)
class CoastDown:
    """One run, fitted.

    per_inertia: c0/J, c1/J, c2/J (1/s², 1/s, 1/rad); covariance: theirs, 3 by 3; dof: its degrees of freedom.
    time_s, speed_rad_s, residual: block means: when, how fast as fitted, what is left (rad/s, or rad if `from_angle`).
    noise: standard deviation of that; memory: order of the autoregression. low_rad_s, high_rad_s: the reach in speed.
    """

    per_inertia: Array
    covariance: Array
    dof: float
    time_s: Array
    speed_rad_s: Array
    residual: Array
    noise: float
    memory: int
    from_angle: bool
    low_rad_s: float
    high_rad_s: float
    falls: bool

    def losses_nm(self, inertia_kg_m2: float) -> Array:
        """c0, c1, c2 in N·m, N·m·s, N·m·s² for this inertia of all that turned; what was added is still in them."""
        made: Array = self.per_inertia * inertia_kg_m2
        return made


def read_coast_down(channels: dict[str, Array], calibration: RollerCalibration) -> CoastDown:
    """Fit a file's channels (arrays of one length, `time_s` and a roller speed among them). SweepError: none coasts.

    Of the calibration only pulses a turn and the roller radius are used.
    """
    base = repaired(channels)
    signal = roller_signal(base.channels, calibration)
    time = base.channels["time_s"]
    found = find_coasting(time, signal.speed_rad_s)
    rows = slice(found.first, found.last)
    values = signal.values[rows] - (signal.values[found.first] if signal.derivative == 2 else 0.0)
    cut = replace(signal, values=values, speed_rad_s=signal.speed_rad_s[rows])
    return fit_coast_down(time[rows], cut, found.falls)


def fit_coast_down(time_s: Array, signal: RollerSignal, falls: bool = True) -> CoastDown:
    """Fit rows in which nothing but the coasting happens. SweepError where they do not tell the coefficients."""
    lasting = float(time_s[-1] - time_s[0])
    fall = float(np.ptp(signal.speed_rad_s)) / float(np.max(signal.speed_rad_s))
    if fall < LARGEST_FALL:
        raise SweepError(
            f"Speed changes by only {100.0 * fall:.0f} % of its top here; with less than {100.0 * LARGEST_FALL:.0f} % "
            "the three coefficients cannot be told apart. Let the rollers run further down."
        )
    fitted = _Fit(time_s - time_s[0], signal.values, signal.derivative == 2, signal.speed_rad_s).solve()
    if signal.derivative == 1 and fitted.counted:
        steps = np.diff(time_s, prepend=time_s[0] - lasting / (len(time_s) - 1))
        fitted = _Fit(time_s - time_s[0], np.cumsum(signal.values * steps), True, signal.speed_rad_s).solve()
    return fitted.told(float(time_s[0]), falls)


class _Fit:
    """The least-squares problem of one run: three coefficients over inertia, speed and perhaps angle at the start."""

    def __init__(self, time_s: Array, values: Array, is_angle: bool, rough: Array) -> None:
        self.time, self.values, self.is_angle = time_s, values, is_angle
        self.starts = np.unique(np.linspace(0, len(time_s), min(_BLOCKS, len(time_s) // 2) + 1).astype(int)[:-1])
        self.counts = np.diff(np.append(self.starts, len(time_s)))
        few = max(2, len(rough) // 40)
        start, end = float(np.mean(rough[:few])), float(np.mean(rough[-few:]))
        pace = (start - end) / float(time_s[-1])
        high = max(start, end)
        self.scale = np.array([abs(pace), abs(pace) / high, abs(pace) / high**2, high])
        # half of what slows goes with speed, half does not: near enough to begin with
        middle = 0.5 * (start + end)
        self.theta = np.array([0.5 * pace, 0.5 * pace / middle, 0.0, start])
        self.observed = self._means(values)
        self.counted = False

    def _means(self, rows: Array) -> Array:
        made: Array = np.add.reduceat(rows, self.starts) / self.counts
        return made

    def _rows(self, theta: Array) -> Array:
        speed = speed_at(self.time, float(theta[3]), theta[:3])
        return angle_of(self.time, speed, theta[:3]) if self.is_angle else speed

    def _slopes(self, theta: Array) -> Array:
        """How each block's mean moves with each unknown in units of its scale."""
        columns = []
        for place, size in enumerate(self.scale):
            step = np.zeros(4)
            step[place] = 1e-5 * size
            columns.append(self._means(self._rows(theta + step) - self._rows(theta - step)) / 2e-5)
        if self.is_angle:
            columns.append(np.ones(len(self.starts)))
        return np.array(columns).T

    def solve(self) -> "_Fit":
        for _ in range(_ROUNDS):
            slopes = self._slopes(self.theta)
            left = self.observed - self._means(self._rows(self.theta))
            step = np.linalg.lstsq(slopes, left, rcond=None)[0]
            if not np.all(np.isfinite(step)):
                raise SweepError("The motion here is not that of rollers running down; nothing could be fitted to it.")
            self.theta = self.theta + step[:4] * self.scale
            if float(np.abs(step[:4]).max()) < 1e-9:
                break
        rows_left = self.values - self._rows(self.theta)
        rows_left = rows_left - rows_left.mean()
        power = float(rows_left @ rows_left)
        undone = float(rows_left[1:] @ rows_left[:-1]) < _COUNTED * power
        self.counted = undone and len(rows_left) * float(np.var(np.cumsum(rows_left))) < _BOUNDED * power
        return self

    def told(self, began_s: float, falls: bool) -> CoastDown:
        """The coefficients once the memory of what is left has been taken out, and how sure they are."""
        weights: Array = np.zeros(0)
        for _ in range(4):
            slopes = self._slopes(self.theta)
            left = self.observed - self._means(self._rows(self.theta))
            if self.is_angle:
                left = left - left.mean()
            weights = _autoregression(left)
            white, calm = _whitened(slopes, weights), _whitened(left[:, None], weights)[:, 0]
            step = np.linalg.lstsq(white, calm, rcond=None)[0]
            self.theta = self.theta + step[:4] * self.scale
            if float(np.abs(step[:4]).max()) < 1e-7:
                break
        over = calm - white @ step
        dof = max(float(len(over) - white.shape[1] - len(weights)), 1.0)
        variance = float(over @ over) / dof
        inverse: Array = np.asarray(np.linalg.inv(white.T @ white)[:3, :3] * variance, np.float64)
        inverse *= _shortened(weights, len(over), white.shape[1])
        inverse *= _ROUNDED if not self.is_angle and _is_rounded(self.values) else 1.0
        speed = self._means(speed_at(self.time, float(self.theta[3]), self.theta[:3]))
        return CoastDown(
            per_inertia=self.theta[:3].copy(),
            covariance=inverse * np.outer(self.scale[:3], self.scale[:3]),
            dof=dof,
            time_s=self._means(self.time) + began_s,
            speed_rad_s=speed,
            residual=left,
            noise=float(np.std(left)),
            memory=len(weights),
            from_angle=self.is_angle,
            low_rad_s=float(speed.min()),
            high_rad_s=float(speed.max()),
            falls=falls,
        )


def _is_rounded(values: Array) -> bool:
    """Whether a speed comes in steps so coarse that half its readings are not new."""
    return len(np.unique(values)) < 0.5 * len(values)


def _autoregression(left: Array) -> Array:
    """Weights of the values before on each value; as many as save more than a few by chance would."""
    count = len(left)
    best = np.inf
    chosen: Array = np.zeros(0)
    for order in range(min(_LONGEST_MEMORY, count // 20) + 1):
        wanted = left[_LONGEST_MEMORY:]
        if order:
            before = np.array([left[_LONGEST_MEMORY - lag : count - lag] for lag in range(1, order + 1)]).T
            weights = np.linalg.lstsq(before, wanted, rcond=None)[0]
            over = wanted - before @ weights
        else:
            weights, over = np.zeros(0), wanted
        power = float(over @ over)
        if power <= 0.0:
            return np.asarray(weights, np.float64)
        said = len(wanted) * float(np.log(power)) + _WORTH * order
        if said < best:
            best, chosen = said, np.asarray(weights, np.float64)
    return chosen


def _shortened(weights: Array, count: int, fitted: int) -> float:
    """By how much the covariance is too small because a fit leaves shorter memory than there was.

    The bias of a memory estimated beside so many fitted shapes, (k + (k + 2)·φ)/n, is Kendall's (1954, Biometrika 41,
    403-404; from memory) for a mean, carried on from a mean and a line.
    """
    memory = float(weights.sum()) if len(weights) else 0.0  # none found may be a little, all the same
    if memory < 0.0:
        return 1.0
    bias = (fitted + (fitted + 2.0) * memory) / count
    left = 1.0 - memory
    return (left / max(left - bias, 0.3 * left)) ** 2 if left > 0.0 else 10.0


def _whitened(columns: Array, weights: Array) -> Array:
    """Each column less what those before foretell; the first rows, which have none, are left out."""
    order = len(weights)
    made: Array = columns[order:].copy()
    for lag, weight in enumerate(weights, start=1):
        made -= weight * columns[order - lag : len(columns) - lag]
    return made
