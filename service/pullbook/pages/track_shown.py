"""Track runs as the ticket's page shows them: a table, setups beside their pulls, and one small drawing."""

from collections.abc import Callable, Sequence
from datetime import datetime
from html import escape

from sqlalchemy.orm import Session

from pullbook.axis_ticks import tick_decimals, ticks
from pullbook.late_methods import dataclass
from pullbook.measure.track import DISTANCES_M, SPREAD
from pullbook.panels import letter, style
from pullbook.shop.reading import ReadPull
from pullbook.shop.tracking import CAUTION, OnTrack, TrackFacts, beside_pulls, track_runs
from pullbook.shown_units import ShownUnits, plain_number

_WIDTH, _LEFT, _RIGHT, _ROW = 400, 30, 14, 62
_Across = Callable[[float], float]


@dataclass(frozen=True)
class RunLine:
    """One run in words."""

    id: str
    version: int
    position: int
    ran_at: datetime
    distance: str
    elapsed: str
    speed: str
    mass: str
    implied: str
    spread: str
    conditions: str
    notes: str
    set_aside_reason: str | None


@dataclass(frozen=True)
class SetupLine:
    """One setup's runs beside its pulls, in words and the shop's unit of power."""

    position: int
    name: str
    rated: str
    runs: str
    wheel: str
    pulls: str
    change: str
    wheel_change: str
    words: str


@dataclass(frozen=True)
class TicketTrack:
    """Everything about a ticket's track runs."""

    runs: tuple[RunLine, ...]
    setups: tuple[SetupLine, ...]
    svg: str
    distances: tuple[tuple[str, str], ...]  # words, metres
    caution: str


def ticket_track(session: Session, ticket_id: str, pulls: Sequence[ReadPull], units: ShownUnits) -> TicketTrack:
    """What the ticket's page shows of its runs. `pulls`: the ticket's, as the page has read them."""
    runs = track_runs(session, ticket_id)
    setups = beside_pulls(runs, pulls)
    return TicketTrack(
        runs=tuple(_run_line(run, units) for run in runs),
        setups=tuple(_setup_line(one, setups[0], units) for one in setups),
        svg=_drawn(setups, runs, units),
        distances=tuple((words, f"{metres:g}") for words, metres in DISTANCES_M.items()),
        caution=CAUTION,
    )


def _run_line(run: TrackFacts, units: ShownUnits) -> RunLine:
    named = {metres: words for words, metres in DISTANCES_M.items()}
    speed = run.trap_speed_m_s
    air = [] if run.air_temperature_c is None else [units.text(run.air_temperature_c, "temperature")]
    if run.station_pressure_kpa is not None:
        air.append(units.text(run.station_pressure_kpa, "pressure"))
    return RunLine(
        id=run.id,
        version=run.version,
        position=run.setup_position,
        ran_at=run.ran_at,
        distance=named.get(run.distance_m, f"{plain_number(run.distance_m, 1)} m"),
        elapsed="–" if run.elapsed_s is None else f"{plain_number(run.elapsed_s, 3)} s",
        speed="–" if speed is None else units.text(speed, "speed"),
        mass=f"{plain_number(run.mass_kg)} kg",
        implied=units.text(run.power.power_w, "power", 0),
        spread=f"{plain_number(units.number(run.power.low_w, 'power'))} to {units.text(run.power.high_w, 'power', 0)}, "
        + ("by trap speed" if run.power.by == "trap" else "by elapsed time"),
        conditions=", ".join([*air, *([run.surface] if run.surface else [])]),
        notes=run.notes,
        set_aside_reason=run.set_aside_reason,
    )


def _setup_line(one: OnTrack, first: OnTrack, units: ShownUnits) -> SetupLine:
    low, high = (units.number(one.track.power_w * share, "power") for share in (1.0 - SPREAD, 1.0 + SPREAD))
    wheel = one.wheel
    return SetupLine(
        position=one.position,
        name=one.name,
        rated=units.text(one.track.power_w, "power", 0),
        runs=f"{plain_number(low)} to {plain_number(high)}; {_count(one.track.counted, 'run')}",
        wheel="–" if wheel is None else units.text(wheel.power_w, "power"),
        pulls="no pull counts" if wheel is None else f"mean of {_count(wheel.counted, 'pull')}, before the factor",
        change=_change(one.change, one.change_u, letter(first.position)),
        wheel_change="" if one.wheel_change is None else _percent(one.wheel_change),
        words=one.words,
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _percent(share: float) -> str:
    size = plain_number(abs(share) * 100.0, 1)
    return f"{'+' if share > 0 else '−' if share < 0 else ''}{size} %"


def _change(share: float | None, u: float | None, first: str) -> str:
    if share is None:
        return ""
    by = "scatter of runs unknown" if u is None else f"± {plain_number(200.0 * u, 1)} % (k = 2, scatter of runs)"
    return f"{_percent(share)} against {first}, {by}"


def _drawn(setups: Sequence[OnTrack], runs: Sequence[TrackFacts], units: ShownUnits) -> str:
    """A row for each setup: the rule's spread as a bar, each run a dot on it, wheel power a square."""
    if not setups:
        return ""
    shown = [units.number(one.track.power_w * share, "power") for one in setups for share in (1 - SPREAD, 1 + SPREAD)]
    shown += [units.number(one.wheel.power_w, "power") for one in setups if one.wheel is not None]
    shown += [units.number(run.power.power_w, "power") for run in runs if run.set_aside_reason is None]
    values = ticks(min(shown), max(shown), 5)
    low, span = values[0], values[-1] - values[0]
    bottom = 24 + _ROW * len(setups)

    def x(power_w: float) -> float:
        return _LEFT + (units.number(power_w, "power") - low) / span * (_WIDTH - _LEFT - _RIGHT)

    parts = [_axis(values, bottom, units.label("power"))]
    for row, one in enumerate(setups):
        counting = [run for run in runs if run.setup_id == one.setup_id and run.set_aside_reason is None]
        parts.append(_setup_row(one, [x(run.power.power_w) for run in counting], x, 24 + row * _ROW + _ROW // 2))
    said = escape(f"Rated power by the rule beside wheel power for {', '.join(one.name for one in setups)}")
    return (
        f'<svg viewBox="0 0 {_WIDTH} {bottom + 40}" width="{_WIDTH}" height="{bottom + 40}" role="img" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{said}; the numbers are in the table</title>{"".join(parts)}</svg>'
    )


def _axis(values: list[float], bottom: int, unit: str) -> str:
    places, drawn = tick_decimals(values), []
    for value in values:
        at = _LEFT + (value - values[0]) / (values[-1] - values[0]) * (_WIDTH - _LEFT - _RIGHT)
        drawn.append(f'<path class="strong" d="M{at:.1f} 18V{bottom}"/>')
        label = plain_number(value, places)
        drawn.append(f'<text class="tick-label" x="{at:.1f}" y="{bottom + 15}" text-anchor="middle">{label}</text>')
    words = f'<text x="{(_LEFT + _WIDTH - _RIGHT) / 2:.0f}" y="{bottom + 34}" text-anchor="middle">Power, {unit}</text>'
    return f'<path class="edge" d="M{_LEFT} {bottom}H{_WIDTH - _RIGHT}"/>{"".join(drawn)}{words}'


def _setup_row(one: OnTrack, runs_x: Sequence[float], x: _Across, y: int) -> str:
    look = f"setup-{style(one.position)}"
    low, high = x(one.track.power_w * (1 - SPREAD)), x(one.track.power_w * (1 + SPREAD))
    drawn = [
        f'<text class="end-letter {look}" x="6" y="{y + 5}">{letter(one.position)}</text>',
        f'<path class="line mean {look}" d="M{low:.1f} {y}H{high:.1f}M{low:.1f} {y - 6}v12M{high:.1f} {y - 6}v12"/>',
        *(f'<circle class="dot {look}" cx="{at:.1f}" cy="{y}" r="5"/>' for at in runs_x),
        f'<text class="tick-label" x="{low:.1f}" y="{y - 11}">runs, by the rule</text>',
    ]
    if one.wheel is not None:
        at = x(one.wheel.power_w)
        drawn.append(f'<rect class="dot {look}" x="{at - 5:.1f}" y="{y + 11}" width="10" height="10"/>')
        left = at > _WIDTH * 0.6
        place = f'x="{at - 10:.1f}" text-anchor="end"' if left else f'x="{at + 10:.1f}"'
        drawn.append(f'<text class="tick-label" {place} y="{y + 20}">wheel power</text>')
    return "".join(drawn)
