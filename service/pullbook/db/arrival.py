"""What happens when a car arrives and before it is pulled: waiver, photos, safety checklist, signings."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from pullbook.db.schema import STRICT, Table, length, own_id, positive, reference, rule
from pullbook.db.stored_types import JsonText, blob


class WaiverText(Table):
    """The shop's own terms, one row for each time they were written. Append-only; the highest number is in force."""

    __tablename__ = "waiver_text"
    __table_args__ = (UniqueConstraint("number"), length("body", 1, 20000), *positive("number"), STRICT)
    id: Mapped[str] = own_id()
    number: Mapped[int]
    body: Mapped[str]
    made_at: Mapped[datetime]
    made_by: Mapped[str | None] = reference("staff.id")  # None: it came with the service


class SafetyChecklist(Table):
    """The points to go through before a car is run. Append-only; the highest number is in force."""

    __tablename__ = "safety_checklist"
    __table_args__ = (UniqueConstraint("number"), *positive("number"), STRICT)
    id: Mapped[str] = own_id()
    number: Mapped[int]
    points: Mapped[list[str]] = mapped_column(JsonText())
    made_at: Mapped[datetime]
    made_by: Mapped[str | None] = reference("staff.id")  # None: it came with the service


class SafetySigning(Table):
    """Somebody went through the checklist, for one car in one cell. Append-only.

    `signed_at` is what counts: the shop's own clock when it arrived, or what stood on paper that was written up later.
    """

    __tablename__ = "safety_signing"
    __table_args__ = (
        rule("never_ahead", "signed_at <= received_at"),
        Index(None, "ticket_id", "signed_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    cell_id: Mapped[str | None] = reference("cell.id")  # None: of before signings named a cell; holds for any
    checklist_id: Mapped[str | None] = reference("safety_checklist.id")  # None: of before lists were kept
    points: Mapped[list[dict[str, object]]] = mapped_column(JsonText())  # [{"done", "note"}] in the list's order
    note: Mapped[str] = mapped_column(default="")
    signed_at: Mapped[datetime]
    received_at: Mapped[datetime]
    device_at: Mapped[datetime | None]  # what the signing device's own clock said
    signed_by: Mapped[str] = reference("staff.id")


class Picture(Table):
    """A picture as it is kept: drawn anew from what was sent, so it holds nothing but what can be seen."""

    __tablename__ = "picture"
    __table_args__ = (length("sha256", 64, 64), *positive("width_px", "height_px"), STRICT)
    sha256: Mapped[str] = mapped_column(primary_key=True)  # of `jpeg`
    width_px: Mapped[int]
    height_px: Mapped[int]
    jpeg: Mapped[bytes] = mapped_column(blob())
    thumbnail: Mapped[bytes] = mapped_column(blob())  # JPEG too
    made_at: Mapped[datetime]


class TicketPhoto(Table):
    """A photo of the car on a ticket. One that should not be there is set aside with a reason."""

    __tablename__ = "ticket_photo"
    __table_args__ = (
        UniqueConstraint("ticket_id", "sha256"),
        length("sent_sha256", 64, 64),
        rule("reason_when_set_aside", "(set_aside_at IS NULL) = (set_aside_reason IS NULL)"),
        rule("person_when_set_aside", "(set_aside_at IS NULL) = (set_aside_by IS NULL)"),
        *positive("version"),
        Index(None, "made_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    sha256: Mapped[str] = mapped_column(ForeignKey("picture.sha256", ondelete="RESTRICT"), index=True)
    sent_sha256: Mapped[str]  # of the file that was sent, which is not kept
    file_name: Mapped[str]
    caption: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    set_aside_at: Mapped[datetime | None]
    set_aside_by: Mapped[str | None] = reference("staff.id")
    set_aside_reason: Mapped[str | None]
    version: Mapped[int] = mapped_column(default=1)
