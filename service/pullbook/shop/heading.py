"""Heading a setup: its peaks, as a page states them above everything else."""

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.shop.comparing import SetupRead
from pullbook.shop.facts import Floats


@dataclass(frozen=True, slots=True)
class Peaks:
    """Where a setup's mean curve is highest; None where no pull counts. W, N·m, rev/min."""

    power_w: float | None
    power_rpm: float | None
    torque_nm: float | None
    torque_rpm: float | None


def setup_peaks(setup: SetupRead, grid_rpm: Floats) -> Peaks:
    """The peaks of the mean; of one pull alone its own, the same figures as on its own page."""
    heads = [pull.curve.headline for pull in setup.counting if pull.curve is not None]
    if setup.counted == len(heads) == 1:
        power, torque = heads[0].peak_power_w, heads[0].peak_torque_nm
        return Peaks(power.value, power.at_engine_speed_rpm, torque.value, torque.at_engine_speed_rpm)
    if setup.mean is None:
        return Peaks(None, None, None, None)
    return Peaks(*peak_of(setup.mean.power_w, grid_rpm), *peak_of(setup.mean.torque_nm, grid_rpm))


def peak_of(values: Floats, grid_rpm: Floats) -> tuple[float | None, float | None]:
    """The largest of these values and the speed it stands at; None twice where there is none."""
    if not np.isfinite(values).any():
        return None, None
    at = int(np.nanargmax(values))
    return float(values[at]), float(grid_rpm[at])
