"""A text CAN log with diagnostic answers becomes columns whose headings are understood by themselves."""

import numpy as np
import pytest

from pullbook.runfile.any_kind import read_run
from pullbook.runfile.channels import recognise
from pullbook.runfile.not_read import RunFileError
from pullbook.runfile.obdlog import looks_like_frames
from pullbook.runfile.raw_run import RawRun
from tests.runfile.test_isotp import frames_of


def log(*answers: tuple[float, str, str]) -> bytes:
    """Answers (time, identifier, payload in hex) as a log; each in as many frames as it needs."""
    lines = ["# a drive, third gear"]
    for time, sender, payload in answers:
        for place, frame in enumerate(frames_of(bytes.fromhex(payload))):
            lines.append(f"({time + 0.002 * place:.6f}) can0 {sender}#{frame.hex().upper()}")
    return ("\n".join(lines) + "\n").encode()


def column(run: RawRun, heading: str) -> list[float]:
    place = [header.text for header in run.headers].index(heading)
    return run.values[place][np.isfinite(run.values[place])].tolist()


EVERYTHING = ["05", "0B", "0C", "0D", "0E", "0F", "10", "11", "23", "34", "44", "52", "5C"]


def test_its_headings_are_understood_by_themselves() -> None:
    payloads = [f"41{number}" + "80" * 4 for number in EVERYTHING]
    run = read_run(log(*((1.0 + place, "7E8", payload) for place, payload in enumerate(payloads))))
    found = recognise(run.headers, run.values, needs_roller=False)
    assert found.questions == ()
    assert {choice.quantity for choice in found.choices} == {
        *("time_s", "coolant_temperature_c", "manifold_pressure_kpa", "engine_speed_rpm", "vehicle_speed_m_s"),
        *("ignition_advance_deg", "intake_temperature_c", "air_flow_g_s", "throttle_pct", "fuel_pressure_kpa"),
        *("lambda_measured", "lambda_commanded", "oil_temperature_c"),
    }


def test_every_value_stands_at_the_stamp_of_its_answers_first_frame() -> None:
    run = read_run(log((5.0, "7E8", "410C1AF80D12056404FF44800024800080000B65"), (5.5, "7E8", "410D13")))
    assert run.values[0].tolist() == [0.0, 0.5]
    assert column(run, "Engine speed [rpm]") == [1726.0]
    assert column(run, "Vehicle speed [km/h]") == [18.0, 19.0]
    assert run.found["time 0 is"] == "5.000000 s in the log"


def test_answers_of_two_senders_that_interleave_are_kept_apart() -> None:
    first = frames_of(bytes.fromhex("410C1AF80D12056404FF"))
    second = frames_of(bytes.fromhex("410C00000D63054604FF"))
    assert len(first) == len(second) == 2
    order = [("7E9", second[0]), ("7E8", first[0]), ("7E9", second[1]), ("7E8", first[1])]
    lines = [f"(1.{place}) can0 {sender}#{frame.hex()}" for place, (sender, frame) in enumerate(order)]
    run = read_run("\n".join(lines).encode())
    assert column(run, "Engine speed [rpm]") == [1726.0]
    assert column(run, "7E9 answer 0C speed [rpm]") == [0.0]
    quantities = [one.quantity for one in recognise(run.headers, run.values, needs_roller=False).choices]
    assert quantities.count("engine_speed_rpm") == 1


def test_identifiers_of_29_bits_answer_too() -> None:
    run = read_run(log((1.0, "18DAF110", "410C1AF8"), (1.1, "18DAF110", "410C1AFC")))
    assert column(run, "Engine speed [rpm]") == [1726.0, 1727.0]


def test_a_second_sensor_and_a_second_pressure_leave_no_doubt() -> None:
    run = read_run(
        log(
            (1.0, "7E8", "4135800080004124"[:12]),
            (1.1, "7E8", "413480008000"),
            (1.2, "7E8", "412307D0"),
            (1.3, "7E8", "410A64"),
            (1.4, "7E8", "410C1AF8"),
        )
    )
    found = recognise(run.headers, run.values, needs_roller=False)
    assert found.questions == ()
    assert column(run, "Fuel pressure [kPa]") == [20000.0]
    assert column(run, "7E8 answer 0A pressure [kPa]") == [300.0]
    assert column(run, "Lambda") == [1.0]


def test_what_is_lost_or_refused_is_counted() -> None:
    whole = log(
        (1.0, "7E8", "410C1AF80D12056404FF44800024800080000B65"), (2.0, "7E8", "410D13"), (3.0, "7E8", "7F0112")
    )
    lines = whole.decode().splitlines()
    cut = "\n".join([*lines[:2], *lines[3:], "(4.0) can0 7E8#0643010143AAAAAA", "(5.0) can0 7DF#02010C0000000000"])
    run = read_run(cut.encode())
    assert run.found["frames lost within an answer"] == "1"
    assert run.found["answers of several frames that broke off"] == "1"
    assert run.found["negative answers"] == run.found["answers to other questions"] == run.found["requests"] == "1"


def test_other_traffic_is_passed_over() -> None:
    lines = log((1.0, "7E8", "410C1AF8")).decode().splitlines()
    busy = [f"(0.{place:06d}) can0 {0x100 + place % 400:03X}#{place:016X}" for place in range(900)]
    run = read_run("\n".join([*busy, *lines]).encode())
    assert run.values.shape == (2, 1)


def test_a_log_without_an_answer_is_kept_and_says_why() -> None:
    with pytest.raises(RunFileError, match="nothing in it answers"):
        read_run(b"(1.0) can0 123#0102\n(1.1) can0 124#0304\n")


def test_a_clock_that_passes_midnight_goes_on() -> None:
    run = read_run(b"23:59:59.5 7E8#03410D12\n00:00:00.5 7E8#03410D13\n")
    assert run.values[0].tolist() == [0.0, 1.0]


def test_a_table_of_figures_is_still_a_table() -> None:
    rows = "\n".join(f"{place / 10},{100 + place},2,{place % 90 + 10},{place % 80 + 10}" for place in range(50))
    run = read_run(f"Time [s],Roller speed [rad/s],Gear,Throttle [%],Load #7E [%]\n{rows}\n".encode())
    assert run.reader == "delimited-1"
    assert run.values.shape == (5, 50)


@pytest.mark.parametrize("identifier", ["7E8", "7e8h", "0x7E8", "18DAF110", "0x18daf110", "18DAF110x"])
@pytest.mark.parametrize(
    "form", ["{} {} 8 04 41 0C 1A F8 00 00 00", "{}; {}; 8; 04410C1AF8000000", "({}) can0 {} #04410C1AF8"]
)
def test_the_quick_look_passes_over_no_form_of_an_address(identifier: str, form: str) -> None:
    log = "".join(form.format(f"{0.1 * row:.1f}", identifier) + "\n" for row in range(20)).encode()
    assert looks_like_frames(log)
    assert read_run(log).reader == "can-1"
