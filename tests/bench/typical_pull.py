"""Files as loggers write them, made by the forward model: a typical pull and a large one."""

from functools import cache
from typing import Any

import numpy as np

from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import RPM, Car, Engine, Pull, Roller, Run, roller_for_sweep_of
from seed_demo.shapes import Floats, lines, smooth

# heading, how many decimals
TYPICAL = (
    ("Time (s)", 3),
    ("Roller Speed (rev/min)", 2),
    ("Engine Speed (rpm)", 0),
    ("Brake Torque (Nm)", 1),
    ("Throttle (%)", 1),
    ("Lambda", 3),
    ("Lambda Target", 3),
    ("Manifold Absolute Pressure (kPa)", 1),
    ("Intake Temperature (°C)", 1),
    ("Coolant Temperature (°C)", 1),
    ("Oil Temperature (°C)", 1),
    ("Ignition Advance (°)", 1),
)
MORE = tuple((f"Aux {number}", 2) for number in range(1, 9))
ENGINE = Engine(smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222), (5500, 210), (6500, 180), (7000, 160)))
BRAKED = Roller(brake_nm=lines((0.0, 20.0), (70.0, 60.0), (140.0, 90.0)))
CELL: dict[str, Any] = {  # the roller's constants, as the API takes a calibration
    "valid_from": "2026-01-05T08:00:00+01:00",
    "inertia_u_kg_m2": 0.1,
    "roller_radius_u_m": 0.0003,
    "loss_u_nm": 0.1,
    "brake_arm_m": 0.35,
    "brake_arm_u_m": 0.0005,
}


@cache
def run_lasting(whole_s: float) -> Run:
    """A pull that takes this long from the first sample to the last."""
    car, pull = Car(ENGINE, turns=5.0), Pull(longest_s=90.0)
    sweep_s = whole_s - pull.steady_s - pull.coast_s - pull.open_s + 0.05
    return Run(car, roller_for_sweep_of(sweep_s, car, BRAKED, pull), pull)


def calibration_of(run: Run) -> dict[str, Any]:
    """The calibration that belongs to a run's roller."""
    roller = run.roller
    return {
        **CELL,
        "inertia_kg_m2": roller.inertia_kg_m2,
        "roller_radius_m": roller.radius_m,
        "loss_c0_nm": roller.c0_nm,
        "loss_c1_nm_s": roller.c1_nm_s,
        "loss_c2_nm_s2": roller.c2_nm_s2,
    }


def channels_of(run: Run, rate_hz: float, rows: int, seed: int) -> dict[str, Floats]:
    """Channels in inside units, exactly so many samples."""
    instruments = Instruments(rate_hz=rate_hz, speed_noise_rev_min=0.4, engine_speed_noise_rpm=4.0, lambda_noise=0.004)
    seen = {name: values[:rows] for name, values in record(run, instruments, seed).items()}
    assert len(seen["time_s"]) == rows, f"{len(seen['time_s'])} samples where {rows} were wanted"
    return seen


def typical_channels(seed: int = 0) -> dict[str, Floats]:
    """15 s at 200 Hz."""
    return channels_of(run_lasting(15.0), 200.0, 3000, seed)


@cache
def typical_file(seed: int = 0) -> bytes:
    """15 s × 200 Hz × 12 columns: some 190 kB of text."""
    return as_text(typical_channels(seed), TYPICAL, seed)


@cache
def large_file(seed: int = 0) -> bytes:
    """60 s × 1 000 Hz × 20 columns: some 6 to 7 MB of text."""
    return as_text(channels_of(run_lasting(60.0), 1000.0, 60_000, seed), TYPICAL + MORE, seed)


def as_text(seen: dict[str, Floats], columns: tuple[tuple[str, int], ...], seed: int) -> bytes:
    """Comma-separated text with a heading."""
    chance = np.random.default_rng(seed)
    rows = len(seen["time_s"])
    wander = np.cumsum(chance.normal(0.0, 0.02, (12, rows)), axis=1)
    table = [
        seen["time_s"],
        seen["roller_speed_rad_s"] * RPM,
        seen["engine_speed_rpm"],
        seen["brake_torque_nm"] + chance.normal(0.0, 0.2, rows),
        seen["throttle_pct"],
        seen["lambda_measured"],
        seen["lambda_commanded"],
        seen["manifold_pressure_kpa"],
        seen["intake_temperature_c"] + 0.1 * wander[0],
        88.0 + wander[1],
        94.0 + wander[2],
        18.0 + seen["engine_speed_rpm"] / 400.0 + 0.1 * wander[3],
        *(50.0 + wander[4:]),
    ][: len(columns)]
    formats = [f"%.{decimals}f" for _, decimals in columns]
    line = ",".join(formats) + "\n"
    body = "".join([line % row for row in zip(*(column.tolist() for column in table), strict=True)])
    return (",".join(heading for heading, _ in columns) + "\n" + body).encode()
