"""The chain of entries: its public keys, the heads signed each day, and the receipt of a pull."""

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import Path, Response
from sqlalchemy import select

from pullbook.api.listing import Cursor, Limit, page
from pullbook.api.shaping import Answer, Instant
from pullbook.db.chain import ChainKey, SignedHead
from pullbook.db.evidence import Pull
from pullbook.deps import DatabaseDep, Now, ReadSession, SettingsDep, SignedIn
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.attesting import Receipt, attest, public_line, receipt_for

router = LateRouter(prefix="/api/v1", tags=["chain"])
PullId = Annotated[str, Path(description="The pull's id.")]


class ReceiptAnswer(Answer):
    """What was received, and the entry it has in the chain. Unsigned, with nulls, while the key is not there.

    The signature is Ed25519, in base64, over these lines, each with its line feed: `pullbook receipt 1`,
    `entry N`, `received …Z` with six decimals, `size N`, `sha256 …`, `head …`.
    """

    entry_number: int
    received_at: Instant
    size_bytes: int
    sha256: str
    head: str
    key_id: str | None
    signature: str | None


class KeyAnswer(Answer):
    """A public key. `line` is the same as signed notes have it; `reason` says why it took the place of another."""

    id: str
    public_key: str
    line: str
    made_at: Instant
    reason: str


class KeyList(Answer):
    """Every key the shop ever signed with, the latest first."""

    items: list[KeyAnswer]


class HeadAnswer(Answer):
    """Where the chain, and the audit trail, stood at the first thing entered on that day, by the shop's clock.

    The signature is Ed25519, in base64, over `pullbook head 2`, `day …`, `entries N`, `head …`, `trail N …`,
    `signed …Z`, each with its line feed. A head from before the trail was signed begins with `pullbook head 1` and has
    no such line.
    """

    day: str
    entries: int
    head: str
    signed_at: Instant
    key_id: str
    signature: str
    trail_entries: int | None
    trail_hash: str | None


class HeadList(Answer):
    """A page of heads, the latest day first."""

    items: list[HeadAnswer]
    next: str | None


def receipt_shown(receipt: Receipt) -> dict[str, Any]:
    """A receipt as answered."""
    return asdict(receipt)


@router.get("/chain/key", summary="Public keys of the chain", response_model=KeyList)
def keys(session: ReadSession) -> Response:
    """For whoever checks a receipt; write it down somewhere else too. Empty until the first file came in."""
    rows = session.scalars(select(ChainKey).order_by(ChainKey.made_at.desc(), ChainKey.id))
    names = ("id", "public_key", "made_at", "reason")
    told = [{**{name: getattr(row, name) for name in names}, "line": public_line(row.public_key)} for row in rows]
    return Json({"items": told})


@router.get("/chain/heads", summary="Signed heads of the chain", response_model=HeadList)
def heads(person: SignedIn, session: ReadSession, cursor: Cursor = None, limit: Limit = 50) -> Response:
    """One for each day on which anything was entered; keep some where the server cannot reach."""
    names = [name for name in HeadAnswer.model_fields if name != "day"]
    asked = select(SignedHead.day.label("id"), *(getattr(SignedHead, name) for name in names))
    rows, following = page(session, asked, [SignedHead.day], cursor, limit)
    told = [{"day": row.id, **{name: getattr(row, name) for name in names}} for row in rows]
    return Json({"items": told, "next": following})


@router.get(
    "/pulls/{pull_id}/receipt",
    summary="A pull's receipt",
    response_class=Response,
    responses={
        200: {"content": {"text/plain": {"schema": {"type": "string"}}}, "description": "The receipt as a signed note."}
    },
)
def receipt(
    pull_id: PullId, person: SignedIn, database: DatabaseDep, session: ReadSession, settings: SettingsDep, now: Now
) -> Response:
    """To be kept away from the server: with it anybody can check that the file is still the one that came."""
    if session.execute(select(Pull.id).where(Pull.id == pull_id)).one_or_none() is None:
        raise NotFound(f"There is no pull {pull_id}.")
    session.rollback()  # an entry that is made just now must be seen
    signer = attest(database, settings.signing_key, now)
    told = receipt_for(session, signer, "pull", pull_id)
    named = f'attachment; filename="receipt-{told.entry_number}.txt"'
    headers = {"Content-Disposition": named, "X-Content-Type-Options": "nosniff"}
    return Response(told.note, headers=headers, media_type="text/plain; charset=utf-8")
