"""Results links: what a customer may see, made at the desk, ended when the shop says so."""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import locked, record_change
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Asked, Id, Instant, Words
from pullbook.db.evidence import ResultsLink
from pullbook.db.tables import Staff, Ticket
from pullbook.deps import Desk, Now, ReadSession, SettingsDep, SignedIn, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.shop.publishing import LinkWanted, count_opening, publish

router = APIRouter(prefix="/api/v1", tags=["results-links"])
TicketId = Annotated[str, Path(description="The ticket's id.")]
LinkId = Annotated[str, Path(description="The link's id.")]


class NewLink(Asked):
    """What to show, and for how long; `days` as the shop's settings have it when left out."""

    pull_ids: Annotated[list[Id], Field(min_length=1, max_length=60)]
    standard: Annotated[str, Field(max_length=40)]
    window_s: Annotated[float, Field(ge=0.005, le=5.0)] | None = None
    note: Words = ""
    days: Annotated[int, Field(ge=1, le=3650)] | None = None


class Opening(Asked):
    """The token of the link that was looked at."""

    token: Annotated[str, Field(min_length=1, max_length=200)]


class LinkAnswer(Answer):
    """A link on record. `live`: it has neither ended nor been revoked. Its token is not kept."""

    id: str
    ticket_id: str
    ticket_number: int
    pull_ids: list[str]
    standard: str
    window_s: float | None
    note: str
    digest: str
    made_at: Instant
    made_by_name: str
    ends_at: Instant
    revoked_at: Instant | None
    live: bool
    opened_count: int
    last_opened_on: str | None
    version: int


class NewLinkAnswer(LinkAnswer):
    """The link just made. `url` is told this once."""

    url: str


class LinkList(Answer):
    """A page of links, newest first."""

    items: list[LinkAnswer]
    next: str | None


_JOINED = {"ticket_number": Ticket.number, "made_by_name": Staff.full_name}
SELECTED = (
    select(
        *(getattr(ResultsLink, name) for name in LinkAnswer.model_fields if name not in (*_JOINED, "live")),
        *(column.label(name) for name, column in _JOINED.items()),
    )
    .join(Ticket, Ticket.id == ResultsLink.ticket_id)
    .join(Staff, Staff.id == ResultsLink.made_by)
)


def _answer(row: Any, now: Any) -> dict[str, Any]:
    return {**row._mapping, "live": row.revoked_at is None and row.ends_at > now}


def one(session: Session, link_id: str, now: Any) -> dict[str, Any]:
    """A link as answered; NotFound when there is none."""
    row = session.execute(SELECTED.where(ResultsLink.id == link_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no results link {link_id}.")
    return _answer(row, now)


@router.post(
    "/tickets/{ticket_id}/results-links", status_code=201, summary="Publish results", response_model=NewLinkAnswer
)
def add(
    ticket_id: TicketId, asked: NewLink, person: Desk, session: WriteSession, settings: SettingsDep, now: Now
) -> Response:
    """The address is answered once; only its hash is kept. Make another link where it was lost."""
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    wanted = LinkWanted(asked.pull_ids, asked.standard, asked.window_s, asked.note, asked.days or settings.link_days)
    row, token = publish(session, now, person.id, ticket_id, wanted, settings.weather_stale_minutes)
    session.flush()
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
    live: Annotated[bool, Query(description="Only those that still open.")] = False,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """Newest first: which addresses of the shop are out there."""
    statement = SELECTED
    if live:
        statement = statement.where(ResultsLink.revoked_at.is_(None), ResultsLink.ends_at > now)
    rows, following = page(session, statement, [ResultsLink.id], cursor, limit)
    return Json({"items": [_answer(row, now) for row in rows], "next": following})


@router.post("/results-links/opened", status_code=204, summary="Count that a link was looked at")
def opened(asked: Opening, session: WriteSession, now: Now) -> Response:
    """Sent by the results page itself once it is shown. Keeps a count and a day, nothing about who; tells nothing."""
    count_opening(session, asked.token, now)
    return Response(status_code=204)


@router.delete("/results-links/{link_id}", summary="End a results link", response_model=LinkAnswer)
def revoke(link_id: LinkId, person: Desk, session: WriteSession, now: Now) -> Response:
    """From now on it answers 410. A link that was ended before stays as it is."""
    row = locked(session, ResultsLink, link_id, "results link")
    if row.revoked_at is None:
        row.revoked_at = now
        row.version += 1
        session.flush()
        record_change(session, now, person.id, row, {"revoked_at": None}, "results_link")
    return Json(one(session, link_id, now))
