"""The air over the two cells through the year, and how the shop writes it down."""

from dataclasses import dataclass
from datetime import datetime
from math import cos, exp, log, pi, sin

from seed_demo.rolling_road import Day


@dataclass(frozen=True)
class Air:
    """The true air at one place and time."""

    temperature_c: float
    pressure_kpa: float
    relative_humidity_pct: float

    @property
    def vapour_kpa(self) -> float:
        """Partial pressure of the water in it."""
        return self.relative_humidity_pct / 100.0 * saturation_kpa(self.temperature_c)

    @property
    def day(self) -> Day:
        """The same for the forward model."""
        return Day(self.temperature_c, self.pressure_kpa, self.vapour_kpa)


HOT_AND_HUMID = Air(35.2, 99.6, 74.0)
FROST = Air(-4.5, 102.1, 68.0)


def saturation_kpa(temperature_c: float) -> float:
    """Magnus form over water with the constants of WMO No. 8."""
    return 0.6112 * exp(17.62 * temperature_c / (243.12 + temperature_c))


def standard_kpa(altitude_m: float) -> float:
    """ISO 2533 up to the tropopause."""
    return float(101.325 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def air_at(altitude_m: float, when: datetime) -> Air:
    """Season, time of day and passing weather, all smooth and the same whenever it is asked."""
    day = when.timetuple().tm_yday + (when.hour + when.minute / 60.0) / 24.0
    passing = [sin(2.0 * pi * day / period + phase) for period, phase in ((5.3, 0.4), (8.7, 2.1), (13.1, 4.0))]
    season = -cos(2.0 * pi * (day - 18.0) / 365.25)
    clock = -cos(2.0 * pi * ((when.hour + when.minute / 60.0) - 3.5) / 24.0)
    temperature = 14.5 + 9.5 * season + 3.0 * clock + 2.2 * passing[0] - 6.2e-3 * altitude_m
    pressure = standard_kpa(altitude_m) * (1.0 + 0.006 * passing[1] + 0.004 * passing[2])
    humidity = 62.0 - 10.0 * season - 12.0 * clock + 12.0 * passing[0]
    return Air(temperature, pressure, min(max(humidity, 22.0), 96.0))


def as_written(air: Air, form: str) -> dict[str, float]:
    """The humidity as the instrument at hand gives it, rounded as people round: one field of the API."""
    if form == "dew_point_c":
        share = log(air.vapour_kpa / 0.6112)
        return {form: round(243.12 * share / (17.62 - share), 1)}
    if form == "wet_bulb_c":
        return {form: round(_wet_bulb(air), 1)}
    return {"relative_humidity_pct": float(round(air.relative_humidity_pct))}


def _wet_bulb(air: Air) -> float:
    """The temperature at which the ventilated psychrometer's balance closes, by halving."""
    low, high = -30.0, air.temperature_c
    for _ in range(60):
        middle = 0.5 * (low + high)
        vapour = saturation_kpa(middle) - 6.53e-4 * (1.0 + 9.44e-4 * middle) * air.pressure_kpa * (
            air.temperature_c - middle
        )
        low, high = (middle, high) if vapour < air.vapour_kpa else (low, middle)
    return 0.5 * (low + high)


def altimeter_setting_kpa(air: Air, altitude_m: float) -> float:
    """What an airfield there would call: station pressure brought down to sea level by the standard atmosphere."""
    share = (air.pressure_kpa / 101.325) ** (1.0 / 5.25588)
    return float(101.325 * (share + 2.25577e-5 * altitude_m) ** 5.25588)
