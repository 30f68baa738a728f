"""Small look-ups that several pages share: cells, a customer, a car."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.tables import Cell, Customer, Vehicle
from pullbook.errors import NotFound
from pullbook.pages.desk_shown import CellBrief, CustomerBrief, VehicleBrief


def vehicle_title(model_year: int | None, make: str, model: str) -> str:
    """Year, make and model in one line."""
    return " ".join(str(part) for part in (model_year, make, model) if part)


def cells(session: Session) -> tuple[CellBrief, ...]:
    """Every cell, by name."""
    rows = session.execute(select(Cell.id, Cell.name, Cell.drive, Cell.has_brake, Cell.altitude_m).order_by(Cell.name))
    return tuple(CellBrief(*row) for row in rows)


def customer_brief(session: Session, customer_id: str | None) -> CustomerBrief | None:
    """A customer by id; None for None, NotFound for an unknown one."""
    if customer_id is None:
        return None
    row = session.execute(
        select(Customer.id, Customer.full_name, Customer.phone, Customer.email).where(Customer.id == customer_id)
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such customer.")
    return CustomerBrief(*row)


def vehicle_brief(session: Session, vehicle_id: str) -> VehicleBrief:
    """A car by id; NotFound for an unknown one."""
    row = session.execute(
        select(Vehicle.id, Vehicle.customer_id, Vehicle.model_year, Vehicle.make, Vehicle.model, Vehicle.plate).where(
            Vehicle.id == vehicle_id
        )
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such vehicle.")
    return VehicleBrief(row.id, row.customer_id, vehicle_title(row.model_year, row.make, row.model), row.plate)
