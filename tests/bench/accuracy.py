"""How near a reading comes to the truth of the forward model, over many seeds."""

import statistics
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pullbook.measure.correction import Engine as CorrectionEngine
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import Car, Engine, Pull, Roller, Run, roller_for_sweep_of
from seed_demo.shapes import lines, smooth
from tests.bench.rows import Row

SEEDS = 25
ENGINES = {
    "smooth": Engine(smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222), (5500, 210), (6500, 180), (7000, 160))),
    "sharp corners": Engine(lines((1500, 140), (2400, 170), (3000, 240), (5000, 240), (6200, 205), (7000, 150))),
}
SWEEPS = {"6 s": 6.0, "14 s": 14.0}


@dataclass(frozen=True)
class Condition:
    """How it was recorded, what may be used of it, and what must be reached, in per cent."""

    name: str
    instruments: Instruments
    leave_out: tuple[str, ...]
    rms_pct: float
    worst_pct: float | None
    peak_pct: float
    seeds: int = SEEDS


SPEED = ("roller_speed_rad_s", "roller_surface_speed_m_s")
PULSES = ("roller_pulses", "roller_pulse_increments", "roller_surface_speed_m_s")
CONDITIONS = (
    Condition("no noise", Instruments(rate_hz=200.0), PULSES, 0.05, None, 0.05, seeds=1),
    Condition("0.4 rev/min noise at 200 Hz", Instruments(speed_noise_rev_min=0.4), PULSES, 0.25, 0.7, 0.3),
    Condition(
        "60 pulses a turn at 100 Hz",
        Instruments(rate_hz=100.0, pulses_per_turn=60),
        (*SPEED, "roller_pulse_increments"),
        0.7,
        1.5,
        0.6,
    ),
)


def measure() -> Iterator[Row]:
    """A row for each figure of each condition, the worst over engines and sweep lengths."""
    runs = {(engine, sweep): _run(ENGINES[engine], SWEEPS[sweep]) for engine in ENGINES for sweep in SWEEPS}
    for condition in CONDITIONS:
        for (engine, sweep), run in runs.items():
            found = np.array([_errors(run, condition, seed) for seed in range(condition.seeds)])
            where = f"{condition.name}, {sweep}, {engine}"
            targets = (condition.rms_pct, condition.worst_pct, condition.peak_pct)
            for figure, values, target in zip(("rms", "worst point", "peak"), found.T, targets, strict=True):
                if target is not None:
                    worst, middle = float(values.max()), statistics.median(values.tolist())
                    note = f"worst of {condition.seeds} seeds; median {middle:.3g} %" if condition.seeds > 1 else ""
                    yield Row(f"{figure}: {where}", worst, target, "%", note=note)


def _run(engine: Engine, seconds: float) -> Run:
    car, pull = Car(engine, turns=5.0), Pull()
    return Run(car, roller_for_sweep_of(seconds, car, Roller(), pull), pull)


def _errors(run: Run, condition: Condition, seed: int) -> tuple[float, float, float]:
    """rms, worst point and peak, in per cent of the true roller power."""
    first = float(np.random.default_rng(1000 + seed).uniform(0.0, 2.0 * np.pi))
    instruments = Instruments(**{**vars(condition.instruments), "first_pulse_rad": first})
    seen = record(run, instruments, seed)
    channels = {name: values for name, values in seen.items() if name not in condition.leave_out}
    curve = read_sweep(channels, _calibration(run, instruments), None, CORRECTION, SETTINGS)
    start, end = run.sweep_s
    edges = run.at(np.array([start, end])).engine_speed_rpm
    grid = curve.engine_speed_rpm
    tenth = 0.1 * (edges[1] - edges[0])
    middle = (grid >= edges[0] + tenth) & (grid <= edges[1] - tenth)
    wanted = np.arange(np.ceil((edges[0] + tenth) / 50.0), np.floor((edges[1] - tenth) / 50.0) + 1) * 50.0
    if not np.array_equal(grid[middle], wanted):
        raise ValueError(f"the curve misses points of the middle 80 %: {sorted(set(wanted) - set(grid[middle]))}")
    truth = run.at_engine_speed(grid[middle]).roller_power_w
    off = 100.0 * (curve.observed_power_w[middle] / truth - 1.0)
    fine = run.at(np.linspace(start, end, 20_001)).roller_power_w
    peak = 100.0 * abs(curve.headline.peak_power_w.value / fine.max() - 1.0)
    return float(np.sqrt(np.mean(off**2))), float(np.abs(off).max()), float(peak)


def _calibration(run: Run, instruments: Instruments) -> RollerCalibration:
    roller = run.roller
    return RollerCalibration(
        inertia_kg_m2=roller.inertia_kg_m2,
        roller_radius_m=roller.radius_m,
        loss_c0_nm=roller.c0_nm,
        loss_c1_nm_s=roller.c1_nm_s,
        loss_c2_nm_s2=roller.c2_nm_s2,
        pulses_per_turn=instruments.pulses_per_turn,
    )


CORRECTION = CorrectionEngine("spark", "natural")
SETTINGS = SweepSettings(standard="observed", step_rpm=50.0)
