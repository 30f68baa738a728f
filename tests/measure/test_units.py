"""Units against a units library, published rows and each other."""

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pullbook.measure import CHANNELS, GLOSSARY
from pullbook.measure.units import STOICHIOMETRIC, UNITS, from_inside, to_inside
from tests.published.published_rows import case, published

LIBRARY = pint.UnitRegistry()
INSIDE = {
    "time": "second",
    "angular_speed": "radian / second",
    "speed": "meter / second",
    "torque": "newton * meter",
    "force": "newton",
    "power": "watt",
    "pressure": "kilopascal",
    "temperature": "degC",
    "length": "meter",
    "mass": "kilogram",
    "ratio": "percent",
    "angle": "degree",
    "count": "count",
    "mass_flow": "gram / second",
    "voltage": "volt",
}
NAMES = {
    "s": "second", "ms": "millisecond", "min": "minute", "rad_s": "radian / second",
    "rev_min": "revolution / minute", "rev_s": "revolution / second", "m_s": "meter / second",
    "km_h": "kilometer / hour", "mph": "mile / hour", "nm": "newton * meter", "lbf_ft": "force_pound * foot",
    "kgf_m": "force_kilogram * meter", "n": "newton", "kgf": "force_kilogram", "lbf": "force_pound",
    "kn": "kilonewton", "w": "watt", "kw": "kilowatt", "hp": "horsepower", "ps": "metric_horsepower",
    "kpa": "kilopascal", "pa": "pascal", "hpa": "hectopascal", "mbar": "millibar", "bar": "bar", "psi": "psi",
    "inhg": "inch_Hg", "mmhg": "millimeter_Hg", "atm": "atmosphere", "m": "meter", "mm": "millimeter",
    "in": "inch", "ft": "foot", "kg": "kilogram", "lb": "pound", "g": "gram", "pct": "percent", "fraction": "",
    "deg": "degree", "count": "count", "g_s": "gram / second", "kg_h": "kilogram / hour", "lb_h": "pound / hour",
    "v": "volt", "c": "degC", "f": "degF", "k": "kelvin",
}  # fmt: skip


def test_every_unit_is_held_against_the_library_or_is_a_mixture():
    assert set(NAMES) | set(STOICHIOMETRIC) | {"lambda"} == set(UNITS)


@pytest.mark.parametrize("identifier", sorted(NAMES))
@given(value=st.floats(-500.0, 5000.0))
def test_it_converts_as_the_library_does(identifier, value):
    theirs = LIBRARY.Quantity(value, NAMES[identifier]).to(INSIDE[UNITS[identifier].dimension]).magnitude
    ours = float(to_inside(value, identifier))
    # mercury columns: the library rounds its density in the eighth digit
    assert ours == pytest.approx(theirs, rel=1e-7 if "hg" in identifier else 1e-12, abs=1e-9)


@pytest.mark.parametrize("identifier", sorted(UNITS))
@given(value=st.floats(-1e4, 1e4))
def test_there_and_back_is_the_same_value(identifier, value):
    assert float(from_inside(to_inside(value, identifier), identifier)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("row", published("units"), ids=case)
def test_it_converts_as_published(row):
    names = {"mechanical_hp": "hp", "metric_hp": "ps", "W": "w", "lbf_ft": "lbf_ft", "N_m": "nm", "inHg": "inhg",
             "hPa": "hpa", "degF": "f", "degC": "c", "rpm": "rev_min", "rad_s": "rad_s"}  # fmt: skip
    value, first, last = row.number("from_value"), row.inputs["from_unit"], row.inputs["to_unit"]
    if first == "constant_hp_lbf_ft_rpm":  # hp = lbf·ft · rev/min over this
        made = float(to_inside(1.0, "hp") / (to_inside(1.0, "lbf_ft") * to_inside(1.0, "rev_min")))
    elif first == "constant_kW_Nm_rpm":
        made = float(to_inside(1.0, "kw") / to_inside(1.0, "rev_min"))
    else:
        made = float(from_inside(to_inside(value, names[first]), names[last]))
    row.assert_near(made)


OF_NO_UNIT_HERE = {"stoich 14.08", "petrol_with_5_vol_pct_ethanol"}  # a gauge and a blend that no unit stands for


@pytest.mark.parametrize(
    "row", [row for row in published("stoichiometry") if row.inputs["fuel"] not in OF_NO_UNIT_HERE], ids=case
)
def test_it_takes_air_to_fuel_ratios_at_lambda_one_as_published(row):
    fuel = row.inputs["fuel"]
    if fuel == "stoich 14.7":
        wanted = float(row.inputs["quantity"].rpartition("_")[2])
        assert float(from_inside(wanted, "afr_petrol")) == pytest.approx(float(row.expected), abs=1e-6)
        return
    unit = {"methane": "afr_cng", "methanol": "afr_methanol", "ethanol": "afr_ethanol", "E10": "afr_e10",
            "diesel": "afr_diesel", "propane": "afr_lpg"}[fuel]  # fmt: skip
    row.assert_near(STOICHIOMETRIC[unit])


def test_blends_weigh_petrol_and_ethanol_by_mass():
    def blend(ethanol_by_volume: float) -> float:
        petrol, ethanol = 0.745 * (1.0 - ethanol_by_volume), 0.789 * ethanol_by_volume  # kg in a litre
        whole = petrol * STOICHIOMETRIC["afr_petrol"] + ethanol * STOICHIOMETRIC["afr_ethanol"]
        return whole / (petrol + ethanol)

    assert STOICHIOMETRIC["afr_e10"] == pytest.approx(blend(0.10), abs=0.05)  # kept to one decimal, as gauges are
    assert STOICHIOMETRIC["afr_e85"] == pytest.approx(blend(0.85), abs=0.05)
    (five,) = (row for row in published("stoichiometry") if row.inputs["fuel"] == "petrol_with_5_vol_pct_ethanol")
    five.assert_near(blend(0.05))


def test_a_channel_keeps_its_own_inside_unit():
    assert CHANNELS["engine_speed_rpm"].inside_unit == "rev_min"
    made = to_inside(np.array([50.0]), "rev_s", CHANNELS["engine_speed_rpm"].inside_unit)
    assert made.tolist() == pytest.approx([3000.0])
    assert from_inside(made, "rev_s", "rev_min").tolist() == pytest.approx([50.0])


def test_every_channel_has_a_unit_of_its_dimension():
    for channel in CHANNELS.values():
        assert UNITS[channel.inside_unit].dimension == channel.dimension


def test_it_refuses_an_unknown_unit_and_a_unit_of_another_kind():
    with pytest.raises(ValueError, match="'furlong' is not known"):
        to_inside(1.0, "furlong")
    with pytest.raises(ValueError, match="is a torque"):
        to_inside(1.0, "nm", "kpa")


def test_every_term_of_the_glossary_has_unit_shape_and_source():
    for term in GLOSSARY.values():
        assert term.unit
        assert term.shape
        assert term.source
