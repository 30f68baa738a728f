"""Files of invented coast-downs in the furnished shop's cell, from the closed motion of known losses."""

from typing import Any

import numpy as np

from tests.furnishing import START
from tests.measure.made_coasts import LIGHT, Rollers, motion


def coast_csv(rollers: Rollers = LIGHT, seed: int = 1, top_rad_s: float = 150.0, **added: float) -> bytes:
    """Speed in rad/s at 20 Hz with a little noise; `torque_nm` or `inertia_kg_m2` may be added."""
    chance = np.random.default_rng(seed)
    time, speed, _ = motion(rollers, top_rad_s, 0.2 * top_rad_s, 20.0, **added)
    speed = speed + 0.03 * chance.standard_normal(len(time))
    rows = "\n".join(f"{t:.3f},{w:.5f}" for t, w in zip(time, speed, strict=True))
    return f"Time [s],Roller speed [rad/s]\n{rows}\n".encode()


def send_evidence(client: Any, house: Any, data: bytes, **changes: Any) -> Any:
    """File it as a bare coast-down of the furnished cell, unless told otherwise."""
    asked = {"kind": "coast_down", "taken_at": START.isoformat(), "file_name": "coast 1.csv", **changes}
    cell_id = asked.pop("cell_id", house.cell_id)
    return client.post(
        f"/api/v1/cells/{cell_id}/calibration-evidence",
        params=asked,
        content=data,
        headers={"Content-Type": "text/csv"},
    )


def weights(**changes: Any) -> dict[str, Any]:
    """Five weights on an arm of 0.35 m, up and down, read by a cell that shows 2 % too little."""
    masses = [0.0, 10.0, 20.0, 40.0, 60.0]
    steps = [
        {"mass_kg": mass, "reading": round(mass * 9.80665 * 0.35 / 1.02, 6), "rising": rising}
        for rising, order in ((True, masses), (False, masses[::-1]))
        for mass in order
    ]
    told = {"kind": "brake_weights", "taken_at": START.isoformat(), "arm_m": 0.35, "arm_u_m": 0.0005, "steps": steps}
    return {**told, **changes}
