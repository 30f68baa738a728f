"""Pulls in words and numbers: what is asked of one, and what is answered."""

from typing import Annotated, Any, Literal

from pydantic import Field
from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, aliased

from pullbook.api.shaping import UNSET, Answer, Asked, Id, Instant, Words
from pullbook.db.evidence import Pull, RawFile
from pullbook.db.tables import Cell, ChannelMap, Setup, Staff, Ticket
from pullbook.errors import NotFound
from pullbook.shop.signing_off import SHOP_ZONE, covers, last_signed

Kind = Literal["sweep", "hold", "coast_down", "part_throttle"]
Reason = Annotated[Words, Field(min_length=1, description="Why, in words that a customer may read.")]


class PullChange(Asked):
    """What to change of how the shop files it; what was measured never changes."""

    version: int
    notes: Words = UNSET
    setup_id: Id = UNSET


class SetAside(Asked):
    """Why this pull does not count."""

    reason: Reason


class MapChosen(Asked):
    """The saved channel map to read it with."""

    channel_map_id: Id


class PullAnswer(Answer):
    """A pull as filed. `state` unreadable: it is kept, and `reason` says what it waits for.

    `safety_signed`: the checklist was signed for this ticket and cell before it, on the same day by the shop's clock.
    """

    id: str
    ticket_id: str
    ticket_number: int
    setup_id: str
    setup_name: str
    cell_id: str
    cell_name: str
    sha256: str
    size_bytes: int
    kind: Kind
    taken_at: Instant
    received_at: Instant
    file_name: str
    operator_id: str
    operator_name: str
    state: Literal["readable", "unreadable"]
    reason: str | None
    channel_map_id: str | None
    channel_map_name: str | None
    set_aside_reason: str | None
    set_aside_at: Instant | None
    set_aside_by_name: str | None
    same_file_on_tickets: list[int]
    safety_signed: bool
    notes: str
    version: int


class PullList(Answer):
    """A page of pulls, newest first."""

    items: list[PullAnswer]
    next: str | None


_SETTER = aliased(Staff)
_JOINED = {
    "ticket_number": Ticket.number,
    "setup_name": Setup.name,
    "cell_name": Cell.name,
    "size_bytes": RawFile.size_bytes,
    "operator_name": Staff.full_name,
    "reason": Pull.unreadable_reason,
    "channel_map_name": ChannelMap.name,
    "set_aside_by_name": _SETTER.full_name,
}
_OWN = [name for name in PullAnswer.model_fields if name not in (*_JOINED, "same_file_on_tickets", "safety_signed")]
SELECTED = (
    select(
        *(getattr(Pull, name) for name in _OWN),
        *(column.label(name) for name, column in _JOINED.items()),
        last_signed(Pull.ticket_id, Pull.cell_id, Pull.taken_at).label("last_signed_at"),
        SHOP_ZONE.label("shop_zone"),
    )
    .join(Ticket, Ticket.id == Pull.ticket_id)
    .join(Setup, Setup.id == Pull.setup_id)
    .join(Cell, Cell.id == Pull.cell_id)
    .join(RawFile, RawFile.sha256 == Pull.sha256)
    .join(Staff, Staff.id == Pull.operator_id)
    .outerjoin(ChannelMap, ChannelMap.id == Pull.channel_map_id)
    .outerjoin(_SETTER, _SETTER.id == Pull.set_aside_by)
)
_ONE = SELECTED.where(Pull.id == bindparam("pull_id"))
_TWINS = (
    select(Pull.sha256, Ticket.number)
    .join(Ticket, Ticket.id == Pull.ticket_id)
    .where(Pull.sha256.in_(bindparam("files", expanding=True)))
)


def pull_facts(session: Session, rows: list[Any]) -> list[dict[str, Any]]:
    """Rows of SELECTED as answered, with the other tickets that hold the same file."""
    twins: dict[str, set[int]] = {}
    for sha256, number in session.execute(_TWINS, {"files": list({row.sha256 for row in rows})}):
        twins.setdefault(sha256, set()).add(number)
    return [
        {
            **{name: row._mapping[name] for name in (*_OWN, *_JOINED)},
            "same_file_on_tickets": sorted(twins.get(row.sha256, set()) - {row.ticket_number}),
            "safety_signed": covers(row.last_signed_at, row.taken_at, row.shop_zone),
        }
        for row in rows
    ]


def one_pull(session: Session, pull_id: str) -> dict[str, Any]:
    """A pull as answered; NotFound when there is none."""
    row = session.execute(_ONE, {"pull_id": pull_id}).one_or_none()
    if row is None:
        raise NotFound(f"There is no pull {pull_id}.")
    return pull_facts(session, [row])[0]
