"""What a drawing says of its axis: engine speed where it is known, else roller speed, and never both on one."""

import re
from typing import Any

import numpy as np
import pytest

from tests.api.pull_files import Steady, filed, forget_ratio, without_engine_speed


@pytest.fixture
def engine_name() -> str:
    """What is drawn does not depend on the database's engine."""
    return "sqlite"


@pytest.fixture
def laid(app: Any, tuner: Any, house: Any) -> Any:
    """Files pulls of the baseline, by whether they have an engine speed, and lays them over each other."""
    from pullbook.shop.comparing import compare
    from pullbook.shop.reading import ReadSettings

    def make(*with_engine_speed: bool) -> Any:
        forget_ratio(tuner, house)
        pulls = []
        for number, engine in enumerate(with_engine_speed, start=1):
            data = Steady(gain_rad_s2=8.0 + number / 10.0).csv()
            sent = data if engine else without_engine_speed(data)
            pulls.append(filed(tuner, house, sent, file_name=f"run {number}.csv")["id"])
        with app.state.database.reading() as session:
            return compare(session, pulls, ReadSettings())

    return make


def _figure(comparison: Any) -> dict[str, Any]:
    from pullbook.charts import overlay
    from pullbook.shown_units import ShownUnits

    return overlay(comparison, ShownUnits())


def _svg(comparison: Any) -> str:
    from pullbook.overlay_svg import overlay_svg
    from pullbook.shown_units import ShownUnits

    return overlay_svg(comparison, ShownUnits())


def test_curves_over_roller_speed_have_an_axis_that_says_so_in_both(laid: Any) -> None:
    comparison = laid(False, False)
    assert comparison.axis == "roller_speed"
    figure, svg = _figure(comparison), _svg(comparison)
    assert figure["layout"]["xaxis"]["title"]["text"] == "Roller speed, rev/min"
    assert ">Roller speed, rev/min</text>" in svg
    assert "over roller speed" in svg
    assert "Engine speed, rev/min" not in svg


def test_without_an_engine_speed_torque_is_called_the_rollers(laid: Any) -> None:
    comparison = laid(False, False)
    titles = {panel["key"]: panel["title"] for panel in _figure(comparison)["layout"]["meta"]["panels"]}
    assert titles["torque"] == "Torque at the rollers, engine speed not known"
    assert "referred to engine speed" not in _svg(comparison)
    mean = comparison.setups[0].mean
    known = np.isfinite(mean.power_w)
    turning = comparison.engine_speed_rpm[known] * np.pi / 30.0
    np.testing.assert_allclose(mean.torque_nm[known], mean.power_w[known] / turning, rtol=1e-9)


def test_of_both_kinds_only_those_over_engine_speed_are_drawn_and_the_others_named(laid: Any) -> None:
    from pullbook.panels import not_drawn

    comparison = laid(True, False, True)
    figure = _figure(comparison)
    assert figure["layout"]["xaxis"]["title"]["text"] == "Engine speed, rev/min"
    singles = [t for t in figure["data"] if t["meta"]["kind"] == "single" and t["meta"]["panel"] == "power"]
    drawn = {trace["meta"]["pull_id"] for trace in singles}
    assert drawn == {pull.facts.id for pull in comparison.setups[0].counting}
    assert len(drawn) == 2
    said = not_drawn(comparison)
    assert "only roller speed is known" in said
    assert re.findall(r"“([^”]+)”", said) == ["run 2.csv"]


def test_a_pull_over_roller_speed_does_not_stretch_the_axis_of_engine_speed(laid: Any) -> None:
    comparison = laid(True, False, True)
    curves = [pull.curve for pull in comparison.setups[0].counting]
    assert comparison.engine_speed_rpm[0] == min(curve.engine_speed_rpm[0] for curve in curves)
    assert comparison.engine_speed_rpm[-1] == max(curve.engine_speed_rpm[-1] for curve in curves)


def test_nothing_is_said_to_be_left_out_where_all_lie_on_one_axis(laid: Any) -> None:
    from pullbook.panels import not_drawn

    assert not_drawn(laid(True, True)) == ""


def test_a_single_pull_without_engine_speed_is_drawn_over_roller_speed(laid: Any) -> None:
    from pullbook.charts import figure_of
    from pullbook.panels import one_pull
    from pullbook.shown_units import ShownUnits

    (pull,) = laid(False).pulls
    panels = one_pull(pull, pull.curve.engine_speed_rpm, ShownUnits())
    figure = figure_of(panels, pull.curve.engine_speed_rpm, one_pull=True)
    assert figure["layout"]["xaxis"]["title"]["text"] == "Roller speed, rev/min"
    assert next(panel.title for panel in panels if panel.key == "torque").startswith("Torque at the rollers")
