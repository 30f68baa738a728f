"""The figure and the drawing: both from the same panels, both saying what the curves say, in the shop's units."""

import re
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from tests.api.pull_files import Steady, filed


@pytest.fixture
def engine_name() -> str:
    """What is drawn does not depend on the database's engine."""
    return "sqlite"


@pytest.fixture
def comparison(app: Any, tuner: Any, house: Any) -> Any:
    """Two pulls of each of two setups, the second some ten per cent stronger, read by the service."""
    from pullbook.shop.comparing import compare
    from pullbook.shop.reading import ReadSettings

    pulls = []
    for setup_id, gain, start in (
        (house.setup_id, 8.0, 40.0),
        (house.setup_id, 8.1, 42.0),
        (house.second_setup_id, 8.8, 44.0),
        (house.second_setup_id, 8.9, 46.0),
    ):
        data = Steady(gain_rad_s2=gain, start_rad_s=start).csv()
        pulls.append(filed(tuner, house, data, setup_id=setup_id)["id"])
    with app.state.database.reading() as session:
        return compare(session, pulls, ReadSettings())


def _units(**labels: str) -> Any:
    from pullbook.shown_units import ShownUnits

    return ShownUnits(**labels)


def _figure(comparison: Any, **labels: str) -> dict[str, Any]:
    from pullbook.charts import overlay

    return overlay(comparison, _units(**labels))


def _svg(comparison: Any, **words: Any) -> str:
    from pullbook.overlay_svg import overlay_svg

    return overlay_svg(comparison, _units(), **words)


def test_the_library_itself_takes_the_figure(comparison: Any) -> None:
    import plotly.graph_objects as go

    figure = go.Figure(_figure(comparison))
    assert len(figure.data) == len(_figure(comparison)["data"])
    assert figure.layout.hovermode == "x unified"
    assert figure.layout.hoversubplots == "axis"


def test_all_panels_share_one_engine_speed_axis(comparison: Any) -> None:
    figure = _figure(comparison)
    assert {trace.get("xaxis", "x") for trace in figure["data"]} == {"x"}
    assert [name for name in figure["layout"] if name.startswith("xaxis")] == ["xaxis"]
    domains = [figure["layout"][name]["domain"] for name in figure["layout"] if name.startswith("yaxis")]
    assert len(domains) == len(figure["layout"]["meta"]["panels"]) == 4  # these files hold no manifold pressure
    assert all(upper[0] > lower[1] for upper, lower in pairwise(domains))


def test_a_bold_line_is_the_setups_mean_in_the_shops_unit(comparison: Any) -> None:
    figure = _figure(comparison, power="hp")
    bold = next(t for t in figure["data"] if t["meta"]["panel"] == "power" and t["meta"]["kind"] == "mean")
    drawn = np.array(bold["y"], dtype=float)
    mean_hp = comparison.setups[0].mean.power_w / 745.6998715822702
    np.testing.assert_allclose(drawn, mean_hp, atol=0.0051)
    assert bold["x"] == comparison.engine_speed_rpm.tolist()


def test_a_point_that_is_absent_is_a_gap_and_no_number(comparison: Any) -> None:
    single = next(t for t in _figure(comparison)["data"] if t["meta"]["kind"] == "single")
    assert None in single["y"]
    assert single["connectgaps"] is False


def test_setups_differ_by_letter_and_dash_and_not_by_colour_alone(comparison: Any) -> None:
    bold = [t for t in _figure(comparison)["data"] if t["meta"]["panel"] == "power" and t["meta"]["kind"] == "mean"]
    assert [trace["meta"]["letter"] for trace in bold] == ["A", "B"]
    assert len({trace["line"]["dash"] for trace in bold}) == 2
    assert len({trace["line"]["color"] for trace in bold}) == 2


def test_what_people_typed_stays_text_in_both(comparison: Any) -> None:
    evil = replace(comparison.setups[0], name="<img src=x onerror=alert(1)>")
    comparison = replace(comparison, setups=(evil, comparison.setups[1]))
    assert "<img" not in _svg(comparison)
    assert not any("<img" in trace["name"] for trace in _figure(comparison)["data"])


def test_the_drawing_has_a_line_for_each_trace_of_the_figure(comparison: Any) -> None:
    assert len(re.findall(r'<path class="line ', _svg(comparison))) == len(_figure(comparison)["data"])


def test_the_drawing_needs_no_style_and_no_script(comparison: Any) -> None:
    svg = _svg(comparison)
    assert not re.search(r"style=|<style|<script|on\w+=|href", svg)


def test_the_drawing_is_narrow_where_it_is_asked_to_be(comparison: Any) -> None:
    from pullbook.overlay_svg import NARROW

    svg = _svg(comparison, width=NARROW, keys=("power",))
    assert f'viewBox="0 0 {NARROW} ' in svg
    across = [float(x) for x in re.findall(r"[ML](\d+\.\d) ", svg)]
    assert across
    assert max(across) <= NARROW
    assert svg.count('class="panel-title"') == 1


def test_the_highest_point_of_a_line_is_drawn_where_the_scale_says(comparison: Any) -> None:
    svg = _svg(comparison, keys=("power",))
    scale = {
        float(label.replace("\u202f", "")): float(y)
        for y, label in re.findall(r'd="M46 (\d+\.\d)H\d+"/><text[^>]*text-anchor="end">([^<]+)<', svg)
    }
    (low, low_y), *_, (high, high_y) = sorted(scale.items())
    path = re.search(r'<path class="line mean setup-a" d="([^"]+)"', svg).group(1)
    top = min(float(y) for y in re.findall(r" (\d+\.\d)", path))
    peak_kw = float(np.nanmax(comparison.setups[0].mean.power_w)) / 1000.0
    assert top == pytest.approx(low_y + (peak_kw - low) / (high - low) * (high_y - low_y), abs=0.1)


def test_nothing_to_draw_gives_no_drawing() -> None:
    from pullbook.overlay_svg import panels_svg

    assert panels_svg((), np.array([])) == ""


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (31.2, 149.0), (0.82, 0.98), (-3.0, 4.0), (5.0, 5.0)])
def test_ticks_are_round_enclose_the_values_and_step_evenly(low: float, high: float) -> None:
    from pullbook.axis_ticks import tick_decimals, ticks

    found = ticks(low, high, 4)
    assert found[0] <= low
    assert found[-1] >= high
    assert np.allclose(np.diff(found), found[1] - found[0])
    assert 2 <= len(found) <= 8
    assert len({f"{tick:.{tick_decimals(found)}f}" for tick in found}) == len(found)
