"""People who want to be forgotten, and the picture a shop signs its papers with."""

from datetime import datetime

from sqlalchemy.orm import Mapped, mapped_column

from pullbook.db.schema import STRICT, Table, length, own_id, positive, reference, rule
from pullbook.db.stored_types import blob


class Erasure(Table):
    """A customer's identity was taken out: who asked for it to be done, and when. Append-only; names nobody."""

    __tablename__ = "erasure"
    __table_args__ = (STRICT,)
    id: Mapped[str] = own_id()
    customer_id: Mapped[str] = reference("customer.id", index=True)
    erased_at: Mapped[datetime]
    erased_by: Mapped[str | None] = reference("staff.id", nullable=True)  # None: by the shop's own term, or once more
    reason: Mapped[str] = mapped_column(default="")


class ShopLogo(Table):
    """The shop's picture for its papers: drawn anew from what was sent. One row, or none."""

    __tablename__ = "shop_logo"
    __table_args__ = (
        rule("only_one", "id = 1"),
        length("sha256", 64, 64),
        *positive("width_px", "height_px"),
        STRICT,
    )
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    sha256: Mapped[str]  # of `png`
    width_px: Mapped[int]
    height_px: Mapped[int]
    png: Mapped[bytes] = mapped_column(blob())
    made_at: Mapped[datetime]
