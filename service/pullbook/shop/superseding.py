"""Superseding: results said anew, with a trace both ways."""

from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import ResultsLink
from pullbook.errors import Clash, FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.shop.amending import FIGURES
from pullbook.shop.comparing import Comparison


@dataclass(frozen=True, slots=True)
class HeadlineMoved:
    """A setup's headline figure in the earlier results and in these, in W or N·m; None where there was none."""

    place: int
    name: str
    key: str  # peak_power_w, peak_torque_nm
    was_value: float | None
    now_value: float | None


@dataclass(frozen=True, slots=True)
class Earlier:
    """The results that these are said instead of."""

    made_at: datetime
    standard: str
    figures: tuple[HeadlineMoved, ...]  # of setups that both show


@dataclass(frozen=True, slots=True)
class Replaceable:
    """A link whose results could be said anew."""

    id: str
    made_at: datetime
    note: str


def replaceable(session: Session, ticket_id: str) -> tuple[Replaceable, ...]:
    """A ticket's links that the shop has not ended and that nothing has replaced yet, newest first."""
    rows = session.execute(
        select(ResultsLink.id, ResultsLink.made_at, ResultsLink.note, ResultsLink.replaces_id)
        .where(ResultsLink.ticket_id == ticket_id, ResultsLink.revoked_at.is_(None))
        .order_by(ResultsLink.id.desc())
    ).all()
    replaced = {row.replaces_id for row in rows}
    return tuple(Replaceable(row.id, row.made_at, row.note) for row in rows if row.id not in replaced)


def refuse_wrong_replacing(session: Session, ticket_id: str, replaces_id: str) -> None:
    """Invalid where there is no such link on this ticket; Clash where another took its place already."""
    holder = session.execute(select(ResultsLink.ticket_id).where(ResultsLink.id == replaces_id)).scalar_one_or_none()
    if holder != ticket_id:
        raise Invalid(
            f"There is no results link {replaces_id} on this ticket.",
            FieldProblem("replaces_id", replaces_id, "the id of one of this ticket's results links"),
        )
    newer = _successor(session, replaces_id)
    if newer is not None:
        raise Clash(
            "Those results were replaced already.",
            FieldProblem("replaces_id", replaces_id, f"{newer.id}, which took their place"),
        )


def replaced_at(session: Session, link_id: str) -> datetime | None:
    """When newer results took this link's place; None where none did, or where those were taken back."""
    newer = _successor(session, link_id)
    return None if newer is None else newer.made_at


def _successor(session: Session, link_id: str) -> Any:
    asked = select(ResultsLink.id, ResultsLink.made_at).where(
        ResultsLink.replaces_id == link_id, ResultsLink.revoked_at.is_(None)
    )
    return session.execute(asked.order_by(ResultsLink.id.desc()).limit(1)).one_or_none()


def earlier(session: Session, replaces_id: str | None, published: dict[str, Any], shown: Comparison) -> Earlier | None:
    """What the replaced link stated when it was published, beside what this one did; None where this replaces none."""
    if replaces_id is None:
        return None
    row = session.execute(
        select(ResultsLink.made_at, ResultsLink.standard, ResultsLink.published).where(ResultsLink.id == replaces_id)
    ).one_or_none()
    if row is None:
        return None
    was, here = row.published.get("setups", {}), published.get("setups", {})
    figures = [
        HeadlineMoved(
            setup.place, setup.called, key, _value(was[setup.setup_id], key), _value(here[setup.setup_id], key)
        )
        for setup in shown.setups
        if setup.setup_id in was and setup.setup_id in here
        for key in FIGURES
    ]
    return Earlier(row.made_at, row.standard, tuple(figures))


def _value(of_setup: dict[str, Any], key: str) -> float | None:
    pair = of_setup.get(key)
    return None if pair is None else float(pair[0])
