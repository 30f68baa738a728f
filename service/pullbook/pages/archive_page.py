"""The archive's page: any pull on record, found by words and by what it is; the question stands in the address."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Annotated, ClassVar
from zoneinfo import ZoneInfo

from fastapi import Query, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.evidence import KINDS
from pullbook.deps import PagePerson, ReadSession
from pullbook.errors import Invalid
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.desk_shown import CellBrief
from pullbook.pages.finding import cells, vehicle_title
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.pages.words import FLAG_WORDS
from pullbook.shop.archiving import Counted, Hits, look
from pullbook.shop.comparing import MOST_PULLS
from pullbook.shop.figuring import how_many_due
from pullbook.shop.likening import AIR_WITHIN_PCT, cars_like
from pullbook.shop.narrowing import LookedFor
from pullbook.shop.outlining import Outline, outlines
from pullbook.shown_units import ShownUnits

router = LateRouter(include_in_schema=False)

TO_A_PAGE = 50
MOST_SHOWN = 12  # makes and years beside the list
NOTHING = Hits((), None, None)


@dataclass(frozen=True)
class ArchivePage(Shown):
    """What was found, beside what was asked."""

    template: ClassVar[str] = "cell/archive.html"
    asked: Mapping[str, str] = told("What the address asks, by the names of its fields; empty where nothing is.")
    is_asked: bool = told("Whether anything is asked.")
    narrowed: bool = told("Whether more than words is asked.")
    pulls: tuple[Outline, ...] = told("The pulls of this page.")
    titles: Mapping[str, str] = told("Year, make and model by pull.")
    counted: Counted | None = told("What the newest thousand come to; none on later pages.")
    most_shown: int = told("How many makes and years are shown at once.")
    next: str | None = told("Where the next page goes on; none where this is the last.")
    problem: str = told("What of the question will not do; empty where all will.")
    due: int = told("Pulls still to be read before figures find them; nought where no figure is asked for.")
    cells: tuple[CellBrief, ...] = told("Every cell.")
    kinds: tuple[str, ...] = told("Every kind of pull.")
    flags: Mapping[str, str] = told("Every flag with its words.")


@dataclass(frozen=True)
class LikePage(Shown):
    """Pulls of cars like one that is open."""

    template: ClassVar[str] = "cell/like.html"
    own: Outline = told("The pull itself.")
    own_title: str = told("Its car.")
    by: str = told("What like meant: model_or_engine, engine_family, or nothing.")
    family: str = told("The engine's family in words; empty where it is not known.")
    density_kg_m3: float | None = told("The air that it was taken in; none where it is not known.")
    within_pct: float = told("How near another pull's air had to be.")
    pulls: tuple[Outline, ...] = told("The best pull of each setup that was found.")
    titles: Mapping[str, str] = told("Year, make and model by pull.")
    chosen: tuple[str, ...] = told("All of them and the pull itself, for the comparison.")


Text = Annotated[str, Query(max_length=200)]


@router.get("/archive")
def archive(
    request: Request,
    session: ReadSession,
    person: PagePerson,
    find: Text = "",
    make: Text = "",
    model: Text = "",
    year: Text = "",
    taken_from: Text = "",
    taken_to: Text = "",
    power_from: Text = "",
    power_to: Text = "",
    torque_from: Text = "",
    torque_to: Text = "",
    flag: Text = "",
    cell_id: Text = "",
    kind: Text = "",
    counting: Text = "",
    cursor: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """Latest first; counts by make and year beside. Power and torque in the shop's units."""
    around = around_person(request, session, person, "archive")
    typed = {
        "find": find,
        "make": make,
        "model": model,
        "year": year,
        "taken_from": taken_from,
        "taken_to": taken_to,
        "power_from": power_from,
        "power_to": power_to,
        "torque_from": torque_from,
        "torque_to": torque_to,
        "flag": flag,
        "cell_id": cell_id,
        "kind": kind,
        "counting": counting,
    }
    asked = {name: text.strip() for name, text in typed.items()}
    hits, looked, problem = NOTHING, LookedFor(), ""
    try:
        looked = _looked_for(asked, around.units, ZoneInfo(around.time_zone))
        hits = look(session, looked, cursor or None, TO_A_PAGE)
    except (ValueError, Invalid) as error:
        problem = str(error)
    return draw(around, _page(session, asked, hits, looked, problem))


def _page(session: Session, asked: Mapping[str, str], hits: Hits, looked: LookedFor, problem: str) -> ArchivePage:
    pulls = tuple(outlines(session, hits.pull_ids))
    return ArchivePage(
        asked=asked,
        is_asked=any(asked.values()),
        narrowed=any(text for name, text in asked.items() if name != "find"),
        pulls=pulls,
        titles=_titles(pulls),
        counted=hits.counted,
        most_shown=MOST_SHOWN,
        next=hits.next,
        problem=problem,
        due=how_many_due(session) if looked.asks_figures else 0,
        cells=cells(session),
        kinds=KINDS,
        flags=dict(sorted({**FLAG_WORDS, "set_aside": "set aside"}.items(), key=lambda one: one[1])),
    )


def _titles(pulls: tuple[Outline, ...]) -> dict[str, str]:
    return {one.pull_id: vehicle_title(one.model_year, one.make, one.model) for one in pulls}


def _looked_for(asked: Mapping[str, str], units: ShownUnits, zone: ZoneInfo) -> LookedFor:
    """The address as the archive takes it; ValueError says in words what will not do."""
    figures = {
        name: _figure(asked[name], name, dimension, units)
        for dimension in ("power", "torque")
        for name in (f"{dimension}_from", f"{dimension}_to")
    }
    year = asked["year"]
    if year and not (year.isascii() and year.isdigit() and len(year) == 4):
        raise ValueError(f"A model year has four digits; {year!r} does not.")
    return LookedFor(
        words=asked["find"],
        make=asked["make"],
        model=asked["model"],
        model_year=int(year) if year else None,
        taken_from=_day(asked["taken_from"], zone),
        taken_before=_day(asked["taken_to"], zone, days=1),
        power_from_w=figures["power_from"],
        power_to_w=figures["power_to"],
        torque_from_nm=figures["torque_from"],
        torque_to_nm=figures["torque_to"],
        flag=asked["flag"],
        cell_id=asked["cell_id"],
        kind=asked["kind"],
        set_aside={"yes": False, "no": True}.get(asked["counting"]),
    )


def _figure(text: str, name: str, dimension: str, units: ShownUnits) -> float | None:
    if not text:
        return None
    try:
        value = float(text.replace(",", ".").replace(" ", ""))
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 1e7:
        said = f"{name.replace('_', ' ').capitalize()} is a number of {units.label(dimension)}, not {text!r}."
        raise ValueError(said)
    return value / units.number(1.0, dimension)


def _day(text: str, zone: ZoneInfo, days: int = 0) -> datetime | None:
    if not text:
        return None
    try:
        day: date | None = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or not 1900 <= day.year <= 2200:
        raise ValueError(f"{text!r} is no day that can be asked for; 2026-03-10 would be one.")
    return datetime.combine(day + timedelta(days=days), time(), zone)


@router.get("/pulls/{pull_id}/like")
def like(request: Request, session: ReadSession, person: PagePerson, pull_id: str) -> Response:
    """What was taken for like it, and why, with one link that lays all over each other."""
    likeness = cars_like(session, pull_id)
    (own,) = outlines(session, [pull_id])
    pulls = tuple(outlines(session, [one.pull_id for one in likeness.pulls]))
    page = LikePage(
        own=own,
        own_title=vehicle_title(own.model_year, own.make, own.model),
        by=likeness.by,
        family=likeness.family,
        density_kg_m3=likeness.air_density_kg_m3,
        within_pct=AIR_WITHIN_PCT,
        pulls=pulls,
        titles=_titles(pulls),
        chosen=(pull_id, *(one.pull_id for one in pulls))[:MOST_PULLS],
    )
    return draw(around_person(request, session, person, "archive"), page)
