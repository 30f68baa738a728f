"""The fuel map's page: a setup's cells as its address asks for them, the lean ones named first."""

from collections.abc import Sequence
from dataclasses import fields
from math import isfinite
from typing import Annotated, ClassVar

from fastapi import Depends, Query, Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.tables import Setup
from pullbook.db.tuning import FuelMapLayout
from pullbook.deps import PagePerson, ReadSession
from pullbook.errors import Invalid, NotFound
from pullbook.fuel_map_svg import SHOWN, STEPS, heat_svg
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.measure.fuelmap import FuelMap
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.shop.fuel_mapping import ADVICE, LOAD_AXES, MapAsked, SetupMap, setup_map
from pullbook.shop.map_asking import asked_of, one_figure
from pullbook.shop.map_writing import LAG_WORDS, table_of_map
from pullbook.shop.taking_away import CSV_TYPE, csv_bytes
from pullbook.shown_units import plain_number

router = LateRouter(include_in_schema=False)
LEAN_FROM = 0.01  # of the multiplier: less is within what any probe means
LEAN_FIRST = 6
LEFT_OUT_WORDS = {
    "not_known_s": "speed, load or λ not known, engine not turning, or too near the end for the lag",
    "not_fired_s": "λ beyond what burns (fuel cut, misfire, probe at its stop)",
    "below_speed_s": "below the lowest engine speed",
    "above_speed_s": "above the highest engine speed",
    "below_load_s": "below the lowest load",
    "above_load_s": "above the highest load",
}
_Text = Annotated[str, Query(max_length=1000)]
_Word = Annotated[str, Query(max_length=40)]


@dataclass(frozen=True)
class MapForm:
    """What the address says, as it was typed."""

    setup_id: str
    pull_id: tuple[str, ...]
    layout_id: str
    speed_edges: str
    load_edges: str
    load_axis: str
    minimum_time_s: str
    lag_s: str
    wanted: str
    show: str

    @property
    def query(self) -> dict[str, object]:
        """All of it, for another address."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


@dataclass(frozen=True)
class CellLine:
    """One cell in figures. `lean_by`: the multiplier less one, where it is leaner than chance says; else None."""

    speed: str
    load: str
    time: str
    measured: str
    wanted: str
    error: str
    multiplier: str
    u: str
    lean_by: float | None


@dataclass(frozen=True)
class LayoutBrief:
    """A saved layout, to be chosen."""

    id: str
    name: str


@dataclass(frozen=True)
class FuelMapPage(Shown):
    """A setup's fuel map."""

    template: ClassVar[str] = "cell/fuel_map.html"
    form: MapForm = told("What the address asks for, as typed.")
    refusal: str = told("Why it cannot be; empty when it can.")
    found: SetupMap | None = told("The map with what it was laid out by; None where the address will not do.")
    ticket_id: str = told("The setup's ticket; empty where no setup is known.")
    setup_name: str = told("The setup's name; empty where none is known.")
    layouts: tuple[LayoutBrief, ...] = told("Saved layouts to choose from.")
    svg: str = told("The map as finished markup; empty where there is none.")
    lean: tuple[CellLine, ...] = told("The cells to see to first, leanest first.")
    lines: tuple[CellLine, ...] = told("Every cell that somebody was in, lowest load first.")
    left_out: tuple[tuple[str, str], ...] = told("Time in no cell: how long, and why.")
    advice: str = told("What a map is good for, and what it is not.")
    shown: dict[str, str] = told("What the number in a cell may be.")
    load_axes: dict[str, tuple[str, str]] = told("What load may be: title and unit.")
    lag_words: dict[str, str] = told("How a lag was come by, in words.")
    steps: tuple[float, ...] = told("How far from as wanted each deeper colour begins.")


def typed(
    setup_id: _Word = "",
    pull_id: Annotated[list[str], Query(max_length=120)] = [],  # noqa: B006
    layout_id: _Word = "",
    speed_edges: _Text = "",
    load_edges: _Text = "",
    load_axis: _Word = "",
    minimum_time_s: _Word = "",
    lag_s: _Word = "",
    wanted: _Text = "",
    show: _Word = "",
) -> MapForm:
    """What the address says."""
    shown = show if show in SHOWN else "multiplier"
    return MapForm(
        setup_id, tuple(pull_id), layout_id, speed_edges, load_edges, load_axis, minimum_time_s, lag_s, wanted, shown
    )


Typed = Annotated[MapForm, Depends(typed)]


@router.get("/fuel-map")
def fuel_map(request: Request, form: Typed, session: ReadSession, person: PagePerson) -> Response:
    """A setup's mixture in cells of engine speed and load"""
    return draw(around_person(request, session, person), read_fuel_map(session, form))


@router.get("/fuel-map.csv")
def fuel_map_csv(form: Typed, session: ReadSession, person: PagePerson) -> Response:
    """The same map for a spreadsheet"""
    found = setup_map(session, _asked(form))
    name = f"fuel-map-{found.ticket.number}.csv" if found.ticket else "fuel-map.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(b"\xef\xbb\xbf" + csv_bytes(table_of_map(found)), media_type=CSV_TYPE, headers=headers)


def read_fuel_map(session: Session, form: MapForm) -> FuelMapPage:
    """The page for this address. What will not do is said on it, and nothing typed is lost. NotFound for a setup, pull
    or layout that is not there."""
    found, refusal = None, ""
    try:
        found = setup_map(session, _asked(form))
    except Invalid as error:
        refusal = " ".join([error.message, *(f"{one.field}: {one.would_do}." for one in error.problems)])
    setup = _setup(session, form, found)
    made = found.made if found else None
    title, unit = LOAD_AXES[found.load_axis] if found else ("", "")
    lines = _lines(made, unit) if made is not None else ()
    lean = sorted((one for one in lines if one.lean_by is not None), key=lambda one: -(one.lean_by or 0.0))
    return FuelMapPage(
        form=form,
        refusal=refusal,
        found=found,
        ticket_id=setup.ticket_id if setup else "",
        setup_name=setup.name if setup else "",
        layouts=_layouts(session),
        svg=heat_svg(made, form.show, f"{title.capitalize()}, {unit}") if made is not None else "",
        lean=tuple(lean[:LEAN_FIRST]),
        lines=lines,
        left_out=_left_out(made),
        advice=ADVICE,
        shown=SHOWN,
        load_axes=dict(LOAD_AXES),
        lag_words=LAG_WORDS,
        steps=STEPS,
    )


def _asked(form: MapForm) -> MapAsked:
    return asked_of(
        setup_id=form.setup_id,
        pull_ids=form.pull_id,
        layout_id=form.layout_id,
        speed_edges=form.speed_edges,
        load_edges=form.load_edges,
        load_axis=form.load_axis,
        minimum_time_s=one_figure("minimum_time_s", form.minimum_time_s, 0.0, 600.0),
        lag_s=one_figure("lag_s", form.lag_s, 0.0, 5.0),
        wanted=form.wanted,
    )


def _setup(session: Session, form: MapForm, found: SetupMap | None) -> Setup | None:
    identity = form.setup_id or (found.setup.id if found and found.setup else "")
    if not identity:
        return None
    setup = session.get(Setup, identity)
    if setup is None:
        raise NotFound(f"There is no setup {identity}.")
    return setup


def _layouts(session: Session) -> tuple[LayoutBrief, ...]:
    rows = session.execute(select(FuelMapLayout.id, FuelMapLayout.name).order_by(FuelMapLayout.name).limit(200))
    return tuple(LayoutBrief(row.id, row.name) for row in rows)


def _lines(made: FuelMap, unit: str) -> tuple[CellLine, ...]:
    loads, speeds = made.cells.shape
    return tuple(
        _line(made, unit, load, speed)
        for load in range(loads)
        for speed in range(speeds)
        if made.time_s[load, speed] > 0.0
    )


def _line(made: FuelMap, unit: str, load: int, speed: int) -> CellLine:
    def said(name: str, decimals: int) -> str:
        value = float(getattr(made, name)[load, speed])
        return plain_number(value, decimals) if isfinite(value) else "–"

    def between(edges: Sequence[float], place: int) -> str:
        return " to ".join(plain_number(edge, 0 if edge == round(edge) else 1) for edge in edges[place : place + 2])

    by, u = float(made.multiplier[load, speed]) - 1.0, float(made.multiplier_u[load, speed])
    return CellLine(
        speed=between(made.cells.speed_edges_rpm, speed),
        load=f"{between(made.cells.load_edges, load)} {unit}",
        time=plain_number(float(made.time_s[load, speed]), 1),
        measured=said("lambda_measured", 3),
        wanted=said("lambda_wanted", 3),
        error=said("lambda_error", 3),
        multiplier=said("multiplier", 3),
        u=said("multiplier_u", 4),
        lean_by=by if by > max(LEAN_FROM, 2.0 * u if isfinite(u) else 0.0) else None,
    )


def _left_out(made: FuelMap | None) -> tuple[tuple[str, str], ...]:
    """How long, and why, for every reason that took a tenth of a second or more."""
    if made is None:
        return ()
    times = ((float(getattr(made.left_out, name)), words) for name, words in LEFT_OUT_WORDS.items())
    return tuple((f"{plain_number(time, 1)} s", words) for time, words in times if time >= 0.05)
