"""Devices: the cells' own computers, each with a token that can send files and weather and nothing else."""

from typing import Annotated, Any

from fastapi import Path, Response
from sqlalchemy import select

from pullbook.api.editing import locked, record_change
from pullbook.api.shaping import Answer, Asked, Id, Instant, Name
from pullbook.db.senders import Device
from pullbook.db.tables import Cell, Staff
from pullbook.deps import Now, Owner, ReadSession, WriteSession
from pullbook.errors import Clash, FieldProblem, Invalid
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.sending_in import add_device

router = LateRouter(prefix="/api/v1/devices", tags=["devices"])
DeviceId = Annotated[str, Path(description="The device's id.")]


class NewDevice(Asked):
    """A computer beside a cell, by a name that people there know it by."""

    name: Name
    cell_id: Id


class DeviceAnswer(Answer):
    """A device on record. Its token is not kept. `last_used_at` is to the minute."""

    id: str
    name: str
    cell_id: str
    cell_name: str
    made_at: Instant
    made_by_name: str
    last_used_at: Instant | None
    revoked_at: Instant | None


class NewDeviceAnswer(DeviceAnswer):
    """The device just made. `token` is told this once."""

    token: str


class DeviceList(Answer):
    """Every device, newest first, in one list."""

    items: list[DeviceAnswer]
    next: str | None


SELECTED = (
    select(
        *(getattr(Device, name) for name in DeviceAnswer.model_fields if name not in ("cell_name", "made_by_name")),
        Cell.name.label("cell_name"),
        Staff.full_name.label("made_by_name"),
    )
    .join(Cell, Cell.id == Device.cell_id)
    .join(Staff, Staff.id == Device.made_by)
)


def _told(row: Any) -> dict[str, Any]:
    return dict(row._mapping)


@router.post("", status_code=201, summary="Add a device", response_model=NewDeviceAnswer)
def add(asked: NewDevice, person: Owner, session: WriteSession, now: Now) -> Response:
    """Its token is answered once; only its hash is kept. It sends files and weather of its own cell, no more."""
    if session.execute(select(Cell.id).where(Cell.id == asked.cell_id)).one_or_none() is None:
        raise Invalid(
            f"There is no cell {asked.cell_id}.", FieldProblem("cell_id", asked.cell_id, "the id of a cell on record")
        )
    if session.execute(select(Device.id).where(Device.name == asked.name)).one_or_none() is not None:
        raise Clash(f"There is a device called {asked.name} already.", FieldProblem("name", asked.name, "its own name"))
    device_id, token = add_device(session, now, person.id, asked.name, asked.cell_id)
    row = session.execute(SELECTED.where(Device.id == device_id)).one()
    return Json({**_told(row), "token": token}, 201, headers={"Cache-Control": "no-store"})


@router.get("", summary="The devices", response_model=DeviceList)
def several(person: Owner, session: ReadSession) -> Response:
    """Newest first, the revoked ones too."""
    rows = session.execute(SELECTED.order_by(Device.id.desc())).all()
    return Json({"items": [_told(row) for row in rows], "next": None})


@router.delete("/{device_id}", summary="Revoke a device", response_model=DeviceAnswer)
def revoke(device_id: DeviceId, person: Owner, session: WriteSession, now: Now) -> Response:
    """From now on its token is worth nothing; what it sent stays."""
    row = locked(session, Device, device_id, "device")
    if row.revoked_at is None:
        row.revoked_at = now
        session.flush()
        record_change(session, now, person.id, row, {"revoked_at": None}, "device")
    return Json(_told(session.execute(SELECTED.where(Device.id == device_id)).one()))
