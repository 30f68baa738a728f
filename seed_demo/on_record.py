"""What the service holds already, by what each record is known by; what is missing is made, nothing is made twice."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from seed_demo.dialects import DIALECTS, Dialect
from seed_demo.people import Customer
from seed_demo.plans import Job, Reading, Vehicle
from seed_demo.rollers import CELLS, CalibrationPlan, CellPlan
from seed_demo.speaking import Facts, Voice
from seed_demo.story_calibration import evidence_behind


class OnRecord:
    """Looked up once at the start, kept up with what is added."""

    def __init__(self, owner: Voice, desk: Voice) -> None:
        self._owner, self._desk = owner, desk
        there = list(owner.every("/cells"))
        self.cells = {plan.name: one["id"] for plan in CELLS for one in there if one["altitude_m"] == plan.altitude_m}
        # two marks for each: whoever tries the demo may mend one of them, and it is still the same record
        self._customers = _by_marks(desk.every("/customers"), "email", "phone")
        self._vehicles = _by_marks(desk.every("/vehicles"), "vin", "plate")
        self._readings = {(one["cell_id"], instant(one["read_at"])) for one in desk.every("/weather")}
        self._tickets = {(one["vehicle_id"], one["asked"]): one["id"] for one in desk.every("/tickets")}

    def cells_and_calibrations(self, noon: Mapping[int, datetime]) -> None:
        """Both cells with everything that was ever in force; `noon` gives the instant for so many days ago."""
        for cell in CELLS:
            if cell.name not in self.cells:
                body = {"name": cell.name, "drive": cell.drive, "has_brake": cell.has_brake}
                body |= {"altitude_m": cell.altitude_m, "notes": cell.notes}
                self.cells[cell.name] = self._owner.post("/cells", body)["id"]
            path = f"/cells/{self.cells[cell.name]}/calibrations"
            known = {instant(one["valid_from"]) for one in self._owner.every(path)}
            for plan in cell.calibrations:
                valid_from = noon[plan.from_days_ago]
                if valid_from not in known:
                    made_from = evidence_behind(self._owner, self.cells[cell.name], cell, plan, valid_from)
                    self._owner.post(path, calibration_body(cell, plan, valid_from) | made_from)

    def channel_maps(self, tuner: Voice) -> dict[str, str]:
        """Dialect → id of the map that settles what its headings leave open."""
        there = {one["name"]: one["id"] for one in tuner.every("/channel-maps")}
        for dialect in DIALECTS.values():
            if dialect.map_name and dialect.map_name not in there:
                there[dialect.map_name] = tuner.post("/channel-maps", map_body(dialect))["id"]
        return {key: there[dialect.map_name] for key, dialect in DIALECTS.items() if dialect.map_name}

    def reading(self, reading: Reading) -> None:
        """One line of the weather log."""
        cell_id = self.cells[reading.cell.name]
        if (cell_id, reading.read_at) in self._readings:
            return
        body = {"cell_id": cell_id, "read_at": reading.read_at.isoformat(), "source": reading.source}
        body |= {"air_temperature_c": reading.air_temperature_c, **reading.pressure, **reading.humidity}
        self._desk.post("/weather", body)
        self._readings.add((cell_id, reading.read_at))

    def ticket(self, job: Job) -> Facts:
        """The whole ticket of this job, opened if nobody has yet."""
        customer_id = self._customer(job.vehicle.customer)
        vehicle_id = self._vehicle(job.vehicle, customer_id)
        key = (vehicle_id, job.plan.asked)
        if key in self._tickets:
            return self._desk.get(f"/tickets/{self._tickets[key]}")
        body = {
            "customer_id": customer_id,
            "vehicle_id": vehicle_id,
            "asked": job.plan.asked,
            "cell_id": self.cells[job.plan.cell.name],
            "booked_from": job.booked_from.isoformat(),
            "booked_to": job.booked_to.isoformat(),
            "odometer_km": job.odometer_km,
            "notes": job.plan.notes,
            "opened_at": job.opened_at.isoformat(),
            "waiver_name": "" if job.plan.state in ("booked", "cancelled") else job.vehicle.customer.full_name,
        }
        ticket = self._desk.post("/tickets", body)
        self._tickets[key] = ticket["id"]
        return ticket

    def _customer(self, customer: Customer) -> str:
        found = self._customers.get(customer.email) or self._customers.get(customer.phone)
        if found is None:
            found = str(self._desk.post("/customers", asdict(customer))["id"])
            self._customers[customer.email] = found
        return found

    def _vehicle(self, vehicle: Vehicle, customer_id: str) -> str:
        found = self._vehicles.get(vehicle.vin) or self._vehicles.get(vehicle.plate)
        if found is None:
            found = str(self._desk.post("/vehicles", vehicle_body(vehicle, customer_id))["id"])
            self._vehicles[vehicle.vin] = found
        return found


def map_body(dialect: Dialect) -> Facts:
    """Which column of such a file is what, as the tuner settled it."""
    columns = zip(dialect.columns, dialect.map_units, strict=True)
    lines = [{"header": column.heading, "quantity": column.channel, "unit": unit} for column, unit in columns]
    return {"name": dialect.map_name, "columns": lines}


def _by_marks(records: Iterable[Facts], *marks: str) -> dict[str, str]:
    return {one[mark]: one["id"] for one in records for mark in marks if one[mark]}


def instant(text: str) -> datetime:
    """An answered time as an instant."""
    return datetime.fromisoformat(text)


def calibration_body(cell: CellPlan, plan: CalibrationPlan, valid_from: datetime) -> dict[str, Any]:
    """The cell's constants as the owner writes them down."""
    roller = plan.roller
    body: dict[str, Any] = {
        "valid_from": valid_from.isoformat(),
        "inertia_kg_m2": roller.inertia_kg_m2,
        "inertia_u_kg_m2": plan.inertia_u_kg_m2,
        "roller_radius_m": roller.radius_m,
        "roller_radius_u_m": 0.0002,
        "pulses_per_turn": plan.pulses_per_turn,
        "loss_c0_nm": roller.c0_nm,
        "loss_c1_nm_s": roller.c1_nm_s,
        "loss_c2_nm_s2": roller.c2_nm_s2,
        "loss_u_nm": plan.loss_u_nm,
        "reason": plan.reason,
        "evidence": plan.evidence,
    }
    if cell.brake_arm_m is not None:
        body |= {"brake_arm_m": cell.brake_arm_m, "brake_arm_u_m": 0.0003, "brake_scale_u": 0.002}
    return body


def vehicle_body(vehicle: Vehicle, customer_id: str) -> dict[str, Any]:
    """The car as the desk writes it down."""
    model = vehicle.model
    return {
        "customer_id": customer_id,
        "make": model.make,
        "model": model.name,
        "model_year": vehicle.model_year,
        "plate": vehicle.plate,
        "vin": vehicle.vin,
        "engine": model.engine_words,
        "displacement_l": model.displacement_l,
        "ignition": model.ignition,
        "aspiration": model.aspiration,
        "holds_own_boost": model.holds_own_boost,
        "fuel": model.fuel,
        "drive": model.drive,
        "mass_kg": model.mass_kg,
        "engine_turns_per_roller_turn": model.car.turns,
        "fuel_per_litre_cycle_mg": model.fuel_per_litre_cycle_mg,
    }
