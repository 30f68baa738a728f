"""The shop's two cells: what turns in them, from when on, and what their loggers are like."""

from dataclasses import dataclass, replace

from seed_demo.instruments import Instruments
from seed_demo.rolling_road import Roller
from seed_demo.shapes import lines


@dataclass(frozen=True)
class CalibrationPlan:
    """What holds from a day on, with the shop's own standard uncertainties (k = 1)."""

    from_days_ago: int
    roller: Roller
    inertia_u_kg_m2: float
    loss_u_nm: float
    reason: str
    evidence: str
    pulses_per_turn: int


@dataclass(frozen=True)
class CellPlan:
    """One installation."""

    key: str
    name: str
    drive: str
    has_brake: bool
    altitude_m: float
    notes: str
    calibrations: tuple[CalibrationPlan, ...]
    logger: Instruments
    brake_arm_m: float | None = None

    def roller(self, days_ago: int) -> Roller:
        """What turned in the cell on that day."""
        return next(plan.roller for plan in reversed(self.calibrations) if plan.from_days_ago >= days_ago)


_VALLEY_AS_BUILT = Roller(inertia_kg_m2=58.0, radius_m=0.25, c0_nm=9.6, c1_nm_s=0.055, c2_nm_s2=4.0e-4)
_VALLEY_NEW_BEARINGS = replace(_VALLEY_AS_BUILT, c0_nm=6.9, c1_nm_s=0.048)
_PASS = Roller(inertia_kg_m2=112.0, radius_m=0.30, c0_nm=16.5, c1_nm_s=0.09, c2_nm_s2=7.0e-4)
PART_BRAKE = lines((0.0, 30.0), (60.0, 30.0), (120.0, 95.0), (260.0, 95.0))  # N·m: a road's drag, in corners

VALLEY = CellPlan(
    "valley",
    "Valley cell",
    "two_wheel",
    True,
    120.0,
    "Two-wheel drive, eddy-current brake on a load cell. Door fan at half past the hour.",
    (
        CalibrationPlan(
            400, _VALLEY_AS_BUILT, 0.35, 0.6, "Coast-down and known mass after installation",
            "Twelve coast-downs from 180 km/h, both directions", 60,
        ),
        CalibrationPlan(
            140, _VALLEY_NEW_BEARINGS, 0.35, 0.4, "New roller bearings; losses measured again",
            "Nine coast-downs from 180 km/h, warm rollers", 60,
        ),
    ),
    Instruments(rate_hz=200.0, speed_noise_rev_min=0.25, engine_speed_noise_rpm=4.0, brake_noise_nm=0.8,
                lambda_noise=0.003, pressure_noise_kpa=0.25, temperature_noise_c=0.05),
    brake_arm_m=0.35,
)  # fmt: skip
PASS = CellPlan(
    "pass",
    "Pass cell",
    "all_wheel",
    False,
    1680.0,
    "All-wheel drive, linked rollers, inertia only. The workshop at the old customs post.",
    (
        CalibrationPlan(
            395, _PASS, 0.9, 1.1, "Coast-down and drop-mass test after installation",
            "Eight coast-downs, three drop masses", 96,
        ),
    ),
    Instruments(rate_hz=100.0, speed_noise_rev_min=0.35, engine_speed_noise_rpm=6.0, lambda_delay_s=0.45,
                lambda_noise=0.004, pressure_noise_kpa=0.3, temperature_noise_c=0.06),
)  # fmt: skip
CELLS = (VALLEY, PASS)
