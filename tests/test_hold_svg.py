"""Holds as they are drawn: a numbered point for each plateau where its numbers say, its bar as long as they say."""

import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest

from pullbook.hold_svg import holds_svg
from pullbook.measure.correction import Engine
from pullbook.measure.curve import RollerCalibration
from pullbook.measure.hold import HeldAt, HoldSettings, read_holds
from pullbook.shown_units import ShownUnits
from seed_demo.holding_run import HeldRun, HoldPlan
from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import Car, Roller
from seed_demo.rolling_road import Engine as RunEngine
from seed_demo.shapes import level, lines, smooth

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plateaus() -> tuple[HeldAt, ...]:
    steps = lines((0, 2000), (10, 2000), (12, 3000), (20, 3000), (22, 4000), (30, 4000))
    car = Car(RunEngine(smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222))))
    seen = record(HeldRun(car, Roller(), HoldPlan(steps, level(1.0), 30.0)), Instruments(), 0)
    names = ("time_s", "roller_speed_rad_s", "engine_speed_rpm", "brake_torque_nm")
    calibration = RollerCalibration(58.0, 0.25, 0.1, 0.0003, 60, 8.0, 0.05, 4e-4, 0.1)
    channels = {name: seen[name] for name in names}
    return read_holds(channels, calibration, None, Engine("spark", "natural"), HoldSettings("observed")).plateaus


def test_every_plateau_has_a_numbered_point_in_proportion(plateaus: tuple[HeldAt, ...]) -> None:
    drawn = ET.fromstring(holds_svg(plateaus, (), ShownUnits(), 1040))
    points = [(float(one.get("cx") or 0), float(one.get("cy") or 0)) for one in drawn.iter(f"{SVG}circle")]
    assert len(points) == 3
    texts = [one.text for one in drawn.iter(f"{SVG}text")]
    assert {"1", "2", "3", "Power at the wheels, kW", "Engine speed, rev/min"} <= set(texts)
    (x1, y1), (x2, y2), (x3, y3) = points
    assert (x3 - x2) == pytest.approx(x2 - x1, abs=1.0)  # a thousand rev/min each
    rises = [b.power_w - a.power_w for a, b in pairwise(plateaus)]
    assert (y1 - y2) / (y2 - y3) == pytest.approx(rises[0] / rises[1], rel=0.02)


def test_a_bar_is_twice_the_expanded_uncertainty_long(plateaus: tuple[HeldAt, ...]) -> None:
    unsure = [replace(one, expanded_uncertainty_w=5000.0 * number) for number, one in enumerate(plateaus, 1)]
    drawn = holds_svg(unsure, (), ShownUnits(), 1040)
    bars = [abs(float(low) - float(high)) for low, high in re.findall(r'd="M[\d.]+ ([\d.]+)V([\d.]+)M', drawn)]
    assert [bar / bars[0] for bar in bars] == pytest.approx([1.0, 2.0, 3.0], abs=0.01)


def test_units_are_the_shops_and_without_engine_speed_there_is_nothing_to_draw(plateaus: tuple[HeldAt, ...]) -> None:
    assert "Power at the wheels, hp" in holds_svg(plateaus, (), ShownUnits(power="hp"), 400)
    bare = [replace(one, engine_speed_rpm=None) for one in plateaus]
    assert holds_svg(bare, (), ShownUnits(), 1040) == ""
