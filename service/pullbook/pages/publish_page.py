"""Publishing: what the customer shall see is chosen here, and seen here before anybody else sees it."""

from itertools import groupby
from typing import Annotated, ClassVar

from fastapi import Query, Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.evidence import Pull
from pullbook.db.tables import Ticket
from pullbook.deps import Desk, Now, PagePerson, ReadSession, SettingsDep
from pullbook.errors import Invalid, NotFound
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.measure.correction import STANDARDS, Standard
from pullbook.pages.judging_asked import Typed, asked_of
from pullbook.pages.render import draw, frame, shop_row, units_of
from pullbook.pages.results_built import results_page
from pullbook.pages.results_door import customer_frame
from pullbook.pages.results_style import customer_headers
from pullbook.pages.told import Shown, told
from pullbook.shop.comparing import compared
from pullbook.shop.publishing import LANGUAGES, LinkWanted, preview
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from pullbook.shop.superseding import Replaceable, replaceable
from pullbook.shown_units import CHOICES, plain_number

router = LateRouter(include_in_schema=False)
MOST_PULLS = 60


@dataclass(frozen=True)
class SetupToPublish:
    """A setup and those of its pulls that can be shown, oldest first."""

    position: int
    name: str
    pulls: tuple[ReadPull, ...]


@dataclass(frozen=True)
class PublishPage(Shown):
    """Where a results link is made."""

    template: ClassVar[str] = "cell/publish.html"
    ticket_id: str = told("The ticket whose pulls these are.")
    ticket_number: int = told("Its number.")
    asked: str = told("What the customer asked.")
    setups: tuple[SetupToPublish, ...] = told("What there is to show, baseline first.")
    ticked: frozenset[str] = told("Ids of the pulls that are ticked when the page opens.")
    standard: str = told("The shop's own standard.")
    standards: tuple[Standard, ...] = told("Every standard.")
    usual_band: str = told("The band that is taken where none is typed, in words; empty where there is none.")
    reach: str = told("Between which speeds a band may lie, in words; empty where the pulls share none.")
    units: tuple[tuple[str, str, tuple[str, ...]], ...] = told("Dimension, the shop's unit, and what may be chosen.")
    languages: tuple[tuple[str, str], ...] = told("In which languages the page is told: code and name.")
    days: int = told("How many days a link lasts unless told otherwise.")
    replaceable: tuple[Replaceable, ...] = told("Earlier links whose results these could be said instead of.")


@router.get("/tickets/{ticket_id}/publish")
def publish(
    request: Request,
    ticket_id: str,
    session: ReadSession,
    person: Desk,
    settings: SettingsDep,
    pull_id: Annotated[list[str], Query(max_length=MOST_PULLS)] = [],  # noqa: B006
) -> Response:
    """Choose what the customer shall see, look at it, and make the link."""
    shop = shop_row(session)
    standard = shop.default_standard if shop else "iso_1585"
    reading = ReadSettings(standard, None, weather_stale_minutes=settings.weather_stale_minutes)
    ticket = session.execute(select(Ticket.number, Ticket.asked).where(Ticket.id == ticket_id)).one_or_none()
    if ticket is None:
        raise NotFound("There is no such ticket.")
    pulls = _showable(session, ticket_id, reading)
    ticked = frozenset(pull_id) or frozenset(one.facts.id for one in pulls if one.facts.set_aside_at is None)
    usual, reach = _bands([one for one in pulls if one.facts.id in ticked], reading)
    units = units_of(shop)
    page = PublishPage(
        ticket_id=ticket_id,
        ticket_number=ticket.number,
        asked=ticket.asked,
        setups=tuple(
            SetupToPublish(position, name, tuple(members))
            for (position, name), members in groupby(pulls, lambda one: (one.setup.position, one.setup.name))
        ),
        ticked=ticked,
        standard=standard,
        standards=tuple(STANDARDS.values()),
        usual_band=usual,
        reach=reach,
        units=tuple((name, units.label(name), choices) for name, choices in CHOICES.items() if name in _SHOWN),
        languages=tuple(LANGUAGES.items()),
        days=settings.link_days,
        replaceable=replaceable(session, ticket_id),
    )
    return draw(frame(request, shop, person), page)


_SHOWN = ("power", "torque", "pressure")


@router.get("/tickets/{ticket_id}/preview")
def preview_page(
    request: Request,
    ticket_id: str,
    session: ReadSession,
    person: PagePerson,
    settings: SettingsDep,
    now: Now,
    standard: Annotated[str, Query(max_length=40)] = "",
    pull_id: Annotated[list[str], Query(max_length=MOST_PULLS)] = [],  # noqa: B006
    band_low_rpm: Annotated[str, Query(max_length=20)] = "",
    band_high_rpm: Annotated[str, Query(max_length=20)] = "",
    power: Annotated[str, Query(max_length=10)] = "",
    torque: Annotated[str, Query(max_length=10)] = "",
    pressure: Annotated[str, Query(max_length=10)] = "",
    language: Annotated[str, Query(max_length=12)] = "en",
    replaces_id: Annotated[str, Query(max_length=40)] = "",
    note: Annotated[str, Query(max_length=4000)] = "",
    days: Annotated[str, Query(max_length=6)] = "",
) -> Response:
    """Just what the customer would see, drawn by the same function and template; nothing is kept."""
    shop = shop_row(session)
    if standard not in STANDARDS:
        raise Invalid("Choose a correction standard first.")
    if not pull_id:
        raise Invalid("Tick the pulls that the customer shall see first.")
    band = asked_of(Typed(band_low_rpm, band_high_rpm))
    chosen = {"power": power, "torque": torque, "pressure": pressure}
    wanted = LinkWanted(
        pull_id,
        standard,
        note=note.replace("\r\n", "\n").strip(),
        days=int(days) if days.isdecimal() and 1 <= int(days) <= 3650 else settings.link_days,
        band_low_rpm=band.band_low_rpm,
        band_high_rpm=band.band_high_rpm,
        units={name: unit for name, unit in chosen.items() if unit in CHOICES[name]},
        language=language,
        replaces_id=replaces_id or None,
    )
    published = preview(session, now, ticket_id, wanted, settings.weather_stale_minutes)
    around = customer_frame(request, shop, published)
    return draw(around, results_page(published, shop, around, is_preview=True), headers=customer_headers())


def _showable(session: Session, ticket_id: str, reading: ReadSettings) -> list[ReadPull]:
    """The pulls that read as curves, setup by setup, oldest first."""
    ids = session.scalars(
        select(Pull.id).where(Pull.ticket_id == ticket_id).order_by(Pull.taken_at.desc(), Pull.id.desc()).limit(300)
    ).all()
    pulls = read_pulls(session, ids, reading) if ids else []
    return sorted(
        (one for one in pulls if one.curve is not None), key=lambda one: (one.setup.position, one.facts.taken_at)
    )


def _bands(pulls: list[ReadPull], reading: ReadSettings) -> tuple[str, str]:
    """The usual band and the reach of any, in words."""
    if not pulls:
        return "", ""
    judgement = compared(pulls[:MOST_PULLS], reading).judgement
    return _words(judgement.band_rpm), _words(judgement.shared_rpm)


def _words(band: tuple[float, float] | None) -> str:
    return f"{plain_number(band[0])} to {plain_number(band[1])} rev/min" if band else ""
