"""What a device may do by its token: ask who it is, send a file, send the weather. The token opens nothing else."""

import hashlib
from datetime import datetime, timedelta
from typing import Annotated, Any

from fastapi import Depends, Query, Request, Response
from sqlalchemy import select

from pullbook.api.device_shapes import DeviceReading, DeviceSelf, FileReceipt, ReadingReceipt
from pullbook.api.pull_shapes import Kind
from pullbook.api.receipts import receipt_shown
from pullbook.api.receiving import FILE_BODY, Received, receive
from pullbook.api.shaping import Instant
from pullbook.api.tray import one_in_tray
from pullbook.api.weather import HUMIDITY_KINDS, NewReading, enter
from pullbook.db.tables import WeatherReading
from pullbook.deps import DatabaseDep, DeviceSender, Now, SettingsDep, WriteSession
from pullbook.json_answers import Json
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.shop.attesting import attest, receipt_for
from pullbook.shop.filing import read_file, verify_stored
from pullbook.shop.sending_in import CLOCK_DOUBT_S, Sent, in_tray, lay_in_tray, touch

router = LateRouter(prefix="/api/v1/device", tags=["device"])


@router.get("", summary="Who the token stands for", response_model=DeviceSelf)
def get(sender: DeviceSender, session: WriteSession, now: Now) -> Response:
    """Tried once when a device is connected."""
    touch(session, sender, now)
    told = {"id": sender.id, "name": sender.name, "cell_id": sender.cell_id, "cell_name": sender.cell_name}
    return Json({**told, "now": now})


def sent_of(
    sender: DeviceSender,
    file_name: Annotated[str, Query(min_length=1, max_length=1000, description="What the file is called.")],
    taken_at: Annotated[Instant, Query(description="When the pull was taken, by the device's clock.")],
    now: Now,
    sent_at: Annotated[Instant | None, Query(description="What the device's clock says as it sends.")] = None,
    kind: Annotated[Kind, Query(description="What was done.")] = "sweep",
) -> Sent:
    """What is said of the file, with a clock that is far off put right."""
    ahead_s = None if sent_at is None else (sent_at - now).total_seconds()
    at = taken_at
    if ahead_s is not None and abs(ahead_s) > CLOCK_DOUBT_S:
        at = taken_at - timedelta(seconds=ahead_s)
    return Sent(kind, min(at, now), file_name, ahead_s)


async def sent_file(request: Request, sent: Annotated[Sent, Depends(sent_of)], settings: SettingsDep) -> Received:
    """The body, read only once the token is known to hold."""
    return await receive(request, settings)


@router.post(
    "/pulls",
    status_code=201,
    summary="Send a file",
    response_model=FileReceipt,
    responses={
        200: {"model": FileReceipt, "description": "This very file came from this cell before: the same receipt."},
        413: {"description": "More bytes than are taken; refused before they are read."},
        415: {"description": "Not a kind of file that is read here."},
    },
    openapi_extra=FILE_BODY,
)
def send_file(
    sent: Annotated[Sent, Depends(sent_of)],
    received: Annotated[Received, Depends(sent_file)],
    sender: DeviceSender,
    database: DatabaseDep,
    settings: SettingsDep,
    now: Now,
) -> Response:
    """Kept as it came, read back from disk before this is answered; it waits in the tray for a ticket."""
    with database.reading() as session:
        there = in_tray(session, sender.cell_id, received.sha256)
        if there is not None:
            return Json(_receipt(database, settings, there, now), 200)
    read = read_file(received.data, received.sha256)
    with database.writing() as session:
        tray_id, made = lay_in_tray(session, now, sender, sent, read)
    with database.reading() as session:  # a connection that did not write it
        verify_stored(session, received.sha256)
    return Json(_receipt(database, settings, tray_id, now), 201 if made else 200)


def _receipt(database: DatabaseDep, settings: SettingsDep, tray_id: str, now: Now) -> dict[str, Any]:
    signer = attest(database, settings.signing_key, now)
    with database.reading() as session:
        receipt = receipt_for(session, signer, "tray file", tray_id)
        told = {**one_in_tray(session, tray_id), "receipt": receipt_shown(receipt), "note": receipt.note}
    return {name: told[name] for name in FileReceipt.model_fields}


@dataclass(frozen=True, slots=True)
class Body:
    """The body as it arrived."""

    sha256: str
    size_bytes: int


async def body_of(request: Request) -> Body:
    """Its digest, for the receipt."""
    data = await request.body()
    return Body(hashlib.sha256(data).hexdigest(), len(data))


@router.post(
    "/weather",
    status_code=201,
    summary="Send the weather",
    response_model=ReadingReceipt,
    responses={200: {"model": ReadingReceipt, "description": "This reading came before: the same receipt."}},
)
def send_weather(
    asked: DeviceReading,
    sender: DeviceSender,
    body: Annotated[Body, Depends(body_of)],
    session: WriteSession,
    now: Now,
) -> Response:
    """A reading of the device's own cell; the same reading sent twice is kept once."""
    touch(session, sender, now)
    whole = asked.model_dump() | {"source": asked.source or sender.name, "cell_id": sender.cell_id}
    there = _same_reading(session, sender.cell_id, asked)
    made_at, reading_id = (
        there if there is not None else (now, enter(session, NewReading(**whole), sender.made_by, now))
    )
    told = {"id": reading_id, "sha256": body.sha256, "size_bytes": body.size_bytes, "received_at": made_at}
    return Json(told, 201 if there is None else 200)


def _same_reading(session: WriteSession, cell_id: str, asked: DeviceReading) -> tuple[datetime, str] | None:
    """When the very same was written down, and under which id."""
    field = next(name for name in HUMIDITY_KINDS if getattr(asked, name) is not None)
    row = session.execute(
        select(WeatherReading.made_at, WeatherReading.id).where(
            WeatherReading.cell_id == cell_id,
            WeatherReading.read_at == asked.read_at,
            WeatherReading.air_temperature_c == asked.air_temperature_c,
            WeatherReading.humidity_kind == HUMIDITY_KINDS[field],
            WeatherReading.humidity_value == getattr(asked, field),
        )
    ).first()
    return None if row is None else (row.made_at, row.id)
