"""Fuel mapping: which pulls of a setup go into its map, how late their mixture is, and what was wanted of it.

The map is worked out anew from the files each time. Of each file only the columns that it needs are unpacked.
"""

from collections.abc import Mapping, Sequence
from math import ceil, floor

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.tables import Setup
from pullbook.db.tuning import FuelMapLayout
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.late_methods import dataclass
from pullbook.measure.curve import SweepError
from pullbook.measure.fuelmap import Cells, FuelMap, FuelMapError, MapRun, fuel_map
from pullbook.runfile.channels import ChannelMapError
from pullbook.shop.facts import Floats, PullFacts, SetupFacts, TicketFacts
from pullbook.shop.joining import all_channels
from pullbook.shop.lagging import LagTaken, lags_of
from pullbook.shop.loading import Loaded, load_pulls
from pullbook.shop.reading import roller_calibration, stated_ratio

MOST_PULLS = 120
KINDS = ("sweep", "hold", "part_throttle")
LOAD_AXES: Mapping[str, tuple[str, str]] = {
    "manifold_pressure_kpa": ("manifold pressure, absolute", "kPa"),
    "throttle_pct": ("throttle", "%"),
}
MINIMUM_TIME_S = 0.5
ADVICE = (
    "This is advice for the tuner, whose responsibility every change is. See to the lean cells first: lean under load "
    "harms an engine, rich seldom does. Change in small steps, pull again and look at the map anew; a probe that is "
    "wrong, an exhaust leak before it or a misfire shows as lean here and is not cured by fuel."
)
_ROLLER = ("roller_speed_rad_s", "roller_surface_speed_m_s", "roller_pulses", "roller_pulse_increments")
_NEEDED = frozenset({"time_s", "engine_speed_rpm", "lambda_measured", "lambda_commanded", "throttle_pct", *_ROLLER})
_SPEED_STEP_RPM = 500.0
_STEPS: Mapping[str, float] = {"manifold_pressure_kpa": 10.0, "throttle_pct": 10.0}
_MOST_BY_ITSELF = 14  # cells along an axis whose edges nobody gave


@dataclass(frozen=True)
class MapAsked:
    """Which pulls, and how the map is to be laid out. Edges left empty are chosen from what the pulls cover.

    wanted: λ where a pull has no command: none, one figure, or one for each load cell. lag_s None: each pull's own.
    """

    setup_id: str = ""
    pull_ids: tuple[str, ...] = ()
    layout_id: str = ""
    speed_edges_rpm: tuple[float, ...] = ()
    load_edges: tuple[float, ...] = ()
    load_axis: str = ""
    minimum_time_s: float | None = None
    lag_s: float | None = None
    wanted: tuple[float, ...] = ()


@dataclass(frozen=True)
class MapSource:
    """One pull: what it gave the map, or why it gave nothing."""

    facts: PullFacts
    lag: LagTaken | None
    wanted_by: str  # command, target, or nothing
    left_out: str | None


@dataclass(frozen=True)
class SetupMap:
    """A setup's fuel map with everything it was laid out by. `made` is None where no pull could give anything."""

    setup: SetupFacts | None
    ticket: TicketFacts | None
    sources: tuple[MapSource, ...]
    load_axis: str
    cells: Cells | None
    by_itself: bool  # whether any edge was chosen from the data
    minimum_time_s: float
    layout_id: str
    layout_name: str
    lag_s: float | None
    wanted: tuple[float, ...]
    made: FuelMap | None


@dataclass(frozen=True)
class _Layout:
    id: str = ""
    name: str = ""
    load_axis: str = "manifold_pressure_kpa"
    speed_edges_rpm: tuple[float, ...] = ()
    load_edges: tuple[float, ...] = ()
    minimum_time_s: float = MINIMUM_TIME_S


def setup_map(session: Session, asked: MapAsked) -> SetupMap:
    """The map that was asked for. NotFound for a setup, pull or layout that is not there; Invalid for what will not do,
    by its field."""
    layout = _laid_out(session, asked)
    loaded = load_pulls(session, _pull_ids(session, asked))
    setups = {one.setup.id for one in loaded}
    if len(setups) > 1:
        raise Invalid(
            "These pulls are of several setups; a fuel map is of one.",
            FieldProblem("pull_id", len(setups), "pulls of one setup"),
        )
    lags = lags_of(loaded, asked.lag_s)
    found = [_run_of(one, layout.load_axis, lags.get(one.facts.id), bool(asked.wanted)) for one in loaded]
    runs = [run for run, _ in found if run is not None]
    cells = _cells(layout, runs) if runs else None
    try:
        made = fuel_map(runs, cells, layout.minimum_time_s, asked.wanted or None) if cells is not None else None
    except FuelMapError as error:
        raise Invalid(f"{error}.", FieldProblem(error.field, list(asked.wanted), str(error))) from None
    return SetupMap(
        setup=loaded[0].setup if loaded else None,
        ticket=loaded[0].ticket if loaded else None,
        sources=tuple(source for _, source in found),
        load_axis=layout.load_axis,
        cells=cells,
        by_itself=not (layout.speed_edges_rpm and layout.load_edges),
        minimum_time_s=layout.minimum_time_s,
        layout_id=layout.id,
        layout_name=layout.name,
        lag_s=asked.lag_s,
        wanted=asked.wanted,
        made=made,
    )


def _pull_ids(session: Session, asked: MapAsked) -> list[str]:
    if asked.pull_ids:
        return list(asked.pull_ids)
    if not asked.setup_id:
        raise Invalid(
            "A fuel map needs a setup or pulls.", FieldProblem("setup_id", None, "the id of a setup, or pull_id")
        )
    if session.get(Setup, asked.setup_id) is None:
        raise NotFound(f"There is no setup {asked.setup_id}.")
    statement = select(Pull.id).where(Pull.setup_id == asked.setup_id, Pull.kind.in_(KINDS))
    return list(session.scalars(statement.order_by(Pull.taken_at, Pull.id).limit(MOST_PULLS)))


def _laid_out(session: Session, asked: MapAsked) -> _Layout:
    """The saved layout, and what was asked besides in its place."""
    layout = _Layout()
    if asked.layout_id:
        row = session.get(FuelMapLayout, asked.layout_id)
        if row is None:
            raise NotFound(f"There is no fuel map layout {asked.layout_id}.")
        edges = tuple(row.speed_edges_rpm), tuple(row.load_edges)
        layout = _Layout(row.id, row.name, row.load_axis, *edges, row.minimum_time_s)
    axis = asked.load_axis or layout.load_axis
    if axis not in LOAD_AXES:
        raise Invalid(
            f"There is no load axis {axis!r}.", FieldProblem("load_axis", axis, f"one of {', '.join(LOAD_AXES)}")
        )
    same_axis = axis == layout.load_axis
    made = _Layout(
        id=layout.id,
        name=layout.name,
        load_axis=axis,
        speed_edges_rpm=asked.speed_edges_rpm or layout.speed_edges_rpm,
        load_edges=asked.load_edges or (layout.load_edges if same_axis else ()),
        minimum_time_s=layout.minimum_time_s if asked.minimum_time_s is None else asked.minimum_time_s,
    )
    check_edges(made.speed_edges_rpm or (0.0, 1.0), made.load_edges or (0.0, 1.0))
    return made


def check_edges(speed_edges_rpm: Sequence[float], load_edges: Sequence[float]) -> None:
    """Invalid, by field, for edges that cannot be cells."""
    given = {"speed_edges": speed_edges_rpm, "load_edges": load_edges}
    try:
        Cells(tuple(speed_edges_rpm), tuple(load_edges))
    except FuelMapError as error:
        came = ", ".join(f"{edge:g}" for edge in given[error.field])[:80]
        raise Invalid(f"The cells cannot be: {error}.", FieldProblem(error.field, came, str(error))) from None


def _run_of(loaded: Loaded, load_axis: str, lag: LagTaken | None, has_target: bool) -> tuple[MapRun | None, MapSource]:
    reason = _why_not(loaded)
    channels: Mapping[str, Floats] = {}
    if reason is None:
        try:
            channels = all_channels(loaded, _NEEDED | {load_axis, "manifold_gauge_kpa"})
        except (LookupError, ChannelMapError, SweepError) as error:
            reason = str(error)
    load, speed = _load(loaded, channels, load_axis), _engine_speed(loaded, channels)
    by = "command" if "lambda_commanded" in channels else "target" if has_target else "nothing"
    if reason is None:
        reason = _lacking(channels, speed, load, load_axis, by)
    if reason is not None or lag is None or speed is None or load is None:
        return None, MapSource(loaded.facts, None, by, reason or "Its mixture cannot be placed in time.")
    time = channels["time_s"]
    rising = np.isfinite(time) & np.concatenate(([True], ~(time[1:] <= np.fmax.accumulate(time)[:-1])))
    whole = bool(rising.all())

    def kept(values: Floats) -> Floats:
        return values if whole else values[rising]

    run = MapRun(
        kept(channels["time_s"]),
        kept(speed),
        kept(load),
        kept(channels["lambda_measured"]),
        kept(channels["lambda_commanded"]) if by == "command" else None,
        lag.lag_s,
    )
    return run, MapSource(loaded.facts, lag, by, None)


def _why_not(loaded: Loaded) -> str | None:
    facts = loaded.facts
    if facts.state != "readable":
        return f"Not readable yet: {facts.unreadable_reason}"
    if facts.kind not in KINDS:
        return "A coast-down has no mixture to map."
    if facts.set_aside_at is not None:
        return f"Set aside: {facts.set_aside_reason}"
    return None


def _lacking(
    channels: Mapping[str, Floats], speed: Floats | None, load: Floats | None, load_axis: str, by: str
) -> str | None:
    if "lambda_measured" not in channels:
        return "No measured λ was logged, or its column is not mapped."
    if speed is None:
        return "No engine speed, and no ratio to the roller is stated."
    if load is None:
        return f"No {LOAD_AXES[load_axis][0]} was logged; choose the other load axis, or map its column."
    return "No commanded λ was logged: state the λ wanted." if by == "nothing" else None


def _engine_speed(loaded: Loaded, channels: Mapping[str, Floats]) -> Floats | None:
    """Engine speed of each row; from roller speed and the stated ratio where it was not logged."""
    if "engine_speed_rpm" in channels:
        return channels["engine_speed_rpm"]
    ratio = stated_ratio(loaded)
    if ratio is None or loaded.calibration is None:
        return None
    if "roller_speed_rad_s" in channels:
        return channels["roller_speed_rad_s"] * (ratio * 30.0 / np.pi)
    if "roller_surface_speed_m_s" in channels:
        radius_m = roller_calibration(loaded.calibration).roller_radius_m
        return channels["roller_surface_speed_m_s"] * (ratio * 30.0 / np.pi / radius_m)
    return None


def _load(loaded: Loaded, channels: Mapping[str, Floats], load_axis: str) -> Floats | None:
    if load_axis in channels:
        return channels[load_axis]
    if load_axis == "manifold_pressure_kpa" and "manifold_gauge_kpa" in channels and loaded.weather is not None:
        return channels["manifold_gauge_kpa"] + loaded.weather.station_pressure_kpa
    return None


def _cells(layout: _Layout, runs: Sequence[MapRun]) -> Cells:
    speed = layout.speed_edges_rpm or _edges([run.engine_speed_rpm for run in runs], _SPEED_STEP_RPM)
    return Cells(speed, layout.load_edges or _edges([run.load for run in runs], _STEPS[layout.load_axis]))


def _edges(values: Sequence[Floats], step: float) -> tuple[float, ...]:
    """Whole steps over what nearly all samples cover; doubled until they are not too many."""
    ends = [
        np.nanquantile(one[:: max(1, len(one) // 2000)], (0.002, 0.998)) for one in values if np.isfinite(one).any()
    ]
    if not ends:
        return (0.0, step)
    low, high = max(0.0, float(min(one[0] for one in ends))), float(max(one[1] for one in ends))
    while (high - low) / step > _MOST_BY_ITSELF:
        step *= 2.0
    first, last = floor(low / step), max(ceil(high / step), floor(low / step) + 1)
    return tuple(float(one * step) for one in range(first, last + 1))
