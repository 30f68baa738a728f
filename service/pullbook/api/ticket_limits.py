"""Limits: what must not be passed on a job, and how each of its pulls stands to them."""

from typing import Annotated, Any

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import locked, refuse_stale
from pullbook.api.shaping import Answer, Asked, Instant, Line
from pullbook.db.tables import Ticket
from pullbook.deps import Now, ReadSession, SignedIn, Tuner, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.limits import LIMIT_RULES, Checked, Passing
from pullbook.shop.coming_back import refuse_adding_to_forgotten
from pullbook.shop.limiting import ADVICE, REACH, LimitSet, earlier_limits, limits_of, set_limits
from pullbook.shop.reading import ReadSettings, read_pulls

router = LateRouter(prefix="/api/v1", tags=["limits"])
TicketId = Annotated[str, Path(description="The ticket's id.")]


def _within(quantity: str) -> Any:
    low, high = REACH[quantity]
    rule = LIMIT_RULES[quantity]
    return Field(ge=low, le=high, description=f"{rule.title} {rule.word}, in {rule.unit}; null: no such limit.")


class NewLimits(Asked):
    """All limits of a ticket; what is left out or null is no limit. `version` is the ticket's, as last read."""

    version: int
    lambda_leaner_than: Annotated[float, _within("lambda_leaner_than")] | None = None
    manifold_pressure_kpa_above: Annotated[float, _within("manifold_pressure_kpa_above")] | None = None
    coolant_temperature_c_above: Annotated[float, _within("coolant_temperature_c_above")] | None = None
    intake_temperature_c_above: Annotated[float, _within("intake_temperature_c_above")] | None = None
    oil_temperature_c_above: Annotated[float, _within("oil_temperature_c_above")] | None = None
    knock_retard_deg_beyond: Annotated[float, _within("knock_retard_deg_beyond")] | None = None
    fuel_pressure_kpa_below: Annotated[float, _within("fuel_pressure_kpa_below")] | None = None
    note: Line = ""


class LimitAnswer(Answer):
    """One limit on record, in the unit that its quantity ends in."""

    quantity: str
    title: str
    unit: str
    value: float
    note: str
    made_at: Instant
    made_by_name: str


class EarlierAnswer(Answer):
    """What this car was limited to on an earlier ticket; nothing of it counts until it is put here."""

    ticket_id: str
    ticket_number: int
    items: list[LimitAnswer]


class LimitsAnswer(Answer):
    """A ticket's limits, and how they are to be taken."""

    ticket_id: str
    version: int
    items: list[LimitAnswer]
    earlier: EarlierAnswer | None
    advice: str


class PassingAnswer(Answer):
    """One stretch beyond a limit: seconds of the file, rev/min, the limit's own unit."""

    first_s: float
    lasted_s: float
    engine_speed_rpm: float | None
    worst: float
    worst_s: float
    worst_engine_speed_rpm: float | None


class CheckedAnswer(Answer):
    """One limit held against one pull."""

    quantity: str
    title: str
    unit: str
    limit: float
    state: Annotated[str, Field(description="passed, kept, or unchecked: then `why_not` says why.")]
    why_not: str | None
    closest: float | None
    lasted_s: float
    by: float | None
    passings: list[PassingAnswer]
    brief: Annotated[int, Field(description="How often it was passed for less than `counts_from_s`.")]
    counts_from_s: float
    looked_at_s: float
    load_by: str
    lag_s: float | None


class PullLimits(Answer):
    """Every limit of the ticket held against one of its pulls."""

    pull_id: str
    ticket_id: str
    items: list[CheckedAnswer]
    advice: str


def _limit(one: LimitSet) -> dict[str, Any]:
    rule = one.rule
    return {
        "quantity": rule.quantity,
        "title": f"{rule.title} {rule.word}",
        "unit": rule.unit,
        "value": one.value,
        "note": one.note,
        "made_at": one.made_at,
        "made_by_name": one.made_by_name,
    }


def _answer(session: Session, ticket_id: str) -> dict[str, Any]:
    version = session.execute(select(Ticket.version).where(Ticket.id == ticket_id)).scalar_one_or_none()
    if version is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    earlier = earlier_limits(session, ticket_id)
    return {
        "ticket_id": ticket_id,
        "version": version,
        "items": [_limit(one) for one in limits_of(session, ticket_id)],
        "earlier": None
        if earlier is None
        else {
            "ticket_id": earlier.ticket_id,
            "ticket_number": earlier.ticket_number,
            "items": [_limit(one) for one in earlier.limits],
        },
        "advice": ADVICE,
    }


def _passing(one: Passing) -> dict[str, float | None]:
    names = ("first_s", "lasted_s", "engine_speed_rpm", "worst", "worst_s", "worst_engine_speed_rpm")
    return {name: None if getattr(one, name) is None else round(getattr(one, name), 4) for name in names}


def _checked(one: Checked) -> dict[str, Any]:
    return {
        "quantity": one.rule.quantity,
        "title": f"{one.rule.title} {one.rule.word}",
        "unit": one.rule.unit,
        "limit": one.limit,
        "state": "unchecked" if one.why_not is not None else "passed" if one.passed else "kept",
        "why_not": one.why_not,
        "closest": None if one.closest is None else round(one.closest, 4),
        "lasted_s": round(one.lasted_s, 3),
        "by": round(one.by, 4) if one.passed else None,
        "passings": [_passing(passing) for passing in one.passings],
        "brief": one.brief,
        "counts_from_s": one.rule.lasting_s,
        "looked_at_s": round(one.looked_at_s, 3),
        "load_by": one.load_by,
        "lag_s": one.lag_s,
    }


@router.get("/tickets/{ticket_id}/limits", summary="A ticket's limits", response_model=LimitsAnswer)
def get(ticket_id: TicketId, person: SignedIn, session: ReadSession) -> Response:
    """What must not be passed on this job, and what the same car was last limited to."""
    return Json(_answer(session, ticket_id))


@router.put("/tickets/{ticket_id}/limits", summary="Set a ticket's limits", response_model=LimitsAnswer)
def put(ticket_id: TicketId, asked: NewLimits, person: Tuner, session: WriteSession, now: Now) -> Response:
    """In place of all there were; 409 when somebody changed the ticket meanwhile."""
    if asked.note:
        refuse_adding_to_forgotten(session, ticket_id, "note", asked.note)
    ticket = locked(session, Ticket, ticket_id, "ticket")
    refuse_stale(ticket, asked.version, {}, "ticket")
    given = asked.model_dump(exclude={"version", "note"})
    set_limits(
        session, now, person.id, ticket, {name: value for name, value in given.items() if value is not None}, asked.note
    )
    return Json(_answer(session, ticket_id))


@router.get("/pulls/{pull_id}/limits", summary="A pull held to its ticket's limits", response_model=PullLimits)
def check(
    pull_id: Annotated[str, Path(description="The pull's id.")], person: SignedIn, session: ReadSession
) -> Response:
    """What was passed, when, for how long and by how much; what the file cannot tell is said too."""
    pull = read_pulls(session, [pull_id], ReadSettings("observed"))[0]
    items = [_checked(one) for one in pull.limits]
    return Json({"pull_id": pull_id, "ticket_id": pull.facts.ticket_id, "items": items, "advice": ADVICE})
