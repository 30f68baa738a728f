"""What work costs: the shop's price list, charges on tickets, and what was paid. Whole cents, never floats."""

from datetime import datetime

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from pullbook.db.schema import STRICT, Table, length, not_negative, one_of, own_id, positive, reference, rule

WAYS_TO_PAY = ("cash", "card", "transfer", "other")


class PriceItem(Table):
    """Something the shop sells by the piece or the hour."""

    __tablename__ = "price_item"
    __table_args__ = (
        length("name", 1, 200),
        *not_negative("unit_price_cents"),
        rule("tax_rate_real", "tax_rate_bp BETWEEN 0 AND 10000"),
        *positive("version"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    name: Mapped[str]
    kind_of_work: Mapped[str] = mapped_column(default="")  # what the month's income is told by
    unit: Mapped[str] = mapped_column(default="")  # hour, piece, …: a word beside the quantity
    unit_price_cents: Mapped[int]
    tax_rate_bp: Mapped[int]  # hundredths of a per cent
    retired_at: Mapped[datetime | None]
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    version: Mapped[int] = mapped_column(default=1)


class Charge(Table):
    """A line on a ticket. Its price is its own from then on; a wrong one is struck with a reason, never edited."""

    __tablename__ = "charge"
    __table_args__ = (
        length("name", 1, 200),
        *positive("quantity_milli"),
        rule("tax_rate_real", "tax_rate_bp BETWEEN 0 AND 10000"),
        rule("reason_when_struck", "(struck_at IS NULL) = (struck_reason IS NULL)"),
        rule("person_when_struck", "(struck_at IS NULL) = (struck_by IS NULL)"),
        Index(None, "ticket_id", "made_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    price_item_id: Mapped[str | None] = reference("price_item.id")
    name: Mapped[str]
    kind_of_work: Mapped[str] = mapped_column(default="")
    unit: Mapped[str] = mapped_column(default="")
    quantity_milli: Mapped[int]  # thousandths
    unit_price_cents: Mapped[int]  # below nought for a discount
    tax_rate_bp: Mapped[int]
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    struck_at: Mapped[datetime | None]
    struck_by: Mapped[str | None] = reference("staff.id")
    struck_reason: Mapped[str | None]


class Payment(Table):
    """Money that came in for a ticket, or below nought, went back. A wrong one is struck with a reason."""

    __tablename__ = "payment"
    __table_args__ = (
        one_of("way", *WAYS_TO_PAY),
        rule("something_paid", "amount_cents <> 0"),
        rule("reason_when_struck", "(struck_at IS NULL) = (struck_reason IS NULL)"),
        rule("person_when_struck", "(struck_at IS NULL) = (struck_by IS NULL)"),
        Index(None, "ticket_id", "paid_at"),
        STRICT,
    )
    id: Mapped[str] = own_id()
    ticket_id: Mapped[str] = reference("ticket.id")
    amount_cents: Mapped[int]
    way: Mapped[str]
    paid_at: Mapped[datetime]
    note: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]
    made_by: Mapped[str] = reference("staff.id")
    struck_at: Mapped[datetime | None]
    struck_by: Mapped[str | None] = reference("staff.id")
    struck_reason: Mapped[str | None]
