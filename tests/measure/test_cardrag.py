"""The estimate of power at the engine: what one inertia does to drag and to the sweep is one error, not two."""

import numpy as np
import pytest

from pullbook.measure.cardrag import LOADED_SHARE_U, car_drag, engine_estimate
from pullbook.measure.coastdown import CoastDown
from tests.measure.made_coasts import HEAVY

SPEED = np.array([100.0])


def _estimated(extra_kg_m2, extra_u_kg_m2):
    nothing = np.zeros(1)
    slows, sure = np.array([0.8, 4e-3, 2e-5]), 1e-16 * np.eye(3)
    run = CoastDown(slows, sure, 300.0, nothing, nothing, nothing, 0.0, 0, False, 30.0, 130.0, True)
    drag = car_drag(run, HEAVY.calibration, extra_kg_m2, extra_u_kg_m2, True)
    wheel = np.array([50e3])
    return drag, engine_estimate(wheel, np.zeros(1), SPEED, HEAVY.calibration, drag, 0.9)


def test_what_turns_in_the_car_moves_drag_and_sweep_together():
    extra, u = 4.0, 2.0
    moved = float((_estimated(extra + u, 0.0)[1].estimate_w - _estimated(extra, 0.0)[1].estimate_w)[0])
    drag, known = _estimated(extra, 0.0)
    _, unsure = _estimated(extra, u)
    loaded = LOADED_SHARE_U * float((drag.nm(SPEED)[0] * SPEED)[0])
    assert moved > 0.5 * loaded  # large enough to show
    told = float((unsure.expanded_w**2 - known.expanded_w**2)[0]) ** 0.5 / 2.0
    assert told == pytest.approx(moved, rel=0.01)
