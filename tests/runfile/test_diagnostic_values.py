"""Answers of SAE J1979 mode 01 come to the values that outside decoders and the published formulas give."""

import pytest

from pullbook.runfile.diagnostic_values import MEANINGS, WIDTHS, parameters_in, values_of
from pullbook.runfile.isotp import Assembler
from tests.published.published_rows import PublishedRow, case, published

# what a row's quantity is called here
NAMES = {
    "coolant_C": "coolant_temperature",
    "rpm": "engine_speed",
    "kmh": "vehicle_speed",
    "deg_before_TDC": "ignition_advance",
    "iat_C": "intake_temperature",
    "maf_g_s": "air_flow",
    "throttle_pct": "throttle",
    "fuel_rail_kPa": "rail_pressure",
    "ambient_C": "ambient_temperature",
    "load_pct": "engine_load",
    "abs_load_pct": "absolute_load",
    "ltft_pct": "long_trim",
    "wr_voltage_V": "voltage_1",
    "wr_voltage_V_exact": "voltage_1",
    "wr_current_mA": "current_1",
    "lambda_python_obd_rounding": "commanded_ratio",
}


def decoded(payload: bytes) -> dict[str, float]:
    found = {}
    for number, data in parameters_in(payload):
        assert data is not None
        found |= {meaning.name: value for meaning, value in values_of(number, data)}
    return found


def payload_of(row: PublishedRow) -> bytes:
    data = bytes.fromhex(row.inputs["payload_hex"].replace(" ", ""))
    if data[0] == 0x41:
        return data
    message = Assembler().feed(0.0, data)  # the row is a whole frame, its length byte first
    assert message is not None
    return message.payload


@pytest.mark.parametrize("row", published("obd_decode"), ids=case)
def test_it_reads_what_outside_decoders_read(row: PublishedRow) -> None:
    payload, quantity = payload_of(row), row.inputs["quantity"]
    name = NAMES.get(quantity) or ("commanded_ratio" if payload[1] == 0x44 else "ratio_1")
    value = decoded(payload)[name]
    if row.tolerance == "exact":
        assert value == float(row.expected)
    else:
        row.assert_near(value)


def test_six_parameters_in_one_answer_are_told_apart() -> None:
    """ISO 15765-4 lets up to six be asked at once; their widths alone part them."""
    payload = bytes.fromhex("41 0C 1A F8 0D 12 05 64 0B 65 24 80 00 80 00 44 6C CD".replace(" ", ""))
    found = decoded(payload)
    assert found["engine_speed"] == 1726
    assert (found["vehicle_speed"], found["coolant_temperature"], found["manifold_pressure"]) == (18, 60, 101)
    assert (found["ratio_1"], found["voltage_1"]) == (1.0, 4.0)
    assert found["commanded_ratio"] == pytest.approx(0.850006, abs=1e-6)


def test_an_answer_that_ends_early_gives_what_came_before() -> None:
    parts = list(parameters_in(bytes.fromhex("410D12 0C1A".replace(" ", ""))))
    assert parts == [(0x0D, b"\x12"), (0x0C, None)]


def test_behind_a_parameter_of_unknown_width_nothing_is_guessed() -> None:
    assert list(parameters_in(bytes.fromhex("410D12F0010C1AF8"))) == [(0x0D, b"\x12"), (0xF0, None)]


def test_every_parameter_that_is_read_has_a_width_that_its_formula_can_do_with() -> None:
    for number, meanings in MEANINGS.items():
        for meaning in meanings:
            assert isinstance(meaning.value(bytes(WIDTHS[number])), float)
