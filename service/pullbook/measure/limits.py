"""Was a limit passed, when, at which engine speed, for how long and by how much? Pure, and for pulls of any kind.

How a passing is told from a stray sample is common practice, not a standard: values count once they have stayed beyond
the limit for the rule's `lasting_s`; a return within it of less than 0.1 s does not part one passing into two. Shorter
ones are counted as brief and told apart. λ and fuel pressure count under load alone, and λ only for what was burnt
under load: the probe tells it late, by the pull's own lag where that is known.
"""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, Mask, SweepError
from pullbook.measure.timebase import repaired

BRIDGED_S = 0.1  # back within the limit for less than this is the same passing
SETTLING_S = 0.3  # after full load begins, for the mixture to be what was asked and the probe to have answered
MIXING_S = 0.25  # before full load ends: a probe answers gradually, so what it tells then is mixed with later gas
LATE_S = 1.0  # the probe's lag where none is known: all of the last second must have been under load
LOAD_THROTTLE_PCT = 80.0  # or nine tenths of the most there is, on cars whose sensor ends below
LOAD_PRESSURE = 0.9  # of the air outside; not while the throttle is shut, for some sensors sit before it
SHUT_THROTTLE_PCT = 20.0
_USUAL_AIR_KPA = 100.0
_LONGEST_STEP = 3.0  # a sample stands for three usual steps at most: beyond them nothing is known
_FALLING_PER_S = 0.01  # engine speed falling faster than this share of itself is no load


@dataclass(frozen=True)
class LimitRule:
    """One kind of limit. `sign` +1: passed above it, -1: below; `lasting_s`: how long before it counts."""

    quantity: str
    title: str
    word: str
    channel: str
    unit: str
    decimals: int
    sign: int
    lasting_s: float
    under_load: bool


_ROWS = (
    ("lambda_leaner_than", "λ", "leaner than", "lambda_measured", "λ", 2, 1, 0.1, True),
    ("knock_retard_deg_beyond", "knock retard", "beyond", "knock_retard_deg", "°", 1, 1, 0.05, False),
    ("fuel_pressure_kpa_below", "fuel pressure", "below", "fuel_pressure_kpa", "kPa", 0, -1, 0.1, True),
    ("manifold_pressure_kpa_above", "manifold pressure", "above", "manifold_pressure_kpa", "kPa", 0, 1, 0.05, False),
    ("oil_temperature_c_above", "oil temperature", "above", "oil_temperature_c", "°C", 1, 1, 0.5, False),
    ("coolant_temperature_c_above", "coolant temperature", "above", "coolant_temperature_c", "°C", 1, 1, 0.5, False),
    ("intake_temperature_c_above", "intake temperature", "above", "intake_temperature_c", "°C", 1, 1, 0.5, False),
)
LIMIT_RULES: Mapping[str, LimitRule] = MappingProxyType({row[0]: LimitRule(*row) for row in _ROWS})
LIMIT_CHANNELS = frozenset(
    {rule.channel for rule in LIMIT_RULES.values()}
    | {"time_s", "engine_speed_rpm", "throttle_pct", "manifold_gauge_kpa", "lambda_commanded"}
)


@dataclass(frozen=True)
class Passing:
    """One stretch beyond the limit. Times in s of the file; engine speeds in rev/min, None where it is not known."""

    first_s: float
    lasted_s: float
    engine_speed_rpm: float | None
    worst: float  # in the limit's unit
    worst_s: float
    worst_engine_speed_rpm: float | None


@dataclass(frozen=True)
class Checked:
    """One limit held against one pull. `why_not` is set where it could not be, and then nothing else is."""

    rule: LimitRule
    limit: float
    why_not: str | None = None
    passings: tuple[Passing, ...] = ()
    brief: int = 0  # times beyond it for less than the rule's `lasting_s`
    looked_at_s: float = 0.0  # for how much of the pull it could be said
    closest: float | None = None  # the value nearest to the limit, or furthest beyond it
    load_by: str = ""  # how load was told, where only load counts
    lag_s: float | None = None  # by how much λ was taken to be late; None: within a second

    @property
    def passed(self) -> bool:
        """Whether it was passed for long enough to count."""
        return bool(self.passings)

    @property
    def lasted_s(self) -> float:
        """For how long, all told."""
        return sum(one.lasted_s for one in self.passings)

    @property
    def worst(self) -> Passing:
        """The passing that went furthest; ValueError where there is none."""
        return max(self.passings, key=lambda one: self.rule.sign * one.worst)

    @property
    def by(self) -> float:
        """How far beyond the limit it went, in its unit."""
        return self.rule.sign * (self.worst.worst - self.limit)


def check_limits(
    channels: Mapping[str, Array],
    limits: Mapping[str, float],
    lag_s: float | None = None,
    station_pressure_kpa: float | None = None,
) -> tuple[Checked, ...]:
    """Hold limits against one pull, in the order of `LIMIT_RULES`.

    `channels`: (rows,) arrays in inside units, with `time_s`; `limits`: by quantity, in the unit its name ends in.
    `lag_s`: by how much measured λ is late. `station_pressure_kpa` makes a gauge pressure absolute. KeyError for a
    quantity that is no limit; a channel that is missing or blank is told in `why_not`, never an error.
    """
    rules = [rule for quantity, rule in LIMIT_RULES.items() if quantity in limits]
    if len(rules) < len(limits):
        raise KeyError(", ".join(sorted(set(limits) - set(LIMIT_RULES))))
    try:
        seen = repaired(channels).channels
    except SweepError as error:
        return tuple(Checked(rule, limits[rule.quantity], f"cannot be checked: {error}") for rule in rules)
    loaded, load_by = _under_load(seen, station_pressure_kpa)
    return tuple(
        _checked(rule, limits[rule.quantity], seen, loaded, load_by, lag_s, station_pressure_kpa) for rule in rules
    )


def _checked(
    rule: LimitRule,
    limit: float,
    seen: Mapping[str, Array],
    loaded: Mask,
    load_by: str,
    lag_s: float | None,
    station_pressure_kpa: float | None,
) -> Checked:
    values = _values(rule, seen, station_pressure_kpa)
    if isinstance(values, str):
        return Checked(rule, limit, f"cannot be checked: {values}")
    known = np.isfinite(values)
    time, sizes = seen["time_s"][known], values[known]
    if rule.channel == "knock_retard_deg":
        sizes = np.abs(sizes)  # loggers disagree about its sign
    late = (lag_s if lag_s is not None else 0.0) if rule.channel == "lambda_measured" else 0.0
    counts = np.ones(len(time), dtype=bool)
    if rule.under_load:
        before = after = 0.0
        if rule.channel == "lambda_measured":
            before, after = (LATE_S, 0.0) if lag_s is None else (SETTLING_S, min(MIXING_S, lag_s))
        counts = _all_loaded(seen["time_s"], loaded, time - late - before, time - late + after)
    stands_s = _stands_for(time)
    looked_at = float(stands_s[counts].sum())
    if not counts.any():
        return Checked(rule, limit, f"cannot be checked: never under load ({load_by})")
    runs = _runs(rule.sign * (sizes - limit) > 0.0, counts, time, stands_s)
    lasting = [run for run in runs if _lasted(run, time, stands_s) >= rule.lasting_s]
    nearest = float(sizes[counts][np.argmax(rule.sign * sizes[counts])])
    return Checked(
        rule,
        limit,
        passings=tuple(_passing(rule, run, time, sizes, stands_s, late, seen) for run in lasting),
        brief=len(runs) - len(lasting),
        looked_at_s=looked_at,
        closest=nearest,
        load_by=load_by if rule.under_load else "",
        lag_s=lag_s if rule.channel == "lambda_measured" else None,
    )


def _values(rule: LimitRule, seen: Mapping[str, Array], station_pressure_kpa: float | None) -> Array | str:
    """The channel, or why there is none in words."""
    values = seen.get(rule.channel)
    if values is None and rule.channel == "manifold_pressure_kpa" and "manifold_gauge_kpa" in seen:
        if station_pressure_kpa is None:
            return "this file has gauge pressure only, and there is no weather reading to make it absolute"
        values = seen["manifold_gauge_kpa"] + station_pressure_kpa
    if values is None:
        return f"no {_called(rule)} in this file"
    if not np.isfinite(values).any():
        return f"{_called(rule)} is blank throughout this file"
    return values


def _called(rule: LimitRule) -> str:
    return "measured λ" if rule.channel == "lambda_measured" else rule.title


def _under_load(seen: Mapping[str, Array], station_pressure_kpa: float | None) -> tuple[Mask, str]:
    """Rows at full load, and by what that was told: throttle, manifold pressure, else a speed that does not fall."""
    time = seen["time_s"]
    loaded, words = np.zeros(len(time), dtype=bool), []
    throttle = _filled(time, seen.get("throttle_pct"))
    if throttle is not None and (most := float(np.quantile(throttle, 0.98))) >= 50.0:
        enough = min(LOAD_THROTTLE_PCT, 0.9 * most)
        loaded |= throttle >= enough
        words.append(f"throttle {enough:.0f} % or more")
    air = _USUAL_AIR_KPA if station_pressure_kpa is None else station_pressure_kpa
    pressure = _filled(time, seen.get("manifold_pressure_kpa"))
    if pressure is None and (gauge := _filled(time, seen.get("manifold_gauge_kpa"))) is not None:
        pressure = gauge + air
    if pressure is not None:
        loaded |= (pressure >= LOAD_PRESSURE * air) & (True if throttle is None else throttle >= SHUT_THROTTLE_PCT)
        words.append(f"manifold pressure {LOAD_PRESSURE * air:.0f} kPa or more")
    if words:
        return loaded, f"load told by {' or '.join(words)}"
    for name in ("engine_speed_rpm", "roller_speed_rad_s", "roller_surface_speed_m_s"):
        speed = _filled(time, seen.get(name))
        if speed is not None:
            gain = np.interp(time + 0.15, time, speed) - np.interp(time - 0.15, time, speed)
            return gain > -0.3 * _FALLING_PER_S * np.abs(speed), "load told by a speed that does not fall"
    return np.ones(len(time), dtype=bool), "nothing in this file tells load, so all of it was looked at"


def _filled(time_s: Array, values: Array | None) -> Array | None:
    if values is None or not (known := np.isfinite(values)).any():
        return None
    filled: Array = np.interp(time_s, time_s[known], values[known])
    return filled


def _all_loaded(time_s: Array, loaded: Mask, since_s: Array, until_s: Array) -> Mask:
    """Whether every row between these moments is under load; not where the file does not reach back so far."""
    idle = np.concatenate(([0], np.cumsum(~loaded)))
    first = np.searchsorted(time_s, since_s - 1e-9)
    last = np.searchsorted(time_s, until_s + 1e-9, side="right")
    there = (since_s >= time_s[0] - 1e-9) & (last > 0)
    first = np.minimum(first, np.maximum(last - 1, 0))  # between two rows the one before counts
    made: Mask = there & (idle[last] == idle[first])
    return made


def _stands_for(time_s: Array) -> Array:
    """For how long each sample stands: up to the next one, but never for more than three usual steps."""
    if len(time_s) < 2:
        return np.zeros(len(time_s))
    steps = np.diff(time_s)
    usual = float(np.median(steps))
    stands: Array = np.minimum(np.append(steps, usual), _LONGEST_STEP * usual)
    return stands


def _runs(beyond: Mask, counts: Mask, time_s: Array, stands_s: Array) -> list[tuple[int, int]]:
    """Stretches beyond the limit, first to last row, those less than `BRIDGED_S` apart joined."""
    there = np.flatnonzero(beyond & counts)
    if not len(there):
        return []
    ends = time_s[there] + stands_s[there]
    apart = time_s[there[1:]] - ends[:-1] >= BRIDGED_S
    apart |= np.add.accumulate(~counts)[there[1:]] != np.add.accumulate(~counts)[there[:-1]]
    cuts = np.flatnonzero(apart)
    firsts, lasts = there[np.append(0, cuts + 1)], there[np.append(cuts, len(there) - 1)]
    return list(zip(firsts.tolist(), lasts.tolist(), strict=True))


def _lasted(run: tuple[int, int], time_s: Array, stands_s: Array) -> float:
    first, last = run
    return float(time_s[last] + stands_s[last] - time_s[first]) + 1e-9


def _passing(
    rule: LimitRule,
    run: tuple[int, int],
    time_s: Array,
    sizes: Array,
    stands_s: Array,
    late_s: float,
    seen: Mapping[str, Array],
) -> Passing:
    part = slice(run[0], run[1] + 1)
    worst = run[0] + int(np.argmax(rule.sign * sizes[part]))
    first_s, worst_s = float(time_s[run[0]]) - late_s, float(time_s[worst]) - late_s
    speed = _filled(seen["time_s"], seen.get("engine_speed_rpm"))
    at = [None, None] if speed is None else [float(np.interp(s, seen["time_s"], speed)) for s in (first_s, worst_s)]
    return Passing(first_s, _lasted(run, time_s, stands_s), at[0], float(sizes[worst]), worst_s, at[1])
