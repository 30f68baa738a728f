"""The figures people quote: peak power, peak torque, mean power over a band, area under the curve.

A peak is read off the fitted curve between grid points too, on a fine base and at the sharp corners, since a peak at a
corner lies between two grid points as often as not. It is looked for where the curve stands highest after allowing for
its own scatter.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi

import numpy as np

from pullbook.measure.curveparts import Array, Figure, Headline, RollerCalibration, SweepError, area_under
from pullbook.measure.uncertainty import Moment, expanded, power_parts

_FINE = 240
_EVENLY = np.linspace(0.0, 1.0, _FINE)
_ALLOWED = 3.0  # standard deviations


@dataclass(frozen=True)
class Track:
    """The curve, fine enough to find peaks on: speeds, torques in N·m at the roller, and what noise leaves."""

    axis_rpm: Array
    omega_rad_s: Array
    drive_nm: Array
    brake_nm: Array
    loss_nm: Array
    noise_nm: Array

    @property
    def power_w(self) -> Array:
        """Observed power, W."""
        made: Array = self.omega_rad_s * (self.drive_nm + self.loss_nm)
        return made

    def parted(self, count: int) -> "tuple[Track, Track]":
        """The first so many points, and the rest."""
        columns = (self.axis_rpm, self.omega_rad_s, self.drive_nm, self.brake_nm, self.loss_nm, self.noise_nm)
        return Track(*(values[:count] for values in columns)), Track(*(values[count:] for values in columns))

    def moment(self, index: int) -> Moment:
        """One point, for the uncertainty budget."""
        return Moment(
            float(self.omega_rad_s[index]),
            float(self.drive_nm[index]),
            float(self.brake_nm[index]),
            float(self.loss_nm[index]),
            float(self.noise_nm[index]),
        )


@dataclass(frozen=True)
class Figures:
    """What the headline is made from besides the track."""

    k: float
    calibration: RollerCalibration
    from_surface_speed: bool
    brake_by_force: bool
    air_parts: Mapping[str, float]


def fine_points(low_rad_s: float, high_rad_s: float, corners_rad_s: Array) -> Array:
    """Speeds at which peaks are looked for: evenly, and at each corner."""
    even = low_rad_s + (high_rad_s - low_rad_s) * _EVENLY
    if len(corners_rad_s) == 0:
        return even
    inside = corners_rad_s[(corners_rad_s > low_rad_s) & (corners_rad_s < high_rad_s)]
    return np.sort(np.concatenate([even, inside]))


def headline(
    track: Track, grid_rpm: Array, power_w: Array, band: tuple[float, float] | None, by: Figures
) -> tuple[Headline, dict[str, float]]:
    """The headline and the uncertainty parts of peak power (k = 1, % of it). SweepError for a band off the curve."""
    observed = track.power_w
    sure = observed - _ALLOWED * track.omega_rad_s * track.noise_nm  # the ends scatter most: no peak is made of that
    top = int(sure.argmax())
    turning = observed / track.axis_rpm
    strong = int((sure / track.axis_rpm).argmax())
    power_shares = _shares(track, top, by)
    torque_shares = _shares(track, strong, by)
    peak_power = by.k * float(observed[top])
    peak_torque = by.k * float(turning[strong]) * 30.0 / pi
    low, high = _band(grid_rpm, band)
    area = area_under(grid_rpm, power_w, (low, high))
    mean = area / (high - low)
    middle = int(np.searchsorted(track.axis_rpm, 0.5 * (low + high)))
    mean_shares = {name: share for name, share in _shares(track, middle, by).items() if name != "noise"}
    made = Headline(
        peak_power_w=Figure(peak_power, float(track.axis_rpm[top]), expanded(peak_power, power_shares, by.air_parts)),
        peak_torque_nm=Figure(
            peak_torque, float(track.axis_rpm[strong]), expanded(peak_torque, torque_shares, by.air_parts)
        ),
        mean_power_w=Figure(mean, 0.5 * (low + high), expanded(mean, mean_shares, by.air_parts)),
        band_rpm=(low, high),
        area_w_rpm=area,
    )
    return made, {name: 100.0 * share for name, share in {**power_shares, **by.air_parts}.items()}


def _shares(track: Track, index: int, by: Figures) -> dict[str, float]:
    return power_parts(track.moment(index), by.calibration, by.from_surface_speed, by.brake_by_force)


def _band(grid_rpm: Array, band: tuple[float, float] | None) -> tuple[float, float]:
    """The stated band, or the middle 80 % of the curve on whole grid points."""
    first, last = float(grid_rpm[0]), float(grid_rpm[-1])
    if band is None:
        skip = max(0, min(round(0.1 * (len(grid_rpm) - 1)), (len(grid_rpm) - 2) // 2))
        return float(grid_rpm[skip]), float(grid_rpm[-1 - skip])
    low, high = band
    if not first <= low < high <= last:
        raise SweepError(
            f"The band from {low:g} to {high:g} rev/min does not lie on this curve, which runs from {first:g} to "
            f"{last:g} rev/min."
        )
    return float(low), float(high)
