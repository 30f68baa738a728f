"""Everything the shop holds about one customer, as a zip that needs no program of ours to be read.

`records.json` holds the rows, `files/` the very bytes of every pull and joined file, `photos/` the pictures, and
`SHA256SUMS` the hash of each in the form that `sha256sum -c` reads. Tokens, codes and other people's records stay out.
"""

import hashlib
import re
import zipfile
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import IO, Any

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.arrival import Picture, SafetySigning, TicketPhoto
from pullbook.db.evidence import AuditEntry, Pull, ResultsLink
from pullbook.db.joined import JoinedFile
from pullbook.db.money import Charge, Payment
from pullbook.db.tables import Customer, Setup, Ticket, TicketStep, Vehicle
from pullbook.db.tuning import TicketLimit, TrackRun
from pullbook.errors import NotFound
from pullbook.shop.filing import raw_bytes

_OF_TICKETS: dict[str, type[Any]] = {
    "ticket_steps": TicketStep,
    "safety_signings": SafetySigning,
    "setups": Setup,
    "pulls": Pull,
    "track_runs": TrackRun,
    "limits": TicketLimit,
    "charges": Charge,
    "payments": Payment,
    "photos": TicketPhoto,
    "results_links": ResultsLink,
}
_SECRET = {"token_hash", "pin_hash", "found_by"}
_READ_ME = """What this is
============
Everything that {shop} keeps about {name}, taken out on {day}.

records.json   every record as it stands: names of fields carry their units
files/         measurement files exactly as they came from the rolling road, and files joined to them
photos/        photos of the car as it came
SHA256SUMS     the hash of each file here; `sha256sum -c SHA256SUMS` checks them
"""


def hand_over(session: Session, customer_id: str, shop_name: str, now: datetime, to: IO[bytes]) -> None:
    """Write the zip into `to`, one file after the other. NotFound where there is no such customer."""
    records = _records(session, customer_id)
    sums: list[str] = []
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in _parts(session, records, shop_name, now):
            made.writestr(zipfile.ZipInfo(name, now.timetuple()[:6]), data, zipfile.ZIP_DEFLATED)
            sums.append(f"{hashlib.sha256(data).hexdigest()}  {name}\n")
        made.writestr(zipfile.ZipInfo("SHA256SUMS", now.timetuple()[:6]), "".join(sums))


def _records(session: Session, customer_id: str) -> dict[str, Any]:
    customer = _rows(session, Customer, Customer.id == customer_id)
    if not customer:
        raise NotFound(f"There is no customer {customer_id}.")
    tickets = _rows(session, Ticket, Ticket.customer_id == customer_id)
    ids = [row["id"] for row in tickets]
    made: dict[str, Any] = {
        "customer": customer[0],
        "vehicles": _rows(session, Vehicle, Vehicle.customer_id == customer_id),
        "tickets": tickets,
        **{name: _rows(session, table, table.ticket_id.in_(ids)) for name, table in _OF_TICKETS.items()},
    }
    pulls = [row["id"] for row in made["pulls"]]
    made["joined_files"] = _rows(session, JoinedFile, JoinedFile.pull_id.in_(pulls))
    about = [customer_id, *ids, *pulls, *(row["id"] for row in made["vehicles"])]
    made["done_to_them"] = [
        {"at": at, "action": action, "record": record, "record_id": record_id}
        for at, action, record, record_id in session.execute(
            select(AuditEntry.at, AuditEntry.action, AuditEntry.record, AuditEntry.record_id)
            .where(AuditEntry.record_id.in_(about))
            .order_by(AuditEntry.number)
        )
    ]
    return made


def _rows(session: Session, table: type[Any], *where: Any) -> list[dict[str, Any]]:
    columns = [column for column in table.__table__.columns if column.name not in _SECRET]
    return [dict(row._mapping) for row in session.execute(select(*columns).where(*where))]


def _parts(session: Session, records: dict[str, Any], shop_name: str, now: datetime) -> Iterator[tuple[str, bytes]]:
    told = _READ_ME.format(shop=shop_name, name=records["customer"]["full_name"], day=now.date().isoformat())
    yield "README.txt", told.encode()
    yield "records.json", orjson.dumps(records, option=orjson.OPT_INDENT_2)
    numbers = {row["id"]: row["number"] for row in records["tickets"]}
    places = {row["id"]: f"ticket-{numbers[row['ticket_id']]}" for row in records["pulls"]}
    for place, row in [(places[row["id"]], row) for row in records["pulls"]] + [
        (places[row["pull_id"]], row) for row in records["joined_files"]
    ]:
        yield f"files/{place}/{row['id']}-{_safe(row['file_name'])}", raw_bytes(session, row["sha256"])
    yield from _photos(session, records["photos"], numbers)


def _photos(session: Session, photos: Sequence[dict[str, Any]], numbers: dict[str, int]) -> Iterator[tuple[str, bytes]]:
    for row in photos:
        picture = session.execute(select(Picture.jpeg).where(Picture.sha256 == row["sha256"])).scalar_one()
        yield f"photos/ticket-{numbers[row['ticket_id']]}/{row['id']}.jpg", picture


def _safe(name: str) -> str:
    """A name that every system can unpack: no path, no device name, no sign that leads elsewhere."""
    return re.sub(r"[^A-Za-z0-9._-]+", "_", name)[-80:].lstrip(".") or "file"
