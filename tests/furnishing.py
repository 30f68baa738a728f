"""A small invented shop, made through the API as people would make it: who works there, and one job on one car."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

START = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)  # a Tuesday; every test's clock begins here


@dataclass(frozen=True)
class StaffMember:
    """Somebody of the shop, and how they sign in."""

    role: str
    sign_in_name: str
    full_name: str
    password: str

    @property
    def sign_in(self) -> dict[str, str]:
        return {"sign_in_name": self.sign_in_name, "password": self.password}


OWNER = StaffMember("owner", "mira", "Mira Okonjo-Lund", "seven quiet rollers turn")
TUNER = StaffMember("tuner", "tadeo", "Tadeo Brandvik", "rich under load lean at idle")
DESK = StaffMember("front_desk", "wren", "Wren Castellane", "the kettle is always on")
READER = StaffMember("read_only", "orla", "Orla Vantongeren", "only looking thank you")
PEOPLE = (OWNER, TUNER, DESK, READER)


@dataclass(frozen=True)
class House:
    """Ids of what stands ready in the furnished shop."""

    cell_id: str
    calibration_id: str
    weather_id: str
    customer_id: str
    vehicle_id: str
    ticket_id: str
    setup_ids: tuple[str, str]

    @property
    def setup_id(self) -> str:
        """The baseline."""
        return self.setup_ids[0]

    @property
    def second_setup_id(self) -> str:
        """What was changed since."""
        return self.setup_ids[1]


def made(answer: Any) -> dict[str, Any]:
    """The body of a 201, or a failure that shows what came instead."""
    asked = f"{answer.request.method} {answer.request.url}"
    assert answer.status_code == 201, f"{asked}: {answer.status_code} {answer.text}"
    return answer.json()


def hire(client: Any, first_token: str) -> None:
    """The first owner by the one-time token, who signs in and takes on the others."""
    first = {
        "token": first_token,
        "sign_in_name": OWNER.sign_in_name,
        "full_name": OWNER.full_name,
        "password": OWNER.password,
        "shop_name": "Quarrystone Motor Works",
        "time_zone": "Europe/Vienna",
    }
    made(client.post("/api/v1/staff/first", json=first))
    sign_in(client, OWNER)
    for person in (TUNER, DESK, READER):
        made(client.post("/api/v1/staff", json={**person.sign_in, "full_name": person.full_name, "role": person.role}))


def sign_in(client: Any, person: StaffMember) -> None:
    """Sign in; the client keeps the cookie."""
    answer = client.post("/api/v1/session", json=person.sign_in)
    assert answer.status_code == 200, answer.text


def furnish(client: Any) -> House:
    """One all-round cell with its calibration and the morning's weather, one customer's car, one ticket, two setups."""
    cell = made(client.post("/api/v1/cells", json=CELL))
    calibration = made(client.post(f"/api/v1/cells/{cell['id']}/calibrations", json=CALIBRATION))
    weather = made(client.post("/api/v1/weather", json={"cell_id": cell["id"], **WEATHER}))
    customer = made(client.post("/api/v1/customers", json=CUSTOMER))
    vehicle = made(client.post("/api/v1/vehicles", json={"customer_id": customer["id"], **VEHICLE}))
    ticket = made(
        client.post(
            "/api/v1/tickets",
            json={"customer_id": customer["id"], "vehicle_id": vehicle["id"], "cell_id": cell["id"], **TICKET},
        )
    )
    setups = [made(client.post(f"/api/v1/tickets/{ticket['id']}/setups", json=setup)) for setup in SETUPS]
    return House(
        cell_id=cell["id"],
        calibration_id=calibration["id"],
        weather_id=weather["id"],
        customer_id=customer["id"],
        vehicle_id=vehicle["id"],
        ticket_id=ticket["id"],
        setup_ids=(setups[0]["id"], setups[1]["id"]),
    )


CELL = {"name": "Cell one", "drive": "two_wheel", "has_brake": True, "altitude_m": 120.0}
CALIBRATION = {
    "valid_from": "2026-01-05T08:00:00+01:00",
    "inertia_kg_m2": 4.2,
    "inertia_u_kg_m2": 0.02,
    "roller_radius_m": 0.318,
    "roller_radius_u_m": 0.0003,
    "pulses_per_turn": 60,
    "loss_c0_nm": 1.8,
    "loss_c1_nm_s": 0.012,
    "loss_c2_nm_s2": 0.00021,
    "loss_u_nm": 0.1,
    "brake_arm_m": 0.35,
    "brake_arm_u_m": 0.0005,
    "brake_scale": 1.0,
    "brake_scale_u": 0.001,
    "brake_zero_nm": 0.0,
    "reason": "First calibration after the bearings were renewed",
    "evidence": "Coast-downs of 2026-01-05, three of three within 0.4 %",
}
WEATHER = {
    "read_at": "2026-03-10T08:50:00+00:00",
    "air_temperature_c": 18.5,
    "station_pressure_kpa": 99.6,
    "relative_humidity_pct": 46.0,
    "source": "Wall instrument",
}
CUSTOMER = {"full_name": "Ilse Marchetti-Vonn", "phone": "+43 1 555 0142", "email": "ilse@customer.example"}
VEHICLE = {
    "make": "Corvane",
    "model": "Stilt 2.0",
    "model_year": 2019,
    "plate": "QX 418 T",
    "engine": "2.0 four, multi-point",
    "displacement_l": 1.998,
    "ignition": "spark",
    "aspiration": "natural",
    "fuel": "petrol",
    "drive": "two_wheel",
    "mass_kg": 1240.0,
    "engine_turns_per_roller_turn": 5.2,
}
TICKET = {"asked": "Does the new intake do anything?"}
SETUPS = (
    {"name": "Baseline", "changed": "", "gear": "4", "tyre_pressure_kpa": 240.0, "fuel": "petrol"},
    {"name": "Intake", "changed": "Wide intake fitted", "gear": "4", "tyre_pressure_kpa": 240.0, "fuel": "petrol"},
)
