"""The air of a pull: humidity in any of three forms, station pressure, and whether a pressure fits the altitude.

Vapour pressure at saturation is Hyland and Wexler 1983 as printed in the ASHRAE Handbook Fundamentals 2017, chapter 1,
equations 5 (over ice, below the triple point) and 6 (over water). Below freezing, relative humidity and dew point are
therefore taken over ice. Wet bulb is equations 33 and 35 of the same chapter.
"""

from math import exp, inf, isfinite, log

from pullbook.late_methods import dataclass

_TRIPLE_POINT_C = 0.01
_GAS_DRY, _GAS_VAPOUR = 287.055, 461.52  # J/(kg·K): 8.314472 / 0.0289644 and / 0.0180153
_WATER_TO_AIR = 0.621945  # ratio of the molar masses, ASHRAE 2017
_INHG_KPA = 3.386388640341
_FOOT_M = 0.3048
_PRESSURE_MARGIN_KPA = 6.0  # weather moves a barometer by ±5 kPa at the very most; beyond that it is not this altitude


class AirError(ValueError):
    """A figure for the air that cannot be: which, what it was, what would do."""

    def __init__(self, field: str, value: float, would_do: str) -> None:
        super().__init__(f"{field} = {value:g} will not do; {would_do}")
        self.field = field
        self.value = value
        self.would_do = would_do


@dataclass(frozen=True)
class Air:
    """Air as a pull met it: temperature in °C, station pressure and vapour pressure in kPa."""

    temperature_c: float
    pressure_kpa: float
    vapour_pressure_kpa: float

    def __post_init__(self) -> None:
        _within("air_temperature_c", self.temperature_c, -60.0, 70.0, "°C")
        _within("station_pressure_kpa", self.pressure_kpa, 40.0, 115.0, "kPa")
        most = min(self.pressure_kpa * 0.5, saturation_pressure_kpa(self.temperature_c) * 1.02)
        _within("vapour_pressure_kpa", self.vapour_pressure_kpa, 0.0, most, "kPa at this temperature")

    @property
    def dry_pressure_kpa(self) -> float:
        """Station pressure less the vapour's share, kPa."""
        return self.pressure_kpa - self.vapour_pressure_kpa

    @property
    def density_kg_m3(self) -> float:
        """Density of the moist air, kg/m³, both parts taken as ideal gases."""
        kelvin = self.temperature_c + 273.15
        return 1e3 * (self.dry_pressure_kpa / _GAS_DRY + self.vapour_pressure_kpa / _GAS_VAPOUR) / kelvin

    @property
    def relative_humidity_pct(self) -> float:
        """Vapour pressure in % of saturation at this temperature."""
        return 100.0 * self.vapour_pressure_kpa / saturation_pressure_kpa(self.temperature_c)

    @property
    def humidity_ratio_kg_kg(self) -> float:
        """Mass of vapour for each kilogram of dry air."""
        return _WATER_TO_AIR * self.vapour_pressure_kpa / self.dry_pressure_kpa


def saturation_pressure_kpa(temperature_c: float) -> float:
    """Pressure of saturated vapour over water, or over ice below 0.01 °C, in kPa (Hyland and Wexler 1983)."""
    kelvin = temperature_c + 273.15
    if temperature_c < _TRIPLE_POINT_C:
        cold = (-9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13)
        return 1e-3 * exp(-5674.5359 / kelvin + 6.3925247 + _powers(cold, kelvin) + 4.1635019 * log(kelvin))
    warm = (-4.8640239e-2, 4.1764768e-5, -1.4452093e-8)
    return 1e-3 * exp(-5800.2206 / kelvin + 1.3914993 + _powers(warm, kelvin) + 6.5459673 * log(kelvin))


def air_from_relative_humidity(temperature_c: float, pressure_kpa: float, relative_humidity_pct: float) -> Air:
    """Air from relative humidity in %. AirError for a figure out of range."""
    _within("air_temperature_c", temperature_c, -60.0, 70.0, "°C")
    _within("relative_humidity_pct", relative_humidity_pct, 0.0, 100.0, "%")
    return Air(temperature_c, pressure_kpa, saturation_pressure_kpa(temperature_c) * relative_humidity_pct / 100.0)


def air_from_dew_point(temperature_c: float, pressure_kpa: float, dew_point_c: float) -> Air:
    """Air from a dew point in °C (a frost point below freezing). AirError for a figure out of range."""
    _within("air_temperature_c", temperature_c, -60.0, 70.0, "°C")
    _within("dew_point_c", dew_point_c, -90.0, temperature_c, "°C: not above the air temperature")
    return Air(temperature_c, pressure_kpa, saturation_pressure_kpa(dew_point_c))


def air_from_wet_bulb(temperature_c: float, pressure_kpa: float, wet_bulb_c: float) -> Air:
    """Air from a wet bulb in °C (ice on the bulb below freezing). AirError where the bulb is too cold to be true."""
    _within("air_temperature_c", temperature_c, -60.0, 70.0, "°C")
    _within("station_pressure_kpa", pressure_kpa, 40.0, 115.0, "kPa")
    _within("wet_bulb_c", wet_bulb_c, -60.0, temperature_c, "°C: not above the air temperature")
    saturated = saturation_pressure_kpa(wet_bulb_c)
    ratio = _WATER_TO_AIR * saturated / (pressure_kpa - saturated) if saturated < pressure_kpa else inf
    apart = temperature_c - wet_bulb_c
    if wet_bulb_c >= 0.0:
        held = ((2501.0 - 2.326 * wet_bulb_c) * ratio - 1.006 * apart) / (
            2501.0 + 1.86 * temperature_c - 4.186 * wet_bulb_c
        )
    else:
        held = ((2830.0 - 0.24 * wet_bulb_c) * ratio - 1.006 * apart) / (
            2830.0 + 1.86 * temperature_c - 2.1 * wet_bulb_c
        )
    if not 0.0 <= held < inf:
        raise AirError(
            "wet_bulb_c", wet_bulb_c, f"bone-dry air at {temperature_c:g} °C has a warmer wet bulb than this"
        )
    return Air(temperature_c, pressure_kpa, pressure_kpa * held / (_WATER_TO_AIR + held))


def station_pressure_kpa(altimeter_setting_kpa: float, altitude_m: float) -> float:
    """Station pressure from an altimeter setting, kPa: the relation that automatic weather stations use.

    AS^0.1903 = P^0.1903 + 1.313e-5·h with inches of mercury and feet. Another in use (Smithsonian tables) subtracts
    0.3 hPa more; the two are 0.2 to 0.3 hPa apart, 0.03 % in a factor.
    """
    _within("altimeter_setting_kpa", altimeter_setting_kpa, 85.0, 110.0, "kPa")
    _within("altitude_m", altitude_m, -500.0, 6000.0, "m")
    setting = (altimeter_setting_kpa / _INHG_KPA) ** 0.1903
    return float(_INHG_KPA * (setting - 1.313e-5 * altitude_m / _FOOT_M) ** (1.0 / 0.1903))


def standard_temperature_k(altitude_m: float) -> float:
    """Temperature of the ICAO 1993 standard atmosphere at a geometric altitude up to 11 km, K."""
    return 288.15 - 0.0065 * _geopotential_m(altitude_m)


def standard_pressure_kpa(altitude_m: float) -> float:
    """Pressure of the ICAO 1993 standard atmosphere at a geometric altitude up to 11 km, kPa."""
    return float(101.325 * (standard_temperature_k(altitude_m) / 288.15) ** 5.25588)


def pressure_doubt(pressure_kpa: float, altitude_m: float) -> str | None:
    """Why a station pressure does not fit an altitude, in words; None where it fits within 6 kPa."""
    usual = standard_pressure_kpa(altitude_m)
    if abs(pressure_kpa - usual) <= _PRESSURE_MARGIN_KPA:
        return None
    said = f"{pressure_kpa:.2f} kPa does not fit {altitude_m:.0f} m, where a barometer reads about {usual:.1f} kPa"
    if pressure_kpa > usual and 95.0 <= pressure_kpa <= 106.0:
        off_pct = 100.0 * (1.0 - (usual / pressure_kpa) ** 1.2)  # as ISO 1585 would
        return (
            f"{said}: it looks like a sea-level figure from a forecast, which would put a corrected result out by "
            f"about {off_pct:.0f} %. Give the cell's own barometer, or give this as the altimeter setting."
        )
    return f"{said}. Read the cell's barometer again, check its unit, or check the cell's altitude."


def _geopotential_m(altitude_m: float) -> float:
    radius_m = 6356766.0
    return radius_m * altitude_m / (radius_m + altitude_m)


def _powers(coefficients: tuple[float, ...], kelvin: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = (total + coefficient) * kelvin
    return total


def _within(field: str, value: float, low: float, high: float, unit: str) -> None:
    if not (isfinite(value) and low <= value <= high):
        raise AirError(field, value, f"it has to be from {low:g} to {high:g} {unit}")
