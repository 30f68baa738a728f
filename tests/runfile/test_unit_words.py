"""Units in headings, in every place and spelling that people use."""

import pytest

from pullbook.measure.units import UNITS
from pullbook.runfile.unit_words import _SPELLINGS, UnitWord, is_unit_row, read_unit, split_heading


@pytest.mark.parametrize(
    ("written", "identifier"),
    [
        *(("rev/min", "rev_min"), ("RPM", "rev_min"), ("U/min", "rev_min"), ("1/min", "rev_min"), ("min⁻¹", "rev_min")),
        *(("min-1", "rev_min"), ("tr/min", "rev_min"), ("r.p.m.", "rev_min"), ("rad/s", "rad_s"), ("km/h", "km_h")),
        *(("kph", "km_h"), ("MPH", "mph"), ("m/s", "m_s"), ("N·m", "nm"), ("N*m", "nm"), ("N m", "nm"), ("N.m", "nm")),
        *(("Nm", "nm"), ("lb-ft", "lbf_ft"), ("ft-lb", "lbf_ft"), ("lbf·ft", "lbf_ft"), ("ft.lbs", "lbf_ft")),
        *(
            ("°C", "c"),
            ("degC", "c"),
            ("deg C", "c"),
            ("ºC", "c"),
            ("F", "f"),
            ("K", "k"),
            ("kPa", "kpa"),
            ("hPa", "hpa"),
        ),
        *(
            ("mbar", "mbar"),
            ("psi", "psi"),
            ("inHg", "inhg"),
            ("λ", "lambda"),
            ("%", "pct"),
            ("°", "deg"),
            ("ms", "ms"),
        ),
        *(
            ("Sek.", "s"),
            ("g/s", "g_s"),
            ("kg/h", "kg_h"),
            ("V", "v"),
            ("kN", "kn"),
            ("kgf", "kgf"),
            ("AFR E85", "afr_e85"),
        ),
    ],
)
def test_it_reads_a_unit_as_it_is_written(written: str, identifier: str) -> None:
    assert read_unit(written) == UnitWord(identifier)


@pytest.mark.parametrize(
    ("written", "unit", "reference"),
    [
        *(
            ("psig", "psi", "gauge"),
            ("psia", "psi", "absolute"),
            ("bar(g)", "bar", "gauge"),
            ("bar (a)", "bar", "absolute"),
        ),
        *(
            ("kPa abs", "kpa", "absolute"),
            ("mbar rel", "mbar", "gauge"),
            ("bara", "bar", "absolute"),
            ("barg", "bar", "gauge"),
        ),
        *(("hPa absolut", "hpa", "absolute"), ("bar relatif", "bar", "gauge"), ("kPa gauge", "kpa", "gauge")),
    ],
)
def test_it_reads_what_a_pressure_is_counted_from(written: str, unit: str, reference: str) -> None:
    assert read_unit(written) == UnitWord(unit, reference)


@pytest.mark.parametrize("written", ["", "foo", "1/s", "lb/ft", "km", "Hz", "x%", "measured", "mS/cm", "afr"])
def test_it_does_not_guess_at_a_unit(written: str) -> None:
    assert read_unit(written) is None


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        *(("Time [s]", "Time", "s"), ("Time (s)", "Time", "s"), ("Time/s", "Time", "s"), ("Time / s", "Time", "s")),
        *(("time_s", "time", "s"), ("roller_speed_rad_s", "roller_speed", "rad_s"), ("temp_c", "temp", "c")),
        *(("Speed/km/h", "Speed", "km/h"), ("Speed km/h", "Speed", "km/h"), ("Zeit in ms", "Zeit", "ms")),
        *(("Boost (bar(g))", "Boost", "bar(g)"), ("Torque ft lb", "Torque", "ft lb"), ("Speed, mph", "Speed", "mph")),
        *(("Drehzahl 1/min", "Drehzahl", "1/min"), ("Speed / km/h", "Speed", "km/h"), ("Torque/N·m", "Torque", "N·m")),
        *(("Drehzahl n/min", "Drehzahl n/min", ""), ("Lambda (measured)", "Lambda (measured)", "")),
        *(("Air in", "Air in", ""), ("Bank A", "Bank A", ""), ("Gear", "Gear", ""), ("s", "s", ""), ("", "", "")),
        *(("Speed [furlongs]", "Speed", "furlongs"), ("RPM", "RPM", ""), ("Date/time", "Date/time", "")),
    ],
)
def test_it_parts_a_heading_from_its_unit(heading: str, name: str, unit: str) -> None:
    assert split_heading(heading) == (name, unit)


def test_it_knows_a_row_of_units_from_a_row_of_names() -> None:
    assert is_unit_row(["s", "km/h", "[Nm]", "", "-"])
    assert is_unit_row(["s", "rpm", "N", "petrol"])
    assert not is_unit_row(["Time", "Speed", "Torque"])
    assert not is_unit_row(["", "", ""])
    assert not is_unit_row(["0.0", "12", "7"])


def test_it_reads_only_into_units_that_exist() -> None:
    assert set(_SPELLINGS) <= set(UNITS)
