"""The cars of the year: invented makes and models, each with the physics that drives the forward model."""

from dataclasses import dataclass, replace
from math import pi

from seed_demo.rolling_road import Car, Engine
from seed_demo.shapes import Shape, level, lines, smooth

WARM_RETARD = lines((48.0, 0.0), (75.0, 0.11))  # share of torque given away, against intake temperature in °C


@dataclass(frozen=True)
class Model:
    """One make and model, as the desk writes it down and as it drives."""

    make: str
    name: str
    engine_words: str
    displacement_l: float
    aspiration: str
    fuel: str
    drive: str
    mass_kg: float
    gear: str
    from_rpm: float
    to_rpm: float
    car: Car
    years: tuple[int, int]
    ignition: str = "spark"
    fuel_per_litre_cycle_mg: float | None = None
    standing_k: float = 6.0  # intake over outside air, waiting for the pull

    @property
    def holds_own_boost(self) -> bool:
        """Whether its controller makes thin air up."""
        return self.car.engine.holds_own_boost


def _breathing(*points: tuple[float, float], mixture: Shape | None = None, friction: float = 20.0) -> Engine:
    """An engine without boost; corners rounded as cams round them."""
    mixture = mixture or lines((2000.0, 0.93), (3500.0, 0.90), (5000.0, 0.88), (7500.0, 0.87))
    return Engine(smooth(*points), friction_nm=friction, commanded_lambda=mixture, drag_nm=38.0)


def _boosted(
    *points: tuple[float, float], boost: Shape, lag_s: float = 0.25, holds: bool = False, kpa: Shape, warm: float = 9.0
) -> Engine:
    """A turbo engine: boost comes at a corner, a limiter holds torque flat, and the intake warms as it works."""
    return Engine(
        lines(*points),
        boost_nm=boost,
        boost_lag_s=lag_s,
        holds_own_boost=holds,
        commanded_lambda=lines((2000.0, 0.97), (3000.0, 0.885), (4000.0, 0.86), (7000.0, 0.855)),
        best_lambda=0.86,
        retard_share=WARM_RETARD,
        warm_k_per_mj=warm,
        boost_kpa=kpa,
    )


def _diesel(*points: tuple[float, float], boost: Shape, kpa: Shape) -> Engine:
    return Engine(
        lines(*points),
        boost_nm=boost,
        boost_lag_s=0.35,
        friction_nm=30.0,
        drag_nm=60.0,
        commanded_lambda=level(1.25),
        mixture_loss=0.0,
        warm_k_per_mj=6.0,
        boost_kpa=kpa,
    )


LUMEN = Model(
    "Solvane", "Lumen 1.6", "four, 16 valves", 1.6, "natural", "e10", "two_wheel", 1140.0, "third", 2000.0, 6600.0,
    Car(_breathing((1500, 112), (2500, 132), (3500, 146), (4400, 154), (5400, 150), (6200, 136), (6900, 112)),
        turns=4.35, efficiency=0.89, inertia_kg_m2=2.4), (2006, 2016),
)  # fmt: skip
FEN = Model(
    "Tarnwick", "Fen GT", "straight six, 24 valves", 3.0, "natural", "petrol", "two_wheel", 1480.0, "fourth",
    1900.0, 6900.0,
    Car(_breathing((1500, 215), (2600, 262), (3600, 290), (4600, 304), (5600, 294), (6500, 262), (7200, 220),
                   friction=28.0), turns=3.45, efficiency=0.87, inertia_kg_m2=3.4), (2001, 2012),
)  # fmt: skip
PIKE = Model(
    "Brenvar", "Pike 2.0T", "four, single turbo", 2.0, "turbo", "petrol", "two_wheel", 1395.0, "fourth", 2000.0, 6450.0,
    Car(_boosted((1500, 150), (2000, 190), (2750, 335), (5100, 335), (6300, 262), (6700, 225),
                 boost=lines((1600, 0), (2000, 25), (2750, 155), (5100, 155), (6700, 95)),
                 kpa=lines((1600, 4), (2000, 22), (2750, 98), (5100, 104), (6700, 82))),
        turns=3.62, efficiency=0.88, inertia_kg_m2=2.9), (2013, 2022), standing_k=14.0,
)  # fmt: skip
CORBEAU = Model(
    "Mistrelle", "Corbeau 1.4", "four, small turbo", 1.4, "turbo", "e10", "two_wheel", 1205.0, "third", 1900.0, 6100.0,
    Car(_boosted((1400, 120), (1700, 150), (2200, 222), (4300, 222), (5600, 168), (6400, 120),
                 boost=lines((1500, 8), (2200, 100), (4300, 100), (6400, 50)),
                 kpa=lines((1500, 10), (2200, 82), (4300, 86), (6400, 58))),
        turns=4.4, efficiency=0.88, inertia_kg_m2=2.5), (2012, 2020), standing_k=12.0,
)  # fmt: skip
HARE = Model(
    "Brenvar", "Hare R", "four, large turbo, forged", 2.0, "turbo", "petrol", "two_wheel", 1310.0, "fourth",
    2400.0, 7100.0,
    Car(_boosted((1800, 150), (2800, 200), (3700, 455), (5600, 470), (6800, 400), (7400, 330),
                 boost=lines((2000, 5), (2800, 40), (3700, 275), (5600, 290), (7400, 180)), lag_s=0.45,
                 kpa=lines((2000, 5), (2800, 35), (3700, 165), (5600, 172), (7400, 140)), warm=12.0),
        turns=3.3, efficiency=0.87, inertia_kg_m2=3.1), (2008, 2018), standing_k=16.0,
)  # fmt: skip
RIDGE = Model(
    "Ardenko", "Ridge 2.2 D", "four, common rail", 2.2, "turbo", "diesel", "two_wheel", 1720.0, "fourth",
    1350.0, 4350.0,
    Car(_diesel((1000, 200), (1350, 270), (1850, 430), (2700, 430), (3600, 350), (4300, 262), (4600, 190),
                boost=lines((1000, 10), (1850, 210), (3600, 170), (4600, 110)),
                kpa=lines((1000, 6), (1850, 118), (3000, 135), (4600, 112))),
        turns=2.35, efficiency=0.87, inertia_kg_m2=3.8), (2010, 2021), ignition="compression",
    fuel_per_litre_cycle_mg=55.0, standing_k=12.0,
)  # fmt: skip
VANTA = Model(
    "Yulmar", "Vanta AWD", "flat four, turbo", 2.5, "turbo", "petrol", "all_wheel", 1510.0, "fourth", 2200.0, 6500.0,
    Car(_boosted((1800, 175), (2600, 240), (3400, 405), (4900, 400), (6200, 330), (6800, 280),
                 boost=lines((1800, 8), (2600, 60), (3400, 220), (6800, 150)), lag_s=0.35, holds=True,
                 kpa=lines((1800, 6), (2600, 40), (3400, 125), (5000, 128), (6800, 104))),
        turns=4.05, efficiency=0.82, inertia_kg_m2=6.2), (2007, 2019), standing_k=15.0,
)  # fmt: skip
MOOR = Model(
    "Tarnwick", "Moor 3.6", "V6, 24 valves", 3.6, "natural", "petrol", "all_wheel", 1830.0, "third", 1800.0, 6300.0,
    Car(_breathing((1500, 275), (2600, 325), (3700, 348), (4600, 352), (5600, 330), (6300, 292), (6700, 260),
                   friction=32.0), turns=4.5, efficiency=0.80, inertia_kg_m2=7.0), (2009, 2020),
)  # fmt: skip
TREK = Model(
    "Yulmar", "Trek 2.0 D", "four, common rail", 2.0, "turbo", "diesel", "all_wheel", 1690.0, "third", 1400.0, 4250.0,
    Car(_diesel((1000, 170), (1400, 240), (1900, 380), (2800, 380), (3700, 300), (4400, 215), (4700, 160),
                boost=lines((1000, 10), (1900, 180), (3700, 140), (4700, 90)),
                kpa=lines((1000, 6), (1900, 112), (3000, 126), (4700, 100))),
        turns=3.85, efficiency=0.81, inertia_kg_m2=6.6), (2011, 2022), ignition="compression",
    fuel_per_litre_cycle_mg=52.0, standing_k=12.0,
)  # fmt: skip
MODELS = (LUMEN, FEN, PIKE, CORBEAU, HARE, RIDGE, VANTA, MOOR, TREK)


def stronger(car: Car, factor: float, above_rpm: float = 0.0) -> Car:
    """The car after a part: torque multiplied, or, from an engine speed on, bent upwards towards that factor."""
    engine = car.engine
    if above_rpm <= 0.0:
        return replace(car, engine=replace(engine, torque_nm=engine.torque_nm.times(factor)))
    top = engine.torque_nm.knots[-1]
    bent = lines(
        *((rpm, engine.torque_nm(rpm) * _bend(rpm, factor, above_rpm, top)) for rpm in _fine(engine.torque_nm))
    )
    return replace(car, engine=replace(engine, torque_nm=bent))


def _bend(rpm: float, factor: float, above_rpm: float, top: float) -> float:
    share = min(max((rpm - above_rpm) / (0.5 * (top - above_rpm)), 0.0), 1.0)
    return 1.0 + (factor - 1.0) * share * share * (3.0 - 2.0 * share)


def _fine(shape: Shape) -> list[float]:
    """Every knot and enough points between to follow a smooth curve."""
    between = [shape.knots[0] + 50.0 * k for k in range(1, int((shape.knots[-1] - shape.knots[0]) / 50.0))]
    return sorted(set(shape.knots) | set(between))


def lighter(car: Car, share: float) -> Car:
    """The car with less turning mass: the same engine, more of it at the roller."""
    return replace(car, inertia_kg_m2=car.inertia_kg_m2 * share)


def road_speed_km_h(rpm: float, turns: float, radius_m: float) -> float:
    """Roller surface speed at an engine speed, for checking that a gear makes sense."""
    return rpm * 2.0 * pi / 60.0 / turns * radius_m * 3.6
