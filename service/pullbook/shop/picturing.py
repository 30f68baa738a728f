"""Picturing the car: a photo is drawn anew from what was sent, so that nothing is kept but what can be seen on it.

What is no JPEG, PNG or WebP by its first bytes is refused unread; one whose header tells of too many pixels is refused
before a single one is unpacked. A phone's turn is applied, then everything beside the pixels is dropped: place, time,
camera, comments, and whatever hides behind the picture's end.
"""

import hashlib
import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from threading import Lock
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.arrival import Picture, TicketPhoto
from pullbook.db.tables import Ticket
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound, WrongKind
from pullbook.late_methods import dataclass
from pullbook.shop.auditing import note
from pullbook.shop.coming_back import refuse_adding_to_forgotten
from pullbook.shop.filing import clean_file_name

MOST_PIXELS = 64_000_000  # 256 MB unpacked; telephones make 50 million at most unless told otherwise
LONGEST_SENT_PX = 32_767  # a panorama has some 20,000; each row costs memory beside its pixels
LONGEST_SIDE_PX = 2400
THUMBNAIL_PX = 360
LOGO_PX = (640, 240)
QUALITY = 85
WOULD_DO = "a JPEG, PNG or WebP picture"
_ONE_AT_A_TIME = Lock()  # the memory for one unpacked picture, not for as many as arrive together


@dataclass(frozen=True, slots=True)
class Drawn:
    """A picture drawn anew."""

    sha256: str
    width_px: int
    height_px: int
    jpeg: bytes
    thumbnail: bytes


def refuse_other_kinds(head: bytes, size_bytes: int | None) -> None:
    """WrongKind for what its first bytes say is no picture of the three kinds. `size_bytes` changes nothing."""
    if head.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")) or (head[:4] == b"RIFF" and head[8:12] == b"WEBP"):
        return
    if head[4:8] == b"ftyp":
        said = "This is a film, or a picture in the HEIC or AVIF format, which not every browser can show."
        would_do = f"{WOULD_DO}; on the phone, choose the compatible format under the camera's settings"
    else:
        said, would_do = "This is no picture that can be kept.", WOULD_DO
    raise WrongKind(f"{said} Nothing was kept.", FieldProblem("body", repr(head[:8]), would_do))


def drawn_anew(data: bytes) -> Drawn:
    """The picture without anything beside its pixels, upright, and a thumbnail. Invalid says what is wrong with it."""
    from PIL import Image, ImageOps  # noqa: PLC0415 - 14 MB, and only a photo needs it

    with _ONE_AT_A_TIME, _said_in_words(), Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as sent:
        _refuse_huge(sent.size)
        sent.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))  # a JPEG can be unpacked smaller at once
        turn = sent.getexif().get(0x0112)
        seen = _in_colour(sent)
        seen.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)  # before any copy is made
        upright = ImageOps.exif_transpose(_flat(seen, turn))
        # onto a fresh sheet: comments and profiles hang on the old one and would be written out again
        kept = Image.new("RGB", upright.size, "white")
        kept.paste(upright)
        jpeg = _written(kept)
        kept.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX), Image.Resampling.LANCZOS)
        return Drawn(hashlib.sha256(jpeg).hexdigest(), *upright.size, jpeg, _written(kept))


def logo_anew(data: bytes) -> tuple[bytes, int, int]:
    """A shop's own picture as PNG, small enough for a letterhead, see-through where it was; width and height in pixels.

    Invalid says what is wrong with it.
    """
    from PIL import Image  # noqa: PLC0415

    with _ONE_AT_A_TIME, _said_in_words(), Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as sent:
        _refuse_huge(sent.size)
        seen = _in_colour(sent)
        seen.thumbnail(LOGO_PX, Image.Resampling.LANCZOS)
        kept = Image.new("RGBA", seen.size)
        kept.paste(seen.convert("RGBA"))
        file = io.BytesIO()
        kept.save(file, "PNG", optimize=True)
        return file.getvalue(), *kept.size


def _in_colour(sent: Any) -> Any:
    """The first frame in a mode that can be made smaller smoothly: itself where it can, without a copy of the whole."""
    if sent.mode.startswith("I"):  # sixteen bits of grey are clipped to white unless they are brought down first
        return sent.point(lambda level: level * (1 / 256)).convert("L")
    if sent.mode in ("L", "RGB", "RGBA", "CMYK", "YCbCr") and "transparency" not in sent.info:
        return sent
    return sent.convert("RGBA" if sent.has_transparency_data else "RGB")


def _flat(seen: Any, turn: Any) -> Any:
    """In red, green and blue, with its turn still to come; what can be seen through is laid on white."""
    from PIL import Image  # noqa: PLC0415

    if seen.mode == "RGBA":
        flat = Image.new("RGB", seen.size, "white")
        flat.paste(seen, mask=seen.getchannel("A"))
    else:
        flat = seen.convert("RGB")
    flat.info = {}  # of what the camera wrote nothing but the turn is read: the rest may be odd
    if turn in range(2, 9):
        flat.getexif()[0x0112] = int(turn)
    return flat


def _written(picture: Any) -> bytes:
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return file.getvalue()


def _refuse_huge(size: tuple[int, int]) -> None:
    width, height = size
    if width * height > MOST_PIXELS:
        raise Invalid(
            f"The picture says it is {width} × {height} pixels; nothing was unpacked or kept.",
            FieldProblem("body", width * height, f"at most {MOST_PIXELS} pixels"),
        )
    if max(size) > LONGEST_SENT_PX:
        raise Invalid(
            f"The picture says it is {width} × {height} pixels; nothing was unpacked or kept.",
            FieldProblem("body", max(size), f"at most {LONGEST_SENT_PX} pixels on either side"),
        )


@contextmanager
def _said_in_words() -> Iterator[None]:
    """Whatever the decoder stumbles over is the file's fault, and says so."""
    from PIL import Image  # noqa: PLC0415

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which is dropped anyway
            yield
    except Image.DecompressionBombError as error:
        raise Invalid(
            "The picture says it has far more pixels than any camera; nothing was unpacked or kept.",
            FieldProblem("body", "(a picture)", f"at most {MOST_PIXELS} pixels"),
        ) from error
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, OverflowError, EOFError) as error:
        raise Invalid(
            "The picture cannot be read: it is cut short or damaged. Nothing was kept; send it again.",
            FieldProblem("body", str(error)[:120], "a whole picture that opens elsewhere"),
        ) from error


def keep_photo(
    session: Session,
    now: datetime,
    staff_id: str,
    ticket_id: str,
    drawn: Drawn,
    sent_sha256: str,
    file_name: str,
    caption: str,
) -> tuple[str, bool]:
    """Put it on the ticket; gives its id, and whether it was put there now rather than found there."""
    refuse_adding_to_forgotten(session, ticket_id, "ticket_id", ticket_id)
    refuse_unknown_ticket(session, ticket_id, hold=True)
    there = select(TicketPhoto.id).where(TicketPhoto.ticket_id == ticket_id, TicketPhoto.sha256 == drawn.sha256)
    if (found := session.execute(there).scalar_one_or_none()) is not None:
        return found, False
    if session.execute(select(Picture.sha256).where(Picture.sha256 == drawn.sha256)).one_or_none() is None:
        sides = {"width_px": drawn.width_px, "height_px": drawn.height_px}
        session.add(Picture(sha256=drawn.sha256, jpeg=drawn.jpeg, thumbnail=drawn.thumbnail, made_at=now, **sides))
        session.flush()
    row = TicketPhoto(
        ticket_id=ticket_id,
        sha256=drawn.sha256,
        sent_sha256=sent_sha256,
        file_name=clean_file_name(file_name),
        caption=caption,
        made_at=now,
        made_by=staff_id,
    )
    session.add(row)
    session.flush()
    after = {"ticket_id": ticket_id, "sha256": drawn.sha256, "caption": caption}
    note(session, now, staff_id, "add", "photo", row.id, None, after)
    return row.id, True


def refuse_unknown_ticket(session: Session, ticket_id: str, *, hold: bool = False) -> None:
    """NotFound where there is no such ticket; `hold` keeps its row until the transaction ends."""
    asked = select(Ticket.id).where(Ticket.id == ticket_id)
    if session.execute(asked.with_for_update() if hold else asked).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")


def set_photo_aside(session: Session, now: datetime, staff_id: str, photo_id: str, reason: str | None) -> None:
    """Out of the strip with a reason, or back in with none. It stays on record either way."""
    row = session.get(TicketPhoto, photo_id, with_for_update=True)
    if row is None:
        raise NotFound(f"There is no photo {photo_id}.")
    if (reason is None) == (row.set_aside_at is None):
        said = "is not set aside" if reason is None else f"is set aside already: {row.set_aside_reason}"
        raise Clash(f"This photo {said}.")
    before = row.set_aside_reason
    row.set_aside_at, row.set_aside_by = (now, staff_id) if reason is not None else (None, None)
    row.set_aside_reason = reason
    row.version += 1
    session.flush()
    action = "take_back" if reason is None else "set_aside"
    note(session, now, staff_id, action, "photo", photo_id, {"set_aside_reason": before}, {"set_aside_reason": reason})
