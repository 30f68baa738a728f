"""What two pulls share cancels in their difference; what they do not share adds in squares."""

from math import hypot, sqrt

import pytest

from pullbook.measure.curve import SweepSettings, read_sweep
from pullbook.measure.uncommon import Sourced, parts_of, uncommon_u_pct
from tests.measure.made_sweeps import SPARK, rounded, sweep_lasting
from tests.measure.test_sweep_flags import MILD

PARTS = {"inertia": 0.004, "losses": 0.002, "noise": 0.003, "air pressure": -0.0012, "air temperature": 0.001}
CELL, AIR = hypot(0.4, 0.2), hypot(0.12, 0.1)


def _pull(calibration="one", reading="morning", **moved):
    return Sourced({**PARTS, **moved}, calibration, reading)


@pytest.mark.parametrize(("pulls", "expected"), [
    (([_pull()], [_pull()]), 0.0),
    (([_pull()] * 4, [_pull()] * 3), 0.0),
    (([_pull()], [_pull(noise=0.05)]), 0.0),  # their scatter tells it
    (([_pull()], [_pull("two")]), CELL * sqrt(2.0)),
    (([_pull()], [_pull(reading="noon")]), AIR * sqrt(2.0)),
    (([_pull()], [_pull("two", "noon")]), hypot(CELL, AIR) * sqrt(2.0)),
    (([_pull(), _pull(reading="noon")], [_pull()]), AIR * sqrt(0.5)),
    (([_pull()], [_pull(inertia=0.001)]), 0.3),  # another load on the same roller: what differs remains
    (([_pull()], [_pull(inertia=-0.004)]), 0.8),
    (([_pull(reading=None)], [_pull(reading=None)]), 0.0),
])  # fmt: skip
def test_only_what_is_not_shared_remains(pulls, expected):
    assert uncommon_u_pct(*pulls) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert uncommon_u_pct(*reversed(pulls)) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_a_side_without_pulls_is_refused():
    with pytest.raises(ValueError, match="need a pull"):
        uncommon_u_pct([], [_pull()])


def test_two_pulls_of_one_car_on_one_cell_share_all_but_their_noise():
    made = sweep_lasting(8.0, rounded)
    calibration = made.calibration(inertia_u_kg_m2=0.01 * made.inertia_kg_m2, loss_u_nm=2.0, loss_c0_nm=9.0)
    pulls = [
        parts_of(read_sweep(made.channels(200.0, 0.3, seed), calibration, MILD, SPARK, SweepSettings()))
        for seed in (1, 2)
    ]
    together = [Sourced(parts, "one", "morning") for parts in pulls]
    apart = Sourced(pulls[1], "two", "morning")
    assert uncommon_u_pct(together[:1], together[1:]) < 0.002
    assert uncommon_u_pct(together[:1], [apart]) > 1.4  # both calibrations' one per cent
