"""The figures people quote: peak power, peak torque, mean power over a band, area under the curve.

A peak is read off the fitted curve between grid points too, on a fine base and at the sharp corners, since a peak at a
corner lies between two grid points as often as not. It is looked for where the curve stands highest after allowing for
its own scatter.
"""

from collections.abc import Mapping
from math import pi

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import (
    Array,
    Basis,
    Figure,
    Headline,
    Moment,
    RollerCalibration,
    SweepError,
    area_under,
)
from pullbook.measure.uncertainty import expanded, power_parts

_FINE = 240
_EVENLY = np.linspace(0.0, 1.0, _FINE)
_ALLOWED = 4.0  # standard deviations


@dataclass(frozen=True)
class Track:
    """The curve, fine enough to find peaks on: speeds, torques in N·m at the roller, and what noise leaves: with what
    is unsure of where corners are, and without."""

    axis_rpm: Array
    omega_rad_s: Array
    drive_nm: Array
    brake_nm: Array
    loss_nm: Array
    noise_nm: Array
    scatter_nm: Array

    @property
    def power_w(self) -> Array:
        """Observed power, W."""
        made: Array = self.omega_rad_s * (self.drive_nm + self.loss_nm)
        return made

    def parted(self, count: int) -> "tuple[Track, Track]":
        """The first so many points, and the rest."""
        columns = (
            self.axis_rpm,
            self.omega_rad_s,
            self.drive_nm,
            self.brake_nm,
            self.loss_nm,
            self.noise_nm,
            self.scatter_nm,
        )
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

    def mean_over(self, low_rpm: float, high_rpm: float, window_share: float) -> Moment:
        """The mean over a band, weighted as power is. Noise averages out as the ends of a long slope do: by how much
        of the band one window is, `window_share` being how much of the whole it is."""
        rows = slice(*np.searchsorted(self.axis_rpm, (low_rpm, high_rpm)).tolist())
        weight = self.omega_rad_s[rows]
        whole = float(weight.sum())
        if whole == 0.0:
            return self.moment(int(np.searchsorted(self.axis_rpm, 0.5 * (low_rpm + high_rpm))))
        drive, brake, loss, noise = (
            float(weight @ values[rows]) / whole
            for values in (self.drive_nm, self.brake_nm, self.loss_nm, self.noise_nm)
        )
        of_the_whole = (high_rpm - low_rpm) / float(self.axis_rpm[-1] - self.axis_rpm[0])
        return Moment(whole / len(weight), drive, brake, loss, noise * min(1.0, window_share / of_the_whole))


@dataclass(frozen=True)
class Figures:
    """What the headline is made from besides the track."""

    k: float
    calibration: RollerCalibration
    from_surface_speed: bool
    brake_by_force: bool
    air_parts: Mapping[str, float]
    noise_dof: float
    window_share: float  # how much of the sweep the window of the local fit is


def fine_points(low_rad_s: float, high_rad_s: float, corners_rad_s: Array) -> Array:
    """Speeds at which peaks are looked for: evenly, and at each corner."""
    even = low_rad_s + (high_rad_s - low_rad_s) * _EVENLY
    if len(corners_rad_s) == 0:
        return even
    inside = corners_rad_s[(corners_rad_s > low_rad_s) & (corners_rad_s < high_rad_s)]
    return np.sort(np.concatenate([even, inside]))


def headline(
    track: Track, grid_rpm: Array, power_w: Array, band: tuple[float, float] | None, by: Figures
) -> tuple[Headline, dict[str, float], Basis]:
    """The headline, the uncertainty parts of peak power (k = 1, % of it), and what a whole budget is reckoned from.

    SweepError for a band off the curve.
    """
    observed = track.power_w
    sure = observed - _ALLOWED * track.omega_rad_s * track.scatter_nm  # the ends scatter most: no peak is made of that
    top = int(sure.argmax())
    turning = observed / track.axis_rpm
    strong = int((sure / track.axis_rpm).argmax())
    at_top = track.moment(top)
    power_shares = _shares(at_top, by)
    torque_shares = _shares(track.moment(strong), by)
    peak_power = by.k * float(observed[top])
    peak_torque = by.k * float(turning[strong]) * 30.0 / pi
    low, high = _band(grid_rpm, band)
    area = area_under(grid_rpm, power_w, (low, high))
    mean = area / (high - low)
    over_band = track.mean_over(low, high, by.window_share)
    made = Headline(
        peak_power_w=_figure(peak_power, track.axis_rpm[top], power_shares, by),
        peak_torque_nm=_figure(peak_torque, track.axis_rpm[strong], torque_shares, by),
        mean_power_w=_figure(mean, 0.5 * (low + high), _shares(over_band, by), by),
        band_rpm=(low, high),
        area_w_rpm=area,
    )
    parts = {name: 100.0 * abs(share) for name, share in {**power_shares, **by.air_parts}.items()}
    return made, parts, _basis(by, at_top, over_band)


def _figure(value: float, at_rpm: float, shares: Mapping[str, float], by: Figures) -> Figure:
    return Figure(value, float(at_rpm), expanded(value, by.noise_dof, shares, by.air_parts))


def _basis(by: Figures, peak: Moment, mean: Moment) -> Basis:
    return Basis(
        calibration=by.calibration,
        from_surface_speed=by.from_surface_speed,
        brake_by_force=by.brake_by_force,
        factor=by.k,
        factor_parts=by.air_parts,
        noise_dof=by.noise_dof,
        peak_power=peak,
        mean_power=mean,
    )


def _shares(at: Moment, by: Figures) -> dict[str, float]:
    return power_parts(at, by.calibration, by.from_surface_speed, by.brake_by_force)


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
