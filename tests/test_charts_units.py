"""Numbers as people read them: the shop's unit beside every number, exact at the edges."""

import pint
import pytest

from pullbook.shown_units import CHOICES, ShownUnits, plain_number

PINT = {
    "kW": "kW", "hp": "hp", "PS": "metric_horsepower", "N·m": "N*m", "lbf·ft": "lbf*ft", "kgf·m": "kgf*m",
    "kPa": "kPa", "bar": "bar", "psi": "psi", "hPa": "hPa", "inHg": "inHg",
    "°C": "degC", "°F": "degF", "km/h": "km/h", "mph": "mph",
}  # fmt: skip
INSIDE = {"power": "W", "torque": "N*m", "pressure": "kPa", "temperature": "degC", "speed": "m/s"}


@pytest.mark.parametrize(("dimension", "label"), [(d, label) for d, labels in CHOICES.items() for label in labels])
def test_every_unit_on_offer_agrees_with_a_units_library(dimension: str, label: str) -> None:
    units = pint.UnitRegistry()
    expected = units.Quantity(1234.5, INSIDE[dimension]).to(PINT[label]).magnitude
    assert ShownUnits(**{dimension: label}).number(1234.5, dimension) == pytest.approx(expected, rel=2e-6)


def test_a_number_never_stands_without_its_unit() -> None:
    assert ShownUnits(power="PS").text(100_000.0, "power") == "136.0\u00a0PS"
    assert ShownUnits().text(250.0, "torque") == "250.0\u00a0N·m"


def test_an_unknown_unit_falls_back_to_si() -> None:
    assert ShownUnits(power="furlongs").text(1000.0, "power") == "1.0\u00a0kW"


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(12345.6, 0, "12\u202f346"), (-0.04, 1, "0.0"), (-3.25, 1, "−3.2"), (0.95, 3, "0.950"), (999.0, 0, "999")],
)
def test_numbers_are_written_with_thin_spaces_and_a_true_minus(value: float, decimals: int, text: str) -> None:
    assert plain_number(value, decimals) == text
