"""Results links: what a customer may see, made at the desk, ended when the shop says so."""

from datetime import datetime, timedelta
from typing import Annotated, Any, Literal

from fastapi import Path, Query, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_change, refuse_stale
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Id, Instant, Words
from pullbook.db.evidence import ResultsLink, ResultsLinkDay
from pullbook.db.tables import Staff, Ticket
from pullbook.deps import Desk, LinkKeyDep, Now, ReadSession, SettingsDep, SignedIn, WriteSession
from pullbook.errors import Clash, FieldProblem, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.auditing import note
from pullbook.shop.coming_back import refuse_adding_to_forgotten
from pullbook.shop.keying import LinkKey
from pullbook.shop.publishing import LinkState, LinkWanted, in_state, publish, token_hash
from pullbook.shop.unlocking import pin_hash_of

router = LateRouter(prefix="/api/v1", tags=["results-links"])
TicketId = Annotated[str, Path(description="The ticket's id.")]
LinkId = Annotated[str, Path(description="The link's id.")]


class Units(Asked):
    """The units a customer's page is shown in; what is left out is the shop's."""

    power: Literal["kW", "hp", "PS"] | None = None
    torque: Literal["N·m", "lbf·ft", "kgf·m"] | None = None
    pressure: Literal["kPa", "bar", "psi", "hPa", "inHg"] | None = None


Days = Annotated[int, Field(ge=1, le=3650)]
Pin = Annotated[str, Field(max_length=100)]
Speed = Annotated[float, Field(gt=0.0, le=30_000.0)]


class NewLink(Asked):
    """What to show, and for how long; `days` as the shop's settings have it when left out.

    `pin`: six digits or more, or a word; empty for none. `language`: in which the page is told. `replaces_id`: the
    link of the same ticket whose results these are said instead of; both pages then say so.
    """

    pull_ids: Annotated[list[Id], Field(min_length=1, max_length=60)]
    standard: Annotated[str, Field(max_length=40)]
    window_s: Annotated[float, Field(ge=0.005, le=5.0)] | None = None
    band_low_rpm: Speed | None = None
    band_high_rpm: Speed | None = None
    units: Units | None = None
    language: Annotated[str, Field(max_length=12)] = "en"
    note: Words = ""
    days: Days | None = None
    pin: Pin = ""
    replaces_id: Id | None = None

    def wanted(self, usual_days: int) -> LinkWanted:
        """The same for whoever publishes."""
        units = self.units.model_dump(exclude_none=True) if self.units else None
        values = self.model_dump(exclude={"units", "days"})
        return LinkWanted(**values, units=units, days=self.days or usual_days)


class LinkChanges(Asked):
    """`days`: that many from now on. `pin`: another one, or none where it is empty. Only what is sent changes."""

    version: int
    days: Days | None = None
    pin: Pin | None = None


class LinkAnswer(Answer):
    """A link on record. `live`: it has neither ended nor been revoked. Its token is not kept."""

    id: str
    ticket_id: str
    ticket_number: int
    pull_ids: list[str]
    standard: str
    window_s: float | None
    band_low_rpm: float | None
    band_high_rpm: float | None
    units: dict[str, str]
    language: str
    note: str
    digest: str
    made_at: Instant
    made_by_name: str
    ends_at: Instant
    revoked_at: Instant | None
    live: bool
    wants_pin: bool
    opened_count: int
    last_opened_on: str | None
    replaces_id: str | None
    version: int


class NewLinkAnswer(LinkAnswer):
    """The link just made. `url` opens it; of that only a hash is kept."""

    url: str


class LinkAddress(Answer):
    """What opens a link."""

    url: str


class DayOfLooks(Answer):
    """How often a link was looked at on a day of UTC."""

    day: str
    times: int


class LooksList(Answer):
    """Days on which a link was looked at, the latest first."""

    items: list[DayOfLooks]


class LinkList(Answer):
    """A page of links, newest first."""

    items: list[LinkAnswer]
    next: str | None


_WORKED_OUT = ("live", "wants_pin", "units")
_JOINED = {"ticket_number": Ticket.number, "made_by_name": Staff.full_name}
SELECTED = (
    select(
        *(getattr(ResultsLink, name) for name in LinkAnswer.model_fields if name not in (*_JOINED, *_WORKED_OUT)),
        *(column.label(name) for name, column in _JOINED.items()),
        ResultsLink.pin_hash.is_not(None).label("wants_pin"),
        ResultsLink.units,
    )
    .join(Ticket, Ticket.id == ResultsLink.ticket_id)
    .join(Staff, Staff.id == ResultsLink.made_by)
)


def _answer(row: Any, now: datetime) -> dict[str, Any]:
    live = row.revoked_at is None and row.ends_at > now
    return {**row._mapping, "wants_pin": bool(row.wants_pin), "units": row.units or {}, "live": live}


def one(session: Session, link_id: str, now: datetime) -> dict[str, Any]:
    """A link as answered; NotFound when there is none."""
    row = session.execute(SELECTED.where(ResultsLink.id == link_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no results link {link_id}.")
    return _answer(row, now)


def address_of(key: LinkKey, public_url: str, link_id: str, kept_hash: str) -> str:
    """The address that opens a link. Clash where the key is another one than it was made with."""
    token = key.token(link_id)
    if token_hash(token) != kept_hash:
        raise Clash(
            "The address of this link cannot be shown again: it was made with another key. It works for those who "
            "have it; for anybody else make a new link."
        )
    return f"{public_url}/r/{token}"


@router.post(
    "/tickets/{ticket_id}/results-links", status_code=201, summary="Publish results", response_model=NewLinkAnswer
)
def add(
    ticket_id: TicketId,
    asked: NewLink,
    person: Desk,
    session: WriteSession,
    settings: SettingsDep,
    key: LinkKeyDep,
    now: Now,
) -> Response:
    """The address is answered with it; of that only a hash is kept beside the records."""
    refuse_adding_to_forgotten(session, ticket_id, "ticket_id", ticket_id)
    held = select(Ticket.id).where(Ticket.id == ticket_id).with_for_update(key_share=True)
    if session.execute(held).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    row, token = publish(
        session, now, person.id, ticket_id, asked.wanted(settings.link_days), key, settings.weather_stale_minutes
    )
    answer = {**one(session, row.id, now), "url": f"{settings.public_url}/r/{token}"}
    return Json(answer, 201, headers={"Cache-Control": "no-store"})


@router.get("/tickets/{ticket_id}/results-links", summary="A ticket's results links", response_model=LinkList)
def of_ticket(
    ticket_id: TicketId, person: SignedIn, session: ReadSession, now: Now, cursor: Cursor = None, limit: Limit = 50
) -> Response:
    """Newest first, the ended ones too."""
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    statement = SELECTED.where(ResultsLink.ticket_id == ticket_id)
    rows, following = page(session, statement, [ResultsLink.id], cursor, limit)
    return Json({"items": [_answer(row, now) for row in rows], "next": following})


@router.get("/results-links", summary="All results links", response_model=LinkList)
def several(
    person: SignedIn,
    session: ReadSession,
    now: Now,
    state: Annotated[LinkState | None, Query(description="Only those in this state; all without it.")] = None,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """Newest first: which addresses of the shop are out there."""
    statement = SELECTED if state is None else SELECTED.where(in_state(state, now))
    rows, following = page(session, statement, [ResultsLink.id], cursor, limit)
    return Json({"items": [_answer(row, now) for row in rows], "next": following})


@router.get("/results-links/{link_id}/address", summary="A link's address again", response_model=LinkAddress)
def address(
    link_id: LinkId, person: Desk, session: ReadSession, settings: SettingsDep, key: LinkKeyDep, now: Now
) -> Response:
    """Made anew from the key beside the records; 409 where that is another key than the link was made with."""
    row = session.execute(select(ResultsLink.token_hash).where(ResultsLink.id == link_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no results link {link_id}.")
    told = {"url": address_of(key, settings.public_url, link_id, row.token_hash)}
    return Json(told, headers={"Cache-Control": "no-store"})


@router.get("/results-links/{link_id}/looks", summary="When a link was looked at", response_model=LooksList)
def looks(link_id: LinkId, person: SignedIn, session: ReadSession, now: Now) -> Response:
    """By the day, the latest first; no hour, no address, nothing about who."""
    one(session, link_id, now)
    days = select(ResultsLinkDay.day, ResultsLinkDay.times).where(ResultsLinkDay.link_id == link_id)
    rows = session.execute(days.order_by(ResultsLinkDay.day.desc()).limit(400))
    return Json({"items": [dict(row._mapping) for row in rows]})


@router.patch("/results-links/{link_id}", summary="Extend a results link", response_model=LinkAnswer)
def change(link_id: LinkId, asked: LinkChanges, person: Desk, session: WriteSession, now: Now) -> Response:
    """More days, counted from now, or another PIN; a link that the shop ended stays ended."""
    row = locked(session, ResultsLink, link_id, "results link")
    if row.revoked_at is not None:
        raise Clash("The shop ended this link; make a new one.", FieldProblem("revoked_at", row.revoked_at, "null"))
    sent = asked.model_fields_set
    changes: dict[str, Any] = {}
    if "days" in sent and asked.days is not None:
        changes["ends_at"] = now + timedelta(days=asked.days)
    refuse_stale(row, asked.version, changes, "results link")
    apply(session, now, person.id, row, changes, "results_link")
    if "pin" in sent and asked.pin is not None:
        row.pin_hash = pin_hash_of(asked.pin) if asked.pin else None
        row.version += 1
        after = {"wants_pin": row.pin_hash is not None}
        note(session, now, person.id, "change", "results_link", row.id, None, {"pin": "changed", **after})
    session.flush()
    return Json(one(session, link_id, now))


@router.delete("/results-links/{link_id}", summary="End a results link", response_model=LinkAnswer)
def revoke(link_id: LinkId, person: Desk, session: WriteSession, now: Now) -> Response:
    """From now on it shows nothing. A link that was ended before stays as it is."""
    row = locked(session, ResultsLink, link_id, "results link")
    if row.revoked_at is None:
        row.revoked_at = now
        row.version += 1
        session.flush()
        record_change(session, now, person.id, row, {"revoked_at": None}, "results_link")
    return Json(one(session, link_id, now))
