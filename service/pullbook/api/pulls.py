"""Pulls: a file comes in as the body and is kept as it came; what is said of it changes, what was measured never."""

from typing import Annotated, Any

from fastapi import Path, Query, Response
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from pullbook.api.editing import apply, locked, record_change, refuse_stale
from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.pull_shapes import SELECTED, PullAnswer, PullChange, PullList, SetAside, one_pull, pull_facts
from pullbook.api.raw_answers import raw_answer
from pullbook.api.receipts import ReceiptAnswer, receipt_shown
from pullbook.api.receiving import FILE_BODY, File, Wanted
from pullbook.api.shaping import changes_of
from pullbook.db.evidence import Pull
from pullbook.db.tables import Setup, Ticket
from pullbook.deps import DatabaseDep, Now, ReadSession, SettingsDep, SignedIn, Tuner, WriteSession
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.attesting import attest, receipt_for
from pullbook.shop.coming_back import refuse_forgotten_job
from pullbook.shop.filing import already_filed, file_pull, read_file, verify_stored

router = LateRouter(prefix="/api/v1", tags=["pulls"])


class FiledPull(PullAnswer):
    """A pull as filed, and the receipt for its file."""

    receipt: ReceiptAnswer


TicketId = Annotated[str, Path(description="The ticket's id.")]
PullId = Annotated[str, Path(description="The pull's id.")]


@router.post(
    "/tickets/{ticket_id}/pulls",
    status_code=201,
    summary="File a pull",
    response_model=FiledPull,
    responses={
        200: {"model": FiledPull, "description": "This very file is on this ticket already: the same answer."},
        413: {"description": "More bytes than are taken; refused before they are read."},
        415: {"description": "Not a kind of file that is read here."},
    },
    openapi_extra=FILE_BODY,
)
def file(
    wanted: Wanted, received: File, person: Tuner, database: DatabaseDep, settings: SettingsDep, now: Now
) -> Response:
    """Kept as it came, under its hash, and read back from disk before this is answered.

    A file that cannot be understood is kept all the same: `unreadable`, with the reason and the place.
    """
    with database.reading() as session:
        there = already_filed(session, wanted.ticket_id, received.sha256)
        if there is not None:
            return Json(_with_receipt(database, settings, there, now), 200)
    read = read_file(received.data, received.sha256)
    try:
        with database.writing() as session:
            pull_id, made = file_pull(session, now, person.id, wanted, read)
    except IntegrityError:
        pull_id, made = _found_meanwhile(database, wanted.ticket_id, received.sha256), False
    return Json(_with_receipt(database, settings, pull_id, now, written=received.sha256), 201 if made else 200)


def _with_receipt(
    database: DatabaseDep, settings: SettingsDep, pull_id: str, now: Now, written: str | None = None
) -> dict[str, Any]:
    """`written`: the hash of bytes that this request filed, which are read back first."""
    signer = attest(database, settings.signing_key, now)
    with database.reading() as session:  # a connection that did not write it
        if written is not None:
            verify_stored(session, written)
        receipt = receipt_shown(receipt_for(session, signer, "pull", pull_id))
        return {**one_pull(session, pull_id), "receipt": receipt}


def _found_meanwhile(database: DatabaseDep, ticket_id: str, sha256: str) -> str:
    """The pull that somebody else filed between our look and our write; the rule that was broken, if it is none."""
    with database.reading() as session:
        there = already_filed(session, ticket_id, sha256)
    if there is None:
        raise Clash("The ticket, its setup or its cell changed while this was filed; nothing was kept. Send it again.")
    return there


@router.get("/tickets/{ticket_id}/pulls", summary="A ticket's pulls", response_model=PullList)
def several(
    ticket_id: TicketId,
    person: SignedIn,
    session: ReadSession,
    setup_id: Annotated[str | None, Query(description="Only of this setup.")] = None,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """By the time taken, latest first."""
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    statement = SELECTED.where(Pull.ticket_id == ticket_id)
    if setup_id is not None:
        statement = statement.where(Pull.setup_id == setup_id)
    rows, following = page(session, statement, [Pull.taken_at, Pull.id], cursor, limit)
    return Json({"items": pull_facts(session, list(rows)), "next": following})


@router.get("/pulls/{pull_id}", summary="One pull", response_model=PullAnswer)
def get(pull_id: PullId, person: SignedIn, session: ReadSession) -> Response:
    """As it is filed, whatever could be made of it."""
    return Json(one_pull(session, pull_id))


@router.get(
    "/pulls/{pull_id}/raw",
    summary="A pull's file",
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}, "description": "The very bytes that were sent."}},
)
def raw(pull_id: PullId, person: SignedIn, session: ReadSession) -> Response:
    """Byte for byte as it came, whatever the service could make of it."""
    row = session.execute(select(Pull.sha256, Pull.file_name).where(Pull.id == pull_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no pull {pull_id}.")
    return raw_answer(session, row.sha256, row.file_name)


@router.patch("/pulls/{pull_id}", summary="Change what is said of a pull", response_model=PullAnswer)
def change(pull_id: PullId, asked: PullChange, person: Tuner, session: WriteSession, now: Now) -> Response:
    """Its notes, or which setup of the same ticket it belongs to. 409 when somebody changed it meanwhile."""
    row, changes = locked(session, Pull, pull_id, "pull"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "pull")
    if "setup_id" in changes:
        holder = session.execute(select(Setup.ticket_id).where(Setup.id == changes["setup_id"])).scalar_one_or_none()
        if holder != row.ticket_id:
            raise Invalid(
                f"There is no setup {changes['setup_id']} on this pull's ticket.",
                FieldProblem("setup_id", changes["setup_id"], "the id of one of the same ticket's setups"),
            )
    if changes.get("notes"):
        refuse_forgotten_job(session, row.ticket_id, "notes", changes["notes"])
    apply(session, now, person.id, row, changes, "pull")
    session.flush()
    return Json(one_pull(session, pull_id))


@router.post("/pulls/{pull_id}/set-aside", status_code=201, summary="Set a pull aside", response_model=PullAnswer)
def set_aside(pull_id: PullId, asked: SetAside, person: Tuner, session: WriteSession, now: Now) -> Response:
    """It stays on record and on the charts, marked, and counts in no mean. Nothing is ever deleted."""
    row = locked(session, Pull, pull_id, "pull")
    if row.set_aside_at is not None:
        raise Clash(
            f"This pull is set aside already: {row.set_aside_reason}",
            FieldProblem("reason", asked.reason, "take it back first to give another reason"),
        )
    _mark(row, person.id, now, asked.reason)
    session.flush()
    record_change(session, now, person.id, row, {"set_aside_reason": None}, "pull")
    return Json(one_pull(session, pull_id), 201)


@router.delete("/pulls/{pull_id}/set-aside", summary="Let a pull count again", response_model=PullAnswer)
def take_back(pull_id: PullId, person: Tuner, session: WriteSession, now: Now) -> Response:
    """That it was set aside, and why, stays in the audit trail."""
    row = locked(session, Pull, pull_id, "pull")
    before = row.set_aside_reason
    if before is not None:
        _mark(row, None, None, None)
        session.flush()
        record_change(session, now, person.id, row, {"set_aside_reason": before}, "pull")
    return Json(one_pull(session, pull_id))


def _mark(row: Pull, staff_id: str | None, at: Any, reason: str | None) -> None:
    row.set_aside_by, row.set_aside_at, row.set_aside_reason = staff_id, at, reason
    row.version += 1
