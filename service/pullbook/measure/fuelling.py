"""Stretches of a sweep: where the mixture follows the command, where it is richer or leaner.

λ is compared at the moment the gas was burnt. Because the lag itself is only known so well, and a probe smears what
changes fast, a mixture is called leaner only where it is leaner than everything that was commanded within that doubt
(twice the lag's standard uncertainty and the smear), and richer likewise.
"""

from itertools import pairwise

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Indices, InPlace, Mask

TOLERANCE = 0.02  # λ: what most tuners let stand; common practice
PROBE_EXPANDED = 0.015  # λ, k = 2: a wide-band probe in rich gas; makers state 1 to 2 % (from memory)
FOLLOWS, RICHER, LEANER = "follows", "richer", "leaner"
_LASTING_S = 0.25
_LASTING_POINTS = 3
_STATES = {0: FOLLOWS, -1: RICHER, 1: LEANER}
_UNKNOWN = 2


@dataclass(frozen=True)
class MixtureStretch:
    """A part of the sweep in which the mixture did one thing: `follows`, `richer` or `leaner`.

    Errors are measured less commanded λ (less λ 1.00 where there is no command): positive is lean.
    """

    state: str
    from_rpm: float
    to_rpm: float
    from_s: float
    to_s: float
    mean_measured: float
    mean_commanded: float | None
    mean_error: float
    worst_error: float
    worst_at_rpm: float
    text: str


def leaner(measured: Array, in_place: InPlace) -> Mask:
    """Where measured λ is leaner than commanded, or than λ 1.00 where no command is known; (grid,)."""
    wanted = 1.0 - TOLERANCE if in_place.most is None else in_place.most
    with np.errstate(invalid="ignore"):
        made: Mask = measured > wanted + TOLERANCE + PROBE_EXPANDED
    return made


def stretches_of(
    measured: Array, commanded: Array | None, in_place: InPlace, grid_rpm: Array, ignition: str
) -> tuple[MixtureStretch, ...]:
    """All stretches in order; (grid,) arrays, λ and rev/min. Without a command only those leaner than λ 1.00, and for
    compression ignition, which is always that lean, none."""
    state = np.where(leaner(measured, in_place), 1, 0)
    known = np.isfinite(measured)
    if in_place.least is not None:
        with np.errstate(invalid="ignore"):
            state[measured < in_place.least - TOLERANCE - PROBE_EXPANDED] = -1
        known &= np.isfinite(in_place.least)
    elif ignition != "spark":
        return ()
    state[~known] = _UNKNOWN
    wanted = np.ones(len(grid_rpm)) if commanded is None else commanded
    told = (0, -1, 1) if in_place.least is not None else (1,)
    return tuple(
        _stretch(slice(first, last), what, measured, wanted, in_place, grid_rpm)
        for first, last, what in _runs(state, in_place.burnt_s)
        if what in told and np.isfinite((measured - wanted)[first:last]).any()
    )


def _runs(state: Indices, when_s: Array) -> list[tuple[int, int, int]]:
    """Runs of one state: first, last (not included), state. What does not last belongs to what stood before it."""
    cuts = np.concatenate(([0], np.flatnonzero(np.diff(state)) + 1, [len(state)])).tolist()
    made: list[tuple[int, int, int]] = []
    for first, last in pairwise(cuts):
        what = int(state[first])
        lasts = last - first >= _LASTING_POINTS and when_s[last - 1] - when_s[first] >= _LASTING_S
        if not lasts and what != 0:
            what = made[-1][2] if made else 0
        elif not lasts and made and last < len(state) and made[-1][2] == int(state[last]):
            what = made[-1][2]  # a moment of following between two stretches alike
        if made and made[-1][2] == what:
            first = made.pop()[0]
        made.append((first, last, what))
    return made


def _stretch(
    part: slice, what: int, measured: Array, wanted: Array, in_place: InPlace, grid_rpm: Array
) -> MixtureStretch:
    known = np.flatnonzero(np.isfinite(measured[part] - wanted[part])) + part.start
    over, rpm, when = (measured - wanted)[known], grid_rpm[known], in_place.burnt_s[known]
    worst = int((over * what if what else np.abs(over)).argmax())
    by = float(over.mean())
    speeds = f"{rpm[0]:.0f} to {rpm[-1]:.0f} rev/min"
    against = "λ 1.00 (no command is known)" if in_place.least is None else "commanded"
    if what == 0:
        text = f"{speeds}: follows the command, λ {by:+.3f} from it on average."
    else:
        text = (
            f"{speeds}: {_STATES[what]} than {against} by λ {abs(by):.3f} on average, "
            f"{abs(over[worst]):.3f} at {rpm[worst]:.0f} rev/min."
        )
    return MixtureStretch(
        state=_STATES[what],
        from_rpm=float(rpm[0]),
        to_rpm=float(rpm[-1]),
        from_s=float(when[0]),
        to_s=float(when[-1]),
        mean_measured=float(measured[known].mean()),
        mean_commanded=None if in_place.least is None else float(wanted[known].mean()),
        mean_error=by,
        worst_error=float(over[worst]),
        worst_at_rpm=float(rpm[worst]),
        text=text,
    )
