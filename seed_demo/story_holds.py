"""The car that is mapped: new injectors on the old map, held at speeds and driven at part throttle, then put right."""

from dataclasses import replace

from seed_demo.fleet import FEN, stronger
from seed_demo.holding_run import HoldPlan
from seed_demo.plans import JobPlan, SetupPlan
from seed_demo.rollers import VALLEY
from seed_demo.rolling_road import Car
from seed_demo.shapes import Shape, level, lines

LEAN_MIDDLE = lines((1800.0, -0.02), (2600.0, 0.01), (3400.0, 0.075), (4200.0, 0.08), (5200.0, 0.02), (6500.0, -0.03))
BY_THROTTLE = lines((0.0, 0.3), (0.35, 0.5), (0.6, 1.0), (0.8, 1.0), (1.0, 0.0))
NEARLY_RIGHT = level(0.006)
FULL_LOAD = lines(
    (1800.0, 0.985), (2600.0, 1.0), (3600.0, 1.022), (4000.0, 1.034), (4400.0, 1.022), (5400.0, 1.0), (6600.0, 0.98)
)
STEPS_RPM = (2500.0, 3000.0, 3500.0, 4000.0, 4500.0, 5000.0, 5500.0)
EACH_S, BETWEEN_S = 9.0, 2.2


def _steps() -> Shape:
    """One speed after another, each for as long."""
    points = [(0.0, STEPS_RPM[0])]
    for number, rpm in enumerate(STEPS_RPM[1:], 1):
        points += [(EACH_S * number, STEPS_RPM[number - 1]), (EACH_S * number + BETWEEN_S, rpm)]
    return lines(*points, (EACH_S * len(STEPS_RPM), STEPS_RPM[-1]))


def _held(wrong: Shape) -> tuple[tuple[str, HoldPlan], ...]:
    """A hold in steps at full throttle, then two runs up and down at part throttle."""
    up_and_down = lines((0, 2000), (3, 2000), (38, 5600), (41, 5600), (76, 2000), (79, 2000))
    steps = HoldPlan(
        _steps(),
        level(1.0),
        EACH_S * len(STEPS_RPM),
        hunts=0.001,
        intake_over_k=FEN.standing_k,
        intake_rise_k_per_s=0.12,
    )
    full = replace(steps, wrong_by_speed=wrong, wrong_by_throttle=BY_THROTTLE, eased=True)
    runs = [
        replace(full, target_rpm=up_and_down, lasts_s=79.0, throttle=lines((0, low), (39, low), (40, high), (79, high)))
        for low, high in ((0.40, 0.55), (0.65, 0.80))
    ]
    return (("hold", full), *(("part_throttle", run) for run in runs))


def _fuelled(car: Car, error: Shape) -> Car:
    return replace(car, engine=replace(car.engine, lambda_error=error))


def hold_stories() -> list[JobPlan]:
    """One ticket: before and after the map was put right."""
    right = stronger(FEN.car, 1.004)
    return [
        JobPlan(
            "maps-the-fuel", 17, 9.0, VALLEY, FEN, 19, "Larger injectors fitted elsewhere. Map the fuel for them.",
            (
                SetupPlan("Injectors on the old map", _fuelled(FEN.car, FULL_LOAD), 6, "Injectors of 1.18 times the "
                          "flow, scaled by that figure alone", fuel="98 octane", held=_held(LEAN_MIDDLE)),
                SetupPlan("Fuel map put right", right, 6, "Cells corrected by the map's multipliers, lean ones first",
                          fuel="98 octane", held=_held(NEARLY_RIGHT)),
            ),
            notes="Part throttle first: it was eight per cent lean in the middle.",
        ),
    ]  # fmt: skip
