"""People who want to be forgotten."""

from datetime import datetime

from sqlalchemy.orm import Mapped, mapped_column

from pullbook.db.schema import STRICT, Table, own_id, reference


class Erasure(Table):
    """A customer's identity was taken out: who asked for it to be done, and when. Append-only; names nobody."""

    __tablename__ = "erasure"
    __table_args__ = (STRICT,)
    id: Mapped[str] = own_id()
    customer_id: Mapped[str] = reference("customer.id", index=True)
    erased_at: Mapped[datetime]
    erased_by: Mapped[str | None] = reference("staff.id", nullable=True)  # None: by the shop's own term, or once more
    reason: Mapped[str] = mapped_column(default="")
