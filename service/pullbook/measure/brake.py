"""What the brake holds back at the roller, N·m: from a torque channel, or from load-cell force and arm."""

from collections.abc import Mapping

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.curveparts import Array, RollerCalibration, SweepError


@dataclass(frozen=True)
class Brake:
    """`torque_nm` one value a row, None where the pull has no brake; `by_force`: the arm's uncertainty counts."""

    torque_nm: Array | None
    by_force: bool
    counts: dict[str, int]


def brake_of(channels: Mapping[str, Array], calibration: RollerCalibration) -> Brake:
    """Torque = scale · (torque, or force × arm) − zero; positive when it resists the car. Blanks are bridged, counted.

    SweepError for a force without an arm in the calibration.
    """
    if "brake_torque_nm" in channels:
        given, by_force = channels["brake_torque_nm"], False
    elif "brake_force_n" in channels:
        if calibration.brake_arm_m is None:
            raise SweepError("Brake force was recorded, but the cell's calibration has no arm length for it.")
        given, by_force = channels["brake_force_n"] * calibration.brake_arm_m, True
    else:
        return Brake(None, False, {})
    finite = np.isfinite(given)
    counts = {}
    if not finite.all():
        if not finite.any():
            return Brake(None, False, {"brake_blanks": len(given)})
        counts["brake_blanks"] = int((~finite).sum())
        given = np.interp(channels["time_s"], channels["time_s"][finite], given[finite])
    return Brake(given * calibration.brake_scale - calibration.brake_zero_nm, by_force, counts)
