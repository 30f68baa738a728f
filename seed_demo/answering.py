"""What a car's own controller answers while it is pulled: a log of its bus, by the clock of a notebook beside the car.

The values are the forward model's own. They are asked ten times a second, six at once where so many fit, as ISO 15765-4
lets one ask, so that most answers take several frames.
"""

from collections.abc import Iterator
from datetime import datetime

import numpy as np

from seed_demo.files import drive
from seed_demo.instruments import Instruments, record
from seed_demo.plans import PullTaken
from seed_demo.shapes import Floats

RATE_HZ = 10.0
BEFORE_S, AFTER_S = 6.0, 5.0  # logged before the pull and after it
IDLE_RPM = 900.0
NOTEBOOK_SLOW_S = 37.4  # the notebook's clock was never set by anything
FIRST, SECOND = (0x0C, 0x0B, 0x11, 0x0F, 0x05, 0x34), (0x44, 0x0E, 0x0D)
_PROBE = Instruments(rate_hz=50.0, lambda_delay_s=0.06, lambda_lag_s=0.08)  # its own, at the manifold


def answers_of(taken: PullTaken) -> bytes:
    """The log of one pull, as text."""
    seen = _around(record(drive(taken), _PROBE, taken.seed))
    began = taken.taken_at.timestamp() - NOTEBOOK_SLOW_S
    lines = [f"# notebook on the diagnostic plug, {taken.taken_at:%Y-%m-%d}", "# asked ten times a second"]
    for place, stamp in enumerate(seen["time_s"].tolist()):
        values = {name: float(column[place]) for name, column in seen.items()}
        for late, wanted in ((0.0, FIRST), (0.045, SECOND)):
            lines += _exchange(began + stamp + late, wanted, values)
    return ("\n".join(lines) + "\n").encode()


def file_name_of(taken: PullTaken, at: datetime) -> str:
    """What the notebook calls it."""
    return f"plug-{at:%Y%m%d-%H%M%S}-{taken.seed % 1000:03d}.log"


def _around(run: dict[str, Floats]) -> dict[str, Floats]:
    """The run at the rate it is asked, and a while before and after it, from idle and back to it."""
    last = float(run["time_s"][-1])
    time = np.arange(-BEFORE_S, last + AFTER_S, 1.0 / RATE_HZ)
    around = {name: np.interp(time, run["time_s"], values) for name, values in run.items()}
    up = np.clip(1.0 + time / 2.5, 0.0, 1.0)  # clutch in over the last seconds before the pull's first sample
    down = np.clip(1.0 - (time - last) / 3.5, 0.0, 1.0)
    share = np.minimum(up, down)
    around["time_s"] = time
    around["engine_speed_rpm"] = IDLE_RPM + (around["engine_speed_rpm"] - IDLE_RPM) * share
    around["vehicle_speed_m_s"] = around["vehicle_speed_m_s"] * share
    around["throttle_pct"] = np.where(share < 1.0, 4.0, around["throttle_pct"])
    return around


def _exchange(at_s: float, wanted: tuple[int, ...], values: dict[str, float]) -> Iterator[str]:
    """A question and its answer, with what passes by on the bus between them."""
    yield _line(at_s, 0x7DF, bytes([len(wanted) + 1, 1, *wanted]))
    yield _line(at_s + 0.002, 0x1A4, bytes([int(at_s * 50) % 256, 0x10, 0, 0, 0x7F, 0xFF, 0, 0]))
    answer = b"\x41" + b"".join(bytes([number]) + _bytes_of(number, values) for number in wanted)
    if len(answer) < 8:
        yield _line(at_s + 0.006, 0x7E8, bytes([len(answer)]) + answer)
        return
    yield _line(at_s + 0.006, 0x7E8, bytes([0x10 | len(answer) >> 8, len(answer) & 255]) + answer[:6])
    yield _line(at_s + 0.0065, 0x7E0, b"\x30\x00\x00")
    for number, first in enumerate(range(6, len(answer), 7), start=1):
        yield _line(at_s + 0.0065 + 0.001 * number, 0x7E8, bytes([0x20 | number % 16]) + answer[first : first + 7])


def _line(at_s: float, identifier: int, data: bytes) -> str:
    return f"({at_s:.6f}) can0 {identifier:03X}#{data.ljust(8, bytes([0xAA])).hex().upper()}"


def _bytes_of(number: int, values: dict[str, float]) -> bytes:
    """A value as its bytes, by the formulas of SAE J1979 turned round."""
    one = {
        0x05: values["coolant_temperature_c"] + 40.0,
        0x0B: values["manifold_pressure_kpa"],
        0x0D: values["vehicle_speed_m_s"] * 3.6,
        0x0E: 2.0 * (values["ignition_advance_deg"] + 64.0),
        0x0F: values["intake_temperature_c"] + 40.0,
        0x11: 2.55 * values["throttle_pct"],
    }
    if number in one:
        return bytes([min(max(round(one[number]), 0), 255)])
    if number == 0x0C:
        return round(4.0 * values["engine_speed_rpm"]).to_bytes(2, "big")
    if number == 0x44:
        return round(32_768.0 * values["lambda_commanded"]).to_bytes(2, "big")
    return round(32_768.0 * values["lambda_measured"]).to_bytes(2, "big") + b"\x80\x00"
