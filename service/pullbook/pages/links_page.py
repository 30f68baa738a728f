"""The shop's results links: all of them by state, and one with its code, its looks and its hand-out."""

from datetime import datetime
from io import BytesIO
from typing import Annotated, Any, ClassVar

import segno
from fastapi import Query, Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.evidence import ResultsLink, ResultsLinkDay
from pullbook.db.tables import Customer, Staff, Ticket, Vehicle
from pullbook.deps import Desk, LinkKeyDep, Now, PagePerson, ReadSession, SettingsDep
from pullbook.errors import NotFound
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.finding import vehicle_title
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told
from pullbook.shop.keying import LinkKey
from pullbook.shop.publishing import LinkState, in_state, token_hash

router = LateRouter(include_in_schema=False)
PAGE_OF = 50


@dataclass(frozen=True)
class LinkRow:
    """A link in the list."""

    id: str
    ticket_id: str
    ticket_number: int
    customer_name: str
    vehicle_title: str
    made_at: datetime
    made_by_name: str
    ends_at: datetime
    revoked_at: datetime | None
    state: LinkState
    wants_pin: bool
    opened_count: int
    last_opened_on: str | None
    note: str
    version: int


@dataclass(frozen=True)
class LinksPage(Shown):
    """All results links in one state."""

    template: ClassVar[str] = "desk/links.html"
    state: LinkState = told("Which are listed: live, ended or revoked.")
    links: tuple[LinkRow, ...] = told("Links in that state, newest first.")
    older: str = told("Where the next page begins; empty on the last.")
    extend_days: int = told("How many days one more term is.")


@dataclass(frozen=True)
class LinkPage(Shown):
    """One results link."""

    template: ClassVar[str] = "desk/link.html"
    link: LinkRow = told("The link.")
    url: str = told("What opens it; empty where that cannot be shown again.")
    code: str = told("The same as a QR code, finished markup; empty with it.")
    looks: tuple[tuple[str, int], ...] = told("Days it was looked at, the latest first, and how often.")
    extend_days: int = told("How many days one more term is.")
    can_mail: bool = told("Whether the shop's mail server is set.")
    email: str = told("The customer's address, offered for the mail; empty where there is none.")


@router.get("/links")
def links(
    request: Request,
    session: ReadSession,
    person: PagePerson,
    settings: SettingsDep,
    now: Now,
    state: LinkState = "live",
    cursor: Annotated[str, Query(max_length=20)] = "",
) -> Response:
    """Every address of the shop that is out there, and those that are over."""
    statement = _LINKS.where(in_state(state, now))
    if cursor:
        statement = statement.where(ResultsLink.id < cursor)
    rows = session.execute(statement.order_by(ResultsLink.id.desc()).limit(PAGE_OF + 1)).all()
    found = tuple(_row(row, now) for row in rows[:PAGE_OF])
    older = found[-1].id if len(rows) > PAGE_OF else ""
    page = LinksPage(state=state, links=found, older=older, extend_days=settings.link_days)
    return draw(around_person(request, session, person, "links"), page)


@router.get("/links/{link_id}")
def link(
    request: Request, link_id: str, session: ReadSession, person: Desk, settings: SettingsDep, key: LinkKeyDep, now: Now
) -> Response:
    """One link: its code for a phone, a card for paper, how often it was looked at, more days or an end."""
    row = session.execute(_LINKS.where(ResultsLink.id == link_id)).one_or_none()
    if row is None:
        raise NotFound("There is no such link.")
    shown = _row(row, now)
    url = _address(session, key, settings.public_url, link_id) if shown.state == "live" else ""
    page = LinkPage(
        link=shown,
        url=url,
        code=qr_svg(url) if url else "",
        looks=_looks(session, link_id),
        extend_days=settings.link_days,
        can_mail=settings.can_mail,
        email=row.email or "",
    )
    return draw(around_person(request, session, person, "links"), page)


_LINKS = (
    select(
        ResultsLink.id,
        ResultsLink.ticket_id,
        ResultsLink.made_at,
        ResultsLink.ends_at,
        ResultsLink.revoked_at,
        ResultsLink.pin_hash.is_not(None).label("wants_pin"),
        ResultsLink.opened_count,
        ResultsLink.last_opened_on,
        ResultsLink.note,
        ResultsLink.version,
        Ticket.number.label("ticket_number"),
        Customer.full_name.label("customer_name"),
        Customer.email,
        Vehicle.model_year,
        Vehicle.make,
        Vehicle.model,
        Staff.full_name.label("made_by_name"),
    )
    .join(Ticket, Ticket.id == ResultsLink.ticket_id)
    .join(Customer, Customer.id == Ticket.customer_id)
    .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
    .join(Staff, Staff.id == ResultsLink.made_by)
)


def _row(row: Any, now: datetime) -> LinkRow:
    state: LinkState = "revoked" if row.revoked_at is not None else "ended" if row.ends_at <= now else "live"
    same = {
        name: getattr(row, name)
        for name in LinkRow.__dataclass_fields__
        if name not in ("state", "vehicle_title", "wants_pin")
    }
    title = vehicle_title(row.model_year, row.make, row.model)
    return LinkRow(**same, state=state, vehicle_title=title, wants_pin=bool(row.wants_pin))


def _address(session: Session, key: LinkKey, public_url: str, link_id: str) -> str:
    """What opens the link; empty where it was made with another key than the one there is."""
    kept = session.execute(select(ResultsLink.token_hash).where(ResultsLink.id == link_id)).scalar_one()
    token = key.token(link_id)
    return f"{public_url}/r/{token}" if token_hash(token) == kept else ""


def _looks(session: Session, link_id: str) -> tuple[tuple[str, int], ...]:
    days = select(ResultsLinkDay.day, ResultsLinkDay.times).where(ResultsLinkDay.link_id == link_id)
    rows = session.execute(days.order_by(ResultsLinkDay.day.desc()).limit(60))
    return tuple((row.day, row.times) for row in rows)


def qr_svg(text: str) -> str:
    """A QR code as markup that stands in a page: dark on white in light and dark alike, its margin with it."""
    drawn = BytesIO()
    code = segno.make(text, error="m", micro=False)
    code.save(drawn, kind="svg", xmldecl=False, border=4, dark="#000", light="#fff", title="QR code", omitsize=True)
    return drawn.getvalue().decode()
