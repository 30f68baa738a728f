"""Headings in English, German, Spanish and French: what is certain is taken, the rest is asked."""

import numpy as np
import pytest

from pullbook.measure.glossary import CHANNELS
from pullbook.runfile.channels import Recognised, recognise
from pullbook.runfile.delimited import Header
from pullbook.runfile.unit_words import split_heading


def ask(*headings: str, **values: float) -> Recognised:
    """Recognise these headings over a ramp of 0.01 s steps; `values` sets single columns (c0, c1, …) flat."""
    headers = [Header(heading, split_heading(heading)[1]) for heading in headings]
    table = np.tile(np.arange(200) / 100, (len(headers), 1))
    for place, value in values.items():
        table[int(place[1:])] = value
    return recognise(headers, table)


def taken(*headings: str, **values: float) -> dict[str, tuple[str, str]]:
    return {one.header: (one.quantity, one.unit) for one in ask(*headings, **values).choices}


KNOWN = [
    *(("Time [s]", "time_s", "s"), ("Zeit [ms]", "time_s", "ms"), ("Temps (s)", "time_s", "s")),
    *(("Tiempo (s)", "time_s", "s"), ("Elapsed time (s)", "time_s", "s"), ("t [s]", "time_s", "s")),
    *(("Roller RPM", "roller_speed_rad_s", "rev_min"), ("Drum speed [rad/s]", "roller_speed_rad_s", "rad_s")),
    *(
        ("Rollendrehzahl 1/min", "roller_speed_rad_s", "rev_min"),
        ("rollerSpeed [km/h]", "roller_surface_speed_m_s", "km_h"),
    ),
    *(
        ("Vitesse des rouleaux [km/h]", "roller_surface_speed_m_s", "km_h"),
        ("Vitesse rouleau [m/s]", "roller_surface_speed_m_s", "m_s"),
    ),
    *(
        ("Velocidad rodillos (km/h)", "roller_surface_speed_m_s", "km_h"),
        ("Roller pulses (total)", "roller_pulses", "count"),
    ),
    *(
        ("Rollenimpulse pro Abtastung", "roller_pulse_increments", "count"),
        ("Engine RPM", "engine_speed_rpm", "rev_min"),
    ),
    *(
        ("Motordrehzahl Ist [U/min]", "engine_speed_rpm", "rev_min"),
        ("Régime moteur [tr/min]", "engine_speed_rpm", "rev_min"),
    ),
    *(
        ("Régimen del motor (rpm)", "engine_speed_rpm", "rev_min"),
        ("Brake torque [lb-ft]", "brake_torque_nm", "lbf_ft"),
    ),
    *(("Bremsmoment [Nm]", "brake_torque_nm", "nm"), ("Couple de frein [N·m]", "brake_torque_nm", "nm")),
    *(("Par de frenado [Nm]", "brake_torque_nm", "nm"), ("Load cell [kgf]", "brake_force_n", "kgf")),
    *(
        ("Bremskraft (N)", "brake_force_n", "n"),
        ("TPS [%]", "throttle_pct", "pct"),
        ("Drosselklappe [%]", "throttle_pct", "pct"),
    ),
    *(
        ("Papillon (%)", "throttle_pct", "pct"),
        ("λ", "lambda_measured", "lambda"),
        ("Lambda [-]", "lambda_measured", "lambda"),
    ),
    *(("Lambda Soll", "lambda_commanded", "lambda"), ("Lambda cible", "lambda_commanded", "lambda")),
    *(("Lambda objetivo", "lambda_commanded", "lambda"), ("MAP [kPa]", "manifold_pressure_kpa", "kpa")),
    *(("Boost [psig]", "manifold_gauge_kpa", "psi"), ("Ladedruck absolut [hPa]", "manifold_pressure_kpa", "hpa")),
    *(
        ("Ladedruck relativ (bar)", "manifold_gauge_kpa", "bar"),
        ("Pression de suralimentation relative [bar]", "manifold_gauge_kpa", "bar"),
    ),
    *(
        ("Presión de admisión absoluta [kPa]", "manifold_pressure_kpa", "kpa"),
        ("IAT [°C]", "intake_temperature_c", "c"),
    ),
    *(("Ansauglufttemperatur (°C)", "intake_temperature_c", "c"), ("ECT (F)", "coolant_temperature_c", "f")),
    *(
        ("Kühlmitteltemperatur [°C]", "coolant_temperature_c", "c"),
        ("KUEHLWASSERTEMPERATUR [°C]", "coolant_temperature_c", "c"),
    ),
    *(("Öltemperatur [°C]", "oil_temperature_c", "c"), ("Temp. aceite [°C]", "oil_temperature_c", "c")),
    *(("Température d’huile [°C]", "oil_temperature_c", "c"), ("EGT [°C]", "exhaust_temperature_c", "c")),
    *(("Zündwinkel [°]", "ignition_advance_deg", "deg"), ("Knock retard (deg)", "knock_retard_deg", "deg")),
    *(("Kraftstoffdruck [bar]", "fuel_pressure_kpa", "bar"), ("Vehicle speed [mph]", "vehicle_speed_m_s", "mph")),
    *(("Boost target [kPa]", "boost_target_kpa", "kpa"), ("Air mass flow [g/s]", "air_flow_g_s", "g_s")),
    *(("Fuel flow (kg/h)", "fuel_flow_g_s", "kg_h"), ("Batteriespannung [V]", "battery_v", "v")),
]


@pytest.mark.parametrize(("heading", "quantity", "unit"), KNOWN, ids=[row[0] for row in KNOWN])
def test_it_takes_plain_words_of_the_trade(heading: str, quantity: str, unit: str) -> None:
    assert taken(heading) == {heading: (quantity, unit)}


def test_it_takes_its_own_channel_names_at_their_word() -> None:
    for name, channel in CHANNELS.items():
        assert taken(name) == {name: (name, channel.inside_unit)}


@pytest.mark.parametrize(
    ("fuel", "unit"),
    [
        ("petrol", "afr_petrol"),
        ("Benzin", "afr_petrol"),
        ("E85", "afr_e85"),
        ("diesel", "afr_diesel"),
        ("GPL", "afr_lpg"),
    ],
)
def test_it_takes_an_air_fuel_ratio_only_with_its_fuel(fuel: str, unit: str) -> None:
    assert taken(f"AFR {fuel}", c0=13.0) == {f"AFR {fuel}": ("lambda_measured", unit)}
    assert taken(f"AFR ({fuel})", c0=13.0) == {f"AFR ({fuel})": ("lambda_measured", unit)}
    asked = ask("AFR", c0=13.0)
    assert not asked.choices
    assert "which fuel" in asked.questions[0]


@pytest.mark.parametrize(
    ("headings", "question"),
    [
        (("Time",), "states no unit"),
        (("Roller speed",), "states no unit"),
        (("Roller speed [furlongs]",), "'furlongs' is no unit"),
        (("RPM",), "engine or roller speed"),
        (("Speed [km/h]",), "roller or vehicle speed"),
        (("Geschwindigkeit [km/h]",), "roller or vehicle speed"),
        (("Torque [Nm]",), "another torque"),
        (("Kraft [N]",), "another force"),
        (("Boost [bar]",), "absolute"),
        (("Manifold pressure [kPa]",), "absolute"),
        (("Roller pulses",), "running count"),
        (("Pulses",), "pulses of the roller"),
        (("Engine RPM", "Engine speed [rpm]"), "could each be engine speed"),
        (("Lambda 1", "Lambda 2"), "could each be λ measured"),
        (("Front roller RPM", "Rear roller RPM"), "could each be roller speed"),
        (("Gear", "Note"), "No column is certain to be roller speed"),
        (("Gear", "Note"), "No column is certain to be the time"),
    ],
)
def test_it_asks_where_two_meanings_are_left(headings: tuple[str, ...], question: str) -> None:
    asked = ask(*headings)
    assert any(question in one for one in asked.questions), asked.questions
    assert not asked.choices


def test_it_has_no_question_once_the_needed_and_the_certain_are_there() -> None:
    assert ask("Time [s]", "Roller RPM", "Gear", "Torque split", "Knock voltage", "Fan speed").questions == ()


def test_it_takes_a_bare_word_where_no_other_meaning_is_left() -> None:
    asked = ask("Time [s]", "Roller speed [km/h]", "RPM", "Speed [km/h]", "Brake force [N]", "Torque [Nm]")
    assert asked.questions == ()
    assert [one.quantity for one in asked.choices] == [
        "time_s",
        "roller_surface_speed_m_s",
        "engine_speed_rpm",
        "brake_force_n",
    ]


def test_it_leaves_the_time_of_day_aside_where_elapsed_time_stands() -> None:
    asked = ask("Time of day", "Elapsed time [s]", "Roller RPM")
    assert asked.questions == ()
    assert [one.header for one in asked.choices] == ["Elapsed time [s]", "Roller RPM"]


@pytest.mark.parametrize(
    "heading",
    [
        *("Lambda correction [%]", "Exhaust manifold pressure [kPa]", "Max engine speed [rpm]", "Turbo speed [rpm]"),
        *("Engine brake torque [Nm]", "Oil temp [V]", "Wheel power [kW]", "Throttle target [%]", "Wheel speed"),
    ],
)
def test_it_does_not_take_one_thing_for_another(heading: str) -> None:
    assert taken(heading) == {}


def test_it_doubts_values_that_cannot_be_what_the_heading_says() -> None:
    assert "called λ, but its values lie about 14.7" in ask("Lambda", c0=14.7).questions[0]
    assert "is it λ?" in ask("AFR petrol", c0=0.9).questions[0]
    assert "between samples" in recognise([Header("Time [s]", "s")], np.arange(50.0)[None, :] * 5).questions[0]
    assert "backward" in recognise([Header("Time [s]", "s")], -np.arange(50.0)[None, :]).questions[0]
    assert "fraction of 1" in ask("Throttle [%]", c0=1.0).questions[0]
    assert "falls" in recognise([Header("Roller pulses total")], np.array([[1.0, 5.0, 2.0]])).questions[0]


def test_it_leaves_a_column_without_one_number_alone() -> None:
    assert taken("Time [s]", "Roller RPM", "Lambda", c2=float("nan")).keys() == {"Time [s]", "Roller RPM"}
    assert "No column is certain to be roller speed" in ask("Time [s]", "Roller RPM", c1=float("nan")).questions[0]
