"""Files of invented pulls: a roller that gains speed steadily, so that its power is known in closed form."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from tests.furnishing import CALIBRATION, START

RATIO = 5.2  # engine turns for one roller turn, as the house's car states


@dataclass(frozen=True)
class Steady:
    """Constant acceleration from `start_rad_s`: power is ω·(J·α + losses), exactly."""

    seconds: float = 8.0
    hertz: float = 100.0
    start_rad_s: float = 40.0
    gain_rad_s2: float = 8.0
    headings: tuple[str, ...] = ("Time [s]", "Roller speed [rad/s]", "Engine speed [rpm]", "Lambda", "Throttle [%]")
    lambda_value: float = 0.9

    def csv(self) -> bytes:
        """As a file with commas and points."""
        time = np.arange(round(self.seconds * self.hertz) + 1) / self.hertz
        roller = self.start_rad_s + self.gain_rad_s2 * time
        engine = roller * RATIO * 30.0 / np.pi
        flat = np.ones_like(time)
        columns = np.column_stack([time, roller, engine, self.lambda_value * flat, 100.0 * flat])
        rows = "\n".join(",".join(f"{value:.6f}" for value in row) for row in columns)
        return (",".join(self.headings) + "\n" + rows + "\n").encode()

    def observed_power_w(self, engine_speed_rpm: Any) -> Any:
        """What the house's cell must find at an engine speed."""
        roller = np.asarray(engine_speed_rpm) * np.pi / 30.0 / RATIO
        loss = CALIBRATION["loss_c0_nm"] + CALIBRATION["loss_c1_nm_s"] * roller
        loss = loss + CALIBRATION["loss_c2_nm_s2"] * roller**2
        return roller * (CALIBRATION["inertia_kg_m2"] * self.gain_rad_s2 + loss)


UNCLEAR = Steady(headings=("Time [s]", "A", "B", "C", "D"))
UNCLEAR_COLUMNS = [
    {"header": "Time [s]", "quantity": "time_s", "unit": "s"},
    {"header": "A", "quantity": "roller_speed_rad_s", "unit": "rad_s"},
    {"header": "B", "quantity": "engine_speed_rpm", "unit": "rev_min"},
    {"header": "C", "quantity": "lambda_measured", "unit": "lambda"},
]


def where(house: Any, **changes: Any) -> dict[str, Any]:
    """The query of a filing: the house's baseline in its cell, ten minutes before now."""
    asked = {
        "setup_id": house.setup_id,
        "cell_id": house.cell_id,
        "kind": "sweep",
        "taken_at": (START - timedelta(minutes=10)).isoformat(),
        "file_name": "run 1.csv",
        **changes,
    }
    return {name: value for name, value in asked.items() if value is not None}


def send_pull(client: Any, house: Any, data: bytes, headers: dict[str, str] | None = None, **changes: Any) -> Any:
    """File it on the house's ticket."""
    address = f"/api/v1/tickets/{changes.pop('ticket_id', house.ticket_id)}/pulls"
    told = {"Content-Type": "text/csv", **(headers or {})}
    return client.post(address, params=where(house, **changes), content=data, headers=told)


def filed(client: Any, house: Any, data: bytes, **changes: Any) -> dict[str, Any]:
    """File it, and it must be made and readable."""
    answer = send_pull(client, house, data, **changes)
    assert answer.status_code == 201, answer.text
    kept = answer.json()
    assert kept["state"] == "readable", kept["reason"]
    return kept


def without_engine_speed(data: bytes) -> bytes:
    """The same file from a logger that has no engine speed: its third column is gone."""
    rows = (line.split(b",") for line in data.splitlines())
    return b"".join(b",".join([*row[:2], *row[3:]]) + b"\n" for row in rows)


def forget_ratio(client: Any, house: Any) -> None:
    """Nobody knows how many turns the engine makes for one of the roller any more."""
    vehicle = client.get(f"/api/v1/vehicles/{house.vehicle_id}").json()
    told = {"engine_turns_per_roller_turn": None, "version": vehicle["version"]}
    answer = client.patch(f"/api/v1/vehicles/{house.vehicle_id}", json=told)
    assert answer.status_code == 200, answer.text
