"""Curves that counted pulses allow, with and without sharp corners, each with the evidence for it.

Every curve is a straight line, corners and soft bends (`leastsquares`), held to the pulses by `bounded`. While it
settles, corners move to where they fit (a corner's place is one more unknown), and what the bends may do is learnt from
what they do. Corners are looked for one after another, where what is left over asks for one most, and then taken back
one after another.
"""

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.bends import Bent, shared
from pullbook.measure.bounded import Bounded
from pullbook.measure.corners import candidates, placed
from pullbook.measure.curveparts import Array
from pullbook.measure.leastsquares import BENDS, Problem, soft_bends

_FREE = 1e-10  # prior precision of the straight line
_STIFFER = 1e-2  # than least squares hold bends beside corners: the corners shall say what they can
_MOVES, _ROUNDS, _FIRST_ROUNDS, _LAST_ROUNDS = 4, 2, 3, 4
_FARTHEST = 0.015  # of the range, in one move
_EDGE = 0.01  # of the range, where no corner is
_MOST_CORNERS = 7
_PLACES: Array = np.arange(1, 60) / 60.0  # where corners are looked for
_APART = 0.045  # of the range: no nearer to another
_NEARLY_ONE = 0.07  # corners nearer than this are also tried as one
_WELCOME = 1.24  # log odds of each corner beforehand, beside what its place and its sharpness cost
_PLACE = 12.0  # prior precision of a corner's move: it may be anywhere in the range
_ROOM, _WIDE = 2.0, 0.08  # log odds against corners side by side, and the part of the range that is near
_IN_VAIN = 2  # corners, after which the search ends


class Pulses:
    """The bounds of a sweep, and the rows by which a curve's unknowns reach them."""

    def __init__(self, gained: Array, speed_rad_s: Array, step_s: float, quantum: float) -> None:
        self.problem = Problem(gained, speed_rad_s, 2, quantum * quantum / 12.0)
        self.middle, self.half = self.problem.gained, 0.5 * quantum
        self.scale = (step_s / self.problem.step) ** -2
        base, triangle = np.linalg.qr(self.problem.fixed.T)
        self.straight: Array = base.T
        self.turned: Array = np.asarray(np.linalg.inv(triangle).T, np.float64)
        self.bends, self.bend_lines = self.cleared(self.problem.bends_raw)
        line = self.line_of(self.straight @ self.middle)
        self.usual = 2.0 * abs(float(line[0] + 0.5 * line[1])) + 1e-9  # how sharp a corner may be, beforehand

    def cleared(self, rows: Array) -> tuple[Array, Array]:
        """Rows less their straight part, and the straight line (unknowns, 2) that each has thereby lost."""
        first = rows @ self.straight.T
        rows = rows - first @ self.straight
        second = rows @ self.straight.T
        return rows - second @ self.straight, -((first + second) @ self.turned)[:, 2:]

    def line_of(self, straight: Array) -> Array:
        """The two coefficients of torque that these amounts of the straight rows stand for."""
        made: Array = straight @ self.turned[:, 2:]
        return made

    def moves(self, corners: Array, weights: Array) -> Array:
        """What each corner's move to the right gains, not cleared."""
        return self.problem.integral(-weights[:, None] * (self.problem.part > corners[:, None]))


@dataclass(frozen=True)
class Kept:
    """A curve within the pulses. `weights`: corners first, then bends; `at`: the angle that it gives each row."""

    corners: Array
    line: Array
    weights: Array
    held: Array  # prior variance of each bend
    variance: Array  # of the weights
    bounded: Bounded
    rows: Array
    at: Array
    evidence: float


def without_corners(pulses: Pulses, bent: Bent) -> Kept:
    """With soft bends alone, held at first as the other fit held its own."""
    return _settled(pulses, np.zeros(0), bent.bend_variance * (bent.scale / pulses.scale) ** 2, None)


def with_corners(pulses: Pulses, bent: Bent) -> list[Kept]:
    """The curves with corners, one at the least, that were tried on the way to the one with the greatest evidence."""
    stiff = np.full(BENDS, _STIFFER * pulses.problem.stiff * pulses.problem.variance)
    now = _settled(pulses, _first_corners(pulses, bent), stiff, None)
    tried = [now] if len(now.corners) else []
    in_vain, most = 0, -np.inf
    while len(now.corners) < _MOST_CORNERS and in_vain < _IN_VAIN:
        more = np.append(now.corners, _asked_for(pulses, now))
        now = _settled(pulses, more, stiff, now.bounded if len(now.corners) else None)
        in_vain = 0 if now.evidence > most else in_vain + 1
        most = max(most, now.evidence)
        tried.append(now)
    return tried + _fewer(pulses, max(tried, key=lambda one: one.evidence), stiff)


def _first_corners(pulses: Pulses, bent: Bent) -> Array:
    """Those that least squares kept, or where those are few, all that least squares would think of."""
    found = (bent.low_rad_s + bent.span_rad_s * bent.corners - pulses.problem.low) / pulses.problem.span
    if len(found) < 3:
        thought_of = candidates(pulses.problem)
        if len(thought_of):
            thought_of = placed(pulses.problem, thought_of, -np.inf)
        if len(thought_of) > len(found):
            return thought_of
    return found


def _asked_for(pulses: Pulses, now: Kept) -> float:
    """Where one more corner would take most of what is left over."""
    root = np.sqrt(now.bounded.precision)
    new = pulses.cleared(pulses.problem.corner_rows(_PLACES))[0] * root
    old = now.rows * root
    across = new @ old.T
    size = np.add.reduce(new * new, axis=1)
    room = np.maximum(size - np.add.reduce(across @ now.bounded.inverse * across, axis=1), 1e-4 * size)
    asks = (new @ (now.bounded.pull / root - now.at * root)) ** 2 / room
    if len(now.corners):
        asks[np.abs(_PLACES[:, None] - now.corners).min(axis=1) < _APART] = 0.0
    return float(_PLACES[int(asks.argmax())])


def _fewer(pulses: Pulses, best: Kept, stiff: Array) -> list[Kept]:
    """The least of the corners left out, or the closest two made one, for as long as that is no less likely."""
    tried: list[Kept] = []
    while len(best.corners) > 1:
        free = len(best.corners)
        least = int((best.weights[:free] ** 2 / best.variance[:free]).argmin())
        choices = [np.delete(best.corners, least)]
        gaps = np.diff(best.corners)
        left = int(gaps.argmin())
        if gaps[left] < _NEARLY_ONE:
            choices.append(_as_one(best, left))
        new = [_settled(pulses, corners, stiff, best.bounded) for corners in choices]
        tried += new
        likeliest = max(new, key=lambda one: one.evidence)
        if likeliest.evidence < best.evidence:
            break
        best = likeliest
    return tried


def _as_one(kept: Kept, left: int) -> Array:
    """The corners with two neighbours as one: between them, or the greater where they turn to opposite sides."""
    first, second = kept.weights[left : left + 2]
    corners = np.delete(kept.corners, left + 1)
    if first * second > 0.0:
        corners[left] = (first * kept.corners[left] + second * kept.corners[left + 1]) / (first + second)
    elif abs(second) > abs(first):
        corners[left] = kept.corners[left + 1]
    return corners


def _settled(pulses: Pulses, corners: Array, held: Array, start: Bounded | None) -> Kept:
    """The curve with so many corners, which begin here and move; `start`: from where the bounds go on."""
    bounded = Bounded(pulses.middle, pulses.half, start)
    corners, free = np.sort(corners), len(corners)
    weights = sure = np.zeros(0)
    rounds = _FIRST_ROUNDS if start is None else _ROUNDS
    for move in range(_MOVES):
        moving = free if move else 0
        rows, _ = _rows(pulses, corners, weights[:moving])
        unknown, variance = _known(pulses, bounded, rows, held, free, rounds)
        weights, spread = unknown[4 : 4 + free], variance[4 + free : 4 + free + BENDS]
        did = unknown[4 + free : 4 + free + BENDS] ** 2
        told = np.minimum(np.maximum(1.0 - spread / held, 1e-6), 1.0)
        held = np.minimum(np.maximum(shared(did) / shared(told), held * 1e-2), held * 1e2)
        if moving:
            sure = variance[-free:]
            steps = np.minimum(np.maximum(unknown[-free:], -_FARTHEST), _FARTHEST)
            corners = np.minimum(np.maximum(corners + steps, _EDGE), 1.0 - _EDGE)
    rows, lines = _rows(pulses, corners, weights[:0])
    unknown, variance = _known(pulses, bounded, rows, held, free, _LAST_ROUNDS)
    prior = _prior(pulses, held, free, 0)
    sizes = np.sqrt(np.add.reduce(rows * rows, axis=1))
    evidence = bounded.log_evidence(rows / sizes[:, None], prior / sizes**2)
    evidence += float(np.add.reduce(np.minimum(0.5 * np.log(2.0 * np.pi * (sure + 1e-12)) + _WELCOME, 0.0)))
    evidence += _ROOM * float(np.add.reduce(np.log(1.0 - _WIDE / (np.diff(np.sort(corners)) + _WIDE + 1e-3))))
    return Kept(
        corners=corners,
        line=unknown @ lines,
        weights=unknown[4:],
        held=held,
        variance=variance[4:],
        bounded=bounded,
        rows=rows / sizes[:, None],
        at=unknown @ rows,
        evidence=evidence,
    )


def _rows(pulses: Pulses, corners: Array, moving: Array) -> tuple[Array, Array]:
    """Rows of the straight line, corners, bends and, with these weights, the corners' moves; the line in each."""
    raw = pulses.problem.corner_rows(corners)
    if len(moving):
        raw = np.concatenate([raw, pulses.moves(corners, moving)])
    free = len(corners)
    rows, lines = pulses.cleared(raw)
    line = pulses.turned[:, 2:]
    return (
        np.concatenate([pulses.straight, rows[:free], pulses.bends, rows[free:]]),
        np.concatenate([line, lines[:free], pulses.bend_lines, lines[free:]]),
    )


def _prior(pulses: Pulses, held: Array, free: int, moving: int) -> Array:
    """Prior precision of each unknown."""
    sharpness = np.full(free, pulses.usual**-2)
    return np.concatenate([np.full(4, _FREE), sharpness, 1.0 / held, np.full(moving, _PLACE)])


def _known(pulses: Pulses, bounded: Bounded, rows: Array, held: Array, free: int, rounds: int) -> tuple[Array, Array]:
    """Mean and variance of each unknown; rows are brought to one size for the reckoning."""
    sizes = np.sqrt(np.add.reduce(rows * rows, axis=1)) + 1e-12
    bounded.settle(rows / sizes[:, None], _prior(pulses, held, free, len(rows) - 4 - BENDS - free) / sizes**2, rounds)
    return bounded.mean / sizes, bounded.inverse.diagonal() / sizes**2


def deviation_of(pulses: Pulses, kept: Kept, part: Array, unsure_places: bool) -> Array:
    """Of the torque, as `Bent.scale` counts it, at these parts of the range; with what is unsure of the corners'
    places, or without."""
    free = len(kept.corners)
    moving = free if unsure_places else 0
    rows, lines = _rows(pulses, kept.corners, kept.weights[:moving])
    sizes = np.sqrt(np.add.reduce(rows * rows, axis=1)) + 1e-12
    rows /= sizes[:, None]
    normal = (rows * kept.bounded.precision) @ rows.T
    normal.ravel()[:: len(sizes) + 1] += _prior(pulses, kept.held, free, moving) / sizes**2
    shapes = lines[:, :1] + lines[:, 1:] * part
    beyond = part - kept.corners[:, None]
    shapes[4 : 4 + free] += np.maximum(beyond, 0.0)
    shapes[4 + free : 4 + free + BENDS] += soft_bends(part)
    if moving:
        shapes[4 + free + BENDS :] -= kept.weights[:free, None] * (beyond > 0.0)
    shapes /= sizes[:, None]
    made: Array = np.sqrt(np.maximum(np.add.reduce(shapes * np.linalg.solve(normal, shapes)), 0.0))
    return made
