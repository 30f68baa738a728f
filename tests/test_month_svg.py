"""Months as bars: one for each that has something, the month that is read marked, an axis that holds them all."""

import re

from pullbook.month_svg import Bars, bars_svg

NAMES = [f"2025-{month:02d}" for month in range(1, 13)]


def test_only_months_with_something_have_a_bar_and_the_one_read_is_marked():
    svg = bars_svg(Bars("Pulls", NAMES, [0, 5, None, 7, *[0] * 8]), "2025-04")
    assert svg.count('<rect class="bar"') == 1
    assert svg.count('<rect class="bar read"') == 1


def test_bars_stand_in_proportion_and_on_the_axis():
    svg = bars_svg(Bars("Pulls", NAMES, [10, 20, *[0] * 10]), "2025-12")
    bars = [
        (float(top), float(tall)) for top, tall in re.findall(r'y="([\d.]+)" width="[\d.]+" height="([\d.]+)"', svg)
    ]
    assert abs(2 * bars[0][1] - bars[1][1]) < 0.21
    assert abs(sum(bars[0]) - sum(bars[1])) < 0.11


def test_money_that_went_back_hangs_below_the_axis():
    svg = bars_svg(Bars("Money", NAMES, [100, -50, *[0] * 10]), "2025-12")
    (up, down) = re.findall(r'y="([\d.]+)" width="[\d.]+" height="([\d.]+)"', svg)
    assert abs(float(up[0]) + float(up[1]) - float(down[0])) < 0.11


def test_nothing_is_drawn_where_there_is_nothing():
    assert bars_svg(Bars("Pulls", NAMES, [0, None] * 6), "2025-12") == ""


def test_a_title_is_escaped():
    assert "<b>" not in bars_svg(Bars("<b>", NAMES, [1.0] * 12), "2025-12")
