"""Receiving a file as the body: who and where is settled first, then its first bytes are judged, then the rest."""

import base64
import binascii
import hashlib
import re
from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, Path, Query, Request
from starlette.requests import ClientDisconnect

from pullbook.api.pull_shapes import Kind
from pullbook.api.shaping import Instant
from pullbook.deps import Now, ReadSession, SettingsDep, Tuner
from pullbook.errors import FieldProblem, Invalid, TooLarge, WrongKind
from pullbook.late_methods import dataclass
from pullbook.runfile.delimited import screen
from pullbook.settings import Settings
from pullbook.shop.filing import PullWanted, refuse_unknown_target
from pullbook.shop.weather_matching import refuse_future

ENOUGH_TO_JUDGE = 4096
_HEX_DIGEST = re.compile(r"[0-9a-fA-F]{64}")

# what the description says of a route whose body is a file
FILE_BODY = {
    "requestBody": {
        "required": True,
        "description": "The file itself, as it is: delimited text of any usual dialect.",
        "content": {
            "text/csv": {"schema": {"type": "string", "format": "binary"}},
            "application/octet-stream": {"schema": {"type": "string", "format": "binary"}},
        },
    },
    "parameters": [
        {
            "name": "SHA-256",
            "in": "header",
            "required": False,
            "schema": {"type": "string"},
            "description": "SHA-256 of the file in hex; compared when given.",
        },
        {
            "name": "Content-Digest",
            "in": "header",
            "required": False,
            "schema": {"type": "string"},
            "description": "sha-256=:BASE64: (RFC 9530); compared when given.",
        },
    ],
}


@dataclass(frozen=True, slots=True)
class Received:
    """A file as it arrived."""

    data: bytes
    sha256: str


def pull_wanted(
    ticket_id: Annotated[str, Path(description="The ticket's id.")],
    setup_id: Annotated[str, Query(description="The state of the car that was run.")],
    cell_id: Annotated[str, Query(description="The cell it was taken on.")],
    taken_at: Annotated[Instant, Query(description="When the pull was taken, with offset.")],
    file_name: Annotated[str, Query(min_length=1, max_length=1000, description="What the file is called.")],
    person: Tuner,
    session: ReadSession,
    now: Now,
    kind: Annotated[Kind, Query(description="What was done.")] = "sweep",
    channel_map_id: Annotated[str | None, Query(description="A saved channel map, where one is needed.")] = None,
) -> PullWanted:
    """Where the file belongs, checked before a byte of it is read."""
    refuse_future("taken_at", taken_at, now)
    wanted = PullWanted(ticket_id, setup_id, cell_id, kind, taken_at, file_name, channel_map_id)
    refuse_unknown_target(session, wanted)
    session.rollback()  # a slow upload must not hold a connection and its view of the records
    return wanted


Wanted = Annotated[PullWanted, Depends(pull_wanted)]


async def received_file(request: Request, wanted: Wanted, settings: SettingsDep) -> Received:
    """The body, read only once it is known where it belongs."""
    return await receive(request, settings)


async def receive(
    request: Request,
    settings: Settings,
    judge: Callable[[bytes, int | None], object] = screen,
    largest_bytes: int | None = None,
) -> Received:
    """A file as the body, hashed as it comes. Refused at the earliest byte that tells: kind, size, digest.

    `judge` gets its first bytes and its size, and raises where they are of no kind that is wanted here.
    """
    cap = min(settings.largest_upload_bytes, largest_bytes or settings.largest_upload_bytes)
    size = _refuse_by_headers(request, cap)
    digest, parts, count, judged = hashlib.sha256(), [], 0, False
    try:
        async for part in request.stream():
            count += len(part)
            if count > cap:
                raise _too_large(f"more than {cap}", cap)
            parts.append(part)
            digest.update(part)
            if not judged and count >= ENOUGH_TO_JUDGE:
                judge(b"".join(parts), size)
                judged = True
    except ClientDisconnect as error:
        raise Invalid(f"The file broke off after {count} bytes; nothing was kept.") from error
    data = b"".join(parts)
    if not data:
        raise Invalid("The file is empty; nothing was kept.", FieldProblem("body", "", "the file itself as the body"))
    if not judged:
        judge(data, len(data))
    sha256 = digest.hexdigest()
    _refuse_other_digest(request, sha256)
    return Received(data, sha256)


File = Annotated[Received, Depends(received_file)]


def _too_large(came: str, cap: int) -> TooLarge:
    return TooLarge(
        f"The file has {came} bytes; up to {cap} are taken. Nothing was kept.",
        FieldProblem("body", came, f"at most {cap} bytes"),
    )


def _refuse_by_headers(request: Request, cap: int) -> int | None:
    """What the headers alone rule out; gives the size where it is stated."""
    coding = request.headers.get("content-encoding", "identity").strip().lower()
    if coding not in ("", "identity"):
        raise WrongKind(
            f"The file came packed ({coding}); send it as it is, unpacked.",
            FieldProblem("Content-Encoding", coding, "no content encoding"),
        )
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind.startswith("multipart/"):  # other kinds say nothing: many clients call any body a url-encoded form
        raise WrongKind(
            "This is a form; send the file itself as the body.",
            FieldProblem("Content-Type", kind, "text/csv or application/octet-stream"),
        )
    stated = request.headers.get("content-length", "")
    if not stated.isdecimal():
        return None
    if int(stated) > cap:
        raise _too_large(stated, cap)
    return int(stated)


def _refuse_other_digest(request: Request, sha256: str) -> None:
    """Compare with what the sender says it sent: a `SHA-256` header in hex, or Content-Digest (RFC 9530)."""
    for field, told in _told_digests(request):
        if told != sha256:
            raise Invalid(
                f"The file arrived altered: its SHA-256 is {sha256}, the sender says {told}. Nothing was kept; "
                "send it again.",
                FieldProblem(field, told, sha256),
            )


def _told_digests(request: Request) -> list[tuple[str, str]]:
    told = []
    plain = request.headers.get("sha-256")
    if plain is not None:
        if not _HEX_DIGEST.fullmatch(plain.strip()):
            raise Invalid("The SHA-256 header is no SHA-256.", FieldProblem("SHA-256", plain, "64 hexadecimal digits"))
        told.append(("SHA-256", plain.strip().lower()))
    for member in request.headers.get("content-digest", "").split(","):
        name, _, value = member.strip().partition("=")
        if name.strip().lower() == "sha-256":
            told.append(("Content-Digest", _from_sequence(value.strip())))
    return told


def _from_sequence(value: str) -> str:
    try:
        if len(value) < 2 or value[0] != ":" or value[-1] != ":":
            raise ValueError("no colons")
        return base64.b64decode(value[1:-1], validate=True).hex()
    except (ValueError, binascii.Error) as error:
        raise Invalid(
            "The Content-Digest header cannot be read.",
            FieldProblem("Content-Digest", value, "sha-256=:BASE64: as RFC 9530 has it"),
        ) from error
