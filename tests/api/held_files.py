"""Files of invented holds: the roller stands at one speed after another, so that its power is known in closed form."""

from typing import Any

import numpy as np

from tests.api.pull_files import RATIO
from tests.furnishing import CALIBRATION

HEADINGS = (
    "Time [s]",
    "Roller speed [rad/s]",
    "Engine speed [rpm]",
    "Brake torque [Nm]",
    "Throttle [%]",
    "Lambda",
    "Lambda target",
    "Manifold absolute pressure [kPa]",
)


def steps_csv(*steps: tuple[float, float, float, float, float], each_s: float = 10.0, hertz: float = 50.0) -> bytes:
    """One plateau of ten seconds after another: roller rad/s, brake N·m, throttle %, λ measured, manifold kPa.

    λ wanted is 0.9 throughout. The last two columns are left out where the first step's manifold pressure is 0.
    """
    rows = round(each_s * hertz)
    held = np.repeat(np.array(steps), rows, axis=0)
    time = np.arange(len(held)) / hertz
    speed, brake, throttle, measured, pressure = held.T
    columns = [time, speed, speed * RATIO * 30.0 / np.pi, brake, throttle, measured, np.full(len(held), 0.9), pressure]
    shown = columns if steps[0][4] else columns[:6]
    lines = "\n".join(",".join(f"{value:.6f}" for value in row) for row in np.column_stack(shown))
    return (",".join(HEADINGS[: len(shown)]) + "\n" + lines + "\n").encode()


def held_power_w(roller_rad_s: float, brake_nm: float) -> float:
    """What the house's cell must find at a plateau."""
    loss = CALIBRATION["loss_c0_nm"] + roller_rad_s * (
        CALIBRATION["loss_c1_nm_s"] + roller_rad_s * CALIBRATION["loss_c2_nm_s2"]
    )
    return roller_rad_s * (brake_nm * CALIBRATION["brake_scale"] + loss)


def engine_rpm(roller_rad_s: float) -> float:
    """Engine speed at a roller speed, by the ratio that the house's car states."""
    return float(roller_rad_s * RATIO * 30.0 / np.pi)


def problem_fields(answer: Any) -> list[str]:
    """Which fields a refusal names."""
    assert answer.status_code == 422, answer.text
    return [problem["field"] for problem in answer.json()["problems"]]
