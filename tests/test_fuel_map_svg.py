"""The fuel map's drawing: the number in each cell, colours that only repeat it, ink that can be read on all of them."""

import re
from math import nan
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from pullbook.fuel_map_svg import SHOWN, cell_words, heat_svg, step_of
from pullbook.measure.fuelmap import Cells, FuelMap, LeftOut

CSS = Path(__file__).resolve().parents[1] / "web" / "static" / "css"
SVG = "{http://www.w3.org/2000/svg}"
MULTIPLIER = np.array([[1.084, 0.961, nan], [1.0, nan, nan]])
MADE = FuelMap(
    cells=Cells((1000.0, 2000.0, 3000.0, 4000.0), (40.0, 62.5, 100.0)),
    time_s=np.array([[3.2, 4.0, 0.2], [9.0, 0.0, 0.0]]),
    lambda_error=MULTIPLIER * 0.9 - 0.9,
    multiplier=MULTIPLIER,
    multiplier_u=np.array([[0.004, nan, nan], [0.0001, nan, nan]]),
    lambda_measured=MULTIPLIER * 0.9,
    lambda_wanted=np.full((2, 3), 0.9),
    minimum_time_s=0.5,
    total_s=16.4,
    left_out=LeftOut(),
)


def texts(show: str) -> list[str]:
    return [one.text or "" for one in ET.fromstring(heat_svg(MADE, show, "Load, <kPa>")).iter(f"{SVG}text")]


def test_every_cell_says_its_number_and_how_sure_it_is() -> None:
    found = texts("multiplier")
    for said in ("1.084", "±0.004", "0.961", "± ?", "1.000", "±<0.001", "0.2 s"):
        assert said in found, said
    assert {"+0.076", "−0.035", "+0.000"} <= set(texts("lambda_error"))
    assert {"3.2", "4.0", "0.2", "9.0"} <= set(texts("time"))


def test_a_cell_nobody_was_in_is_empty() -> None:
    assert [cell_words(MADE, show, 1, 1) for show in SHOWN] == [("", "")] * 3


def test_edges_and_titles_stand_along_the_axes_escaped() -> None:
    found = texts("multiplier")
    assert {"1\u202f000", "4\u202f000", "40", "62.5", "100", "Engine speed, rev/min", "Load, <kPa>"} <= set(found)


def test_lean_and_rich_have_classes_of_their_own_and_even_has_none_of_either() -> None:
    drawn = ET.fromstring(heat_svg(MADE, "multiplier", "Load"))
    classes = [one.get("class") for one in drawn.iter(f"{SVG}rect")]
    assert classes == ["heat-lean-3", "heat-rich-2", "heat-blank", "heat-even", "heat-blank", "heat-blank"]
    assert [step_of(away) for away in (0.009, 0.01, -0.03, 0.05, -0.2)] == [0, 1, -2, 3, -4]


def rgb(text: str) -> np.ndarray:
    return np.array([int(text[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0


def luminance(colour: np.ndarray) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    linear = np.where(colour <= 0.03928, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize("tokens", ["tokens.css", "tokens-dark.css"])
def test_ink_can_be_read_on_every_colour_by_day_and_by_lamplight(tokens: str) -> None:
    # WCAG 2.1, 1.4.3: at least 4.5 to 1
    named = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", (CSS / tokens).read_text(encoding="utf-8")))
    rules = re.findall(r"\.heat-[\w-]+ \{ --deep: (\d+)%; --of: var\(--([\w-]+)\)", (CSS / "fuel_map.css").read_text())
    assert len(rules) == 12
    ink, sheet = luminance(rgb(named["ink"])), rgb(named["sheet"])
    for deep, name in rules:
        share = int(deep) / 100.0
        paper = luminance(share * rgb(named[name]) + (1.0 - share) * sheet)
        contrast = (max(ink, paper) + 0.05) / (min(ink, paper) + 0.05)
        assert contrast >= 4.5, f"{tokens}: {deep} % of {name} gives {contrast:.2f}"
