"""Vehicles: the cars, as far as their measurement and their owners need them described."""

from typing import Annotated, Any, Literal

from fastapi import Path, Query, Response
from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.listing import Cursor, Find, Limit, page
from pullbook.api.shaping import UNSET, Answer, Asked, Id, Instant, Line, Name, Words, changes_of
from pullbook.db.tables import Customer, Vehicle
from pullbook.deps import Desk, Now, ReadSession, SignedIn, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.coming_back import refuse_forgotten, refuse_unknown_or_forgotten
from pullbook.shop.searching import findable
from pullbook.shop.spotting import vehicles_with
from pullbook.shop.vin import tidy, vin_warning

router = LateRouter(prefix="/api/v1/vehicles", tags=["vehicles"])
VehicleId = Annotated[str, Path(description="The vehicle's id.")]

Ignition = Literal["spark", "compression"]
Aspiration = Literal["natural", "mechanical", "turbo"]
Fuel = Literal["petrol", "e10", "e85", "ethanol", "methanol", "diesel", "lpg", "cng"]
Drive = Literal["two_wheel", "all_wheel"]
ModelYear = Annotated[int, Field(ge=1885, le=2200)]
Displacement = Annotated[float, Field(ge=0.01, le=30, description="Swept volume in litres.")]
Mass = Annotated[float, Field(gt=0, le=60_000, description="With fluids and driver, in kg.")]
Ratio = Annotated[
    float, Field(gt=0, le=200, description="Engine turns for one roller turn, in the gear usually pulled in.")
]
FuelMass = Annotated[
    float, Field(gt=0, le=1000, description="Fuel in mg for each litre of swept volume and cycle, for diesel factors.")
]


class VehicleFields(Asked):
    """What describes a car."""

    make: Name
    model: Name
    model_year: ModelYear | None = None
    plate: Line = ""
    vin: Line = ""
    engine: Line = ""
    displacement_l: Displacement | None = None
    ignition: Ignition = "spark"
    aspiration: Aspiration = "natural"
    holds_own_boost: bool = False
    fuel: Fuel = "petrol"
    drive: Drive = "two_wheel"
    mass_kg: Mass | None = None
    engine_turns_per_roller_turn: Ratio | None = None
    fuel_per_litre_cycle_mg: FuelMass | None = None
    notes: Words = ""


class NewVehicle(VehicleFields):
    """A car and whose it is."""

    customer_id: Id


class VehicleChange(Asked):
    """What to change; `version` is the one last read."""

    version: int
    customer_id: Id = UNSET
    make: Name = UNSET
    model: Name = UNSET
    model_year: ModelYear | None = UNSET
    plate: Line = UNSET
    vin: Line = UNSET
    engine: Line = UNSET
    displacement_l: Displacement | None = UNSET
    ignition: Ignition = UNSET
    aspiration: Aspiration = UNSET
    holds_own_boost: bool = UNSET
    fuel: Fuel = UNSET
    drive: Drive = UNSET
    mass_kg: Mass | None = UNSET
    engine_turns_per_roller_turn: Ratio | None = UNSET
    fuel_per_litre_cycle_mg: FuelMass | None = UNSET
    notes: Words = UNSET


class VehicleAnswer(Answer):
    """A vehicle on record. `vin_warning` says in words why its VIN is questionable; null when it is not."""

    id: str
    customer_id: str
    customer_name: str
    make: str
    model: str
    model_year: int | None
    plate: str
    vin: str
    vin_warning: str | None
    engine: str
    displacement_l: float | None
    ignition: Ignition
    aspiration: Aspiration
    holds_own_boost: bool
    fuel: Fuel
    drive: Drive
    mass_kg: float | None
    engine_turns_per_roller_turn: float | None
    fuel_per_litre_cycle_mg: float | None
    notes: str
    made_at: Instant
    version: int


class VehicleList(Answer):
    """A page of vehicles, newest first."""

    items: list[VehicleAnswer]
    next: str | None


SELECTED = select(
    *(getattr(Vehicle, name) for name in VehicleAnswer.model_fields if name not in ("customer_name", "vin_warning")),
    Customer.full_name.label("customer_name"),
).join(Customer, Customer.id == Vehicle.customer_id)


def _answer(row: Any) -> dict[str, Any]:
    return {**row._mapping, "vin_warning": vin_warning(row.vin)}


def one(session: Session, vehicle_id: str) -> dict[str, Any]:
    """A vehicle as answered; NotFound when there is none."""
    row = session.execute(SELECTED.where(Vehicle.id == vehicle_id)).one_or_none()
    if row is None:
        raise NotFound(f"There is no vehicle {vehicle_id}.")
    return _answer(row)


def _found_by(row: Vehicle) -> str:
    return findable(row.plate, row.vin, row.make, row.model, row.model_year, row.engine)


def _refuse_naming_the_forgotten(session: Session, row: Vehicle, changes: dict[str, Any]) -> None:
    """A car stays with its pulls and is put right, but tells no more whose it was; a new owner is said first."""
    holder = changes.get("customer_id", row.customer_id)
    if holder != row.customer_id:
        refuse_unknown_or_forgotten(session, holder)
        return
    told = next((field for field in ("plate", "vin", "notes") if changes.get(field)), None)
    if told:
        erased_at = session.execute(select(Customer.erased_at).where(Customer.id == holder)).scalar_one()
        refuse_forgotten(erased_at, told, changes[told])


@router.post("", status_code=201, summary="Add a vehicle", response_model=VehicleAnswer)
def add(asked: NewVehicle, person: Desk, session: WriteSession, now: Now) -> Response:
    """A VIN whose check digit does not fit is taken all the same, with a warning beside it."""
    refuse_unknown_or_forgotten(session, asked.customer_id)
    row = Vehicle(**{**asked.model_dump(), "vin": tidy(asked.vin)}, made_at=now, found_by="")
    row.found_by = _found_by(row)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, asked.model_dump(), "vehicle")
    return Json(one(session, row.id), 201)


@router.get("", summary="Find vehicles", response_model=VehicleList)
def several(
    person: SignedIn,
    session: ReadSession,
    find: Find = None,
    customer_id: Annotated[str | None, Query(description="Only this customer's.")] = None,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """By plate, VIN, make, model or year as it is typed: every word must occur."""
    statement = vehicles_with(session, SELECTED, find or "")
    if customer_id is not None:
        statement = statement.where(Vehicle.customer_id == customer_id)
    rows, following = page(session, statement, [Vehicle.id], cursor, limit)
    return Json({"items": [_answer(row) for row in rows], "next": following})


@router.get("/{vehicle_id}", summary="One vehicle", response_model=VehicleAnswer)
def get(vehicle_id: VehicleId, person: SignedIn, session: ReadSession) -> Response:
    """As it is on record now."""
    return Json(one(session, vehicle_id))


@router.patch("/{vehicle_id}", summary="Change a vehicle", response_model=VehicleAnswer)
def change(vehicle_id: VehicleId, asked: VehicleChange, person: Desk, session: WriteSession, now: Now) -> Response:
    """Only the fields sent; 409 when somebody changed it meanwhile."""
    row, changes = locked(session, Vehicle, vehicle_id, "vehicle"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "vehicle")
    _refuse_naming_the_forgotten(session, row, changes)
    if "vin" in changes:
        changes["vin"] = tidy(changes["vin"])
    if apply(session, now, person.id, row, changes, "vehicle"):
        row.found_by = _found_by(row)
    session.flush()
    return Json(one(session, vehicle_id))
