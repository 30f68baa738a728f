"""Logs of a second logger beside a steady pull: what a car's controller answered, on a clock of its own."""

from dataclasses import dataclass

import numpy as np

from tests.api.pull_files import RATIO, Steady

NOTCHED = Steady(seconds=8.0)


@dataclass(frozen=True)
class Answered:
    """Answers at 10 Hz from `before_s` before the pull's start: engine speed, manifold pressure, λ, coolant by turns.

    A log's time counts from its first frame, so it lies `before_s` late on the pull's clock, whatever its own shows.
    """

    shows_s: float = 1_700_000_004.25  # at the pull's zero
    before_s: float = 3.0
    lambda_value: float = 0.85
    manifold_kpa: int = 96
    coolant_c: int = 88

    def can(self) -> bytes:
        """As a text CAN log."""
        lines = ["# second logger, by its own clock"]
        stamps = np.arange(round((NOTCHED.seconds + self.before_s + 2.0) * 10)) / 10.0 - self.before_s
        for stamp in stamps:
            quarter = round(4.0 * float(engine_speed_rpm(stamp)))
            ratio = round(self.lambda_value * 32_768)
            answer = f"410C{quarter:04X}0B{self.manifold_kpa:02X}"
            slow = f"4134{ratio:04X}800005{self.coolant_c + 40:02X}"
            for place, payload in enumerate((answer, slow)):
                data = bytes.fromhex(payload)
                at = stamp + self.shows_s + 0.004 * place
                if len(data) < 8:
                    frames = [bytes([len(data)]) + data]
                else:
                    frames = [bytes([0x10, len(data)]) + data[:6], b"\x21" + data[6:]]
                lines += [f"({at:.6f}) can0 7E8#{frame.ljust(8, bytes(1)).hex().upper()}" for frame in frames]
        return ("\n".join(lines) + "\n").encode()


def engine_speed_rpm(time_s: float) -> float:
    """Idling before the pull, with it while it lasts, falling after."""
    last = NOTCHED.start_rad_s + NOTCHED.gain_rad_s2 * NOTCHED.seconds
    if time_s < 0:
        roller = NOTCHED.start_rad_s * max(0.5, 1.0 + 0.4 * time_s)
    elif time_s <= NOTCHED.seconds:
        roller = NOTCHED.start_rad_s + NOTCHED.gain_rad_s2 * time_s
    else:
        roller = last * max(0.5, 1.0 - 0.3 * (time_s - NOTCHED.seconds))
    return roller * RATIO * 30.0 / np.pi


def without_mixture() -> bytes:
    """The steady pull from a logger that knows no λ: its fourth column is gone."""
    rows = (line.split(b",") for line in NOTCHED.csv().splitlines())
    return b"".join(b",".join([*row[:3], *row[4:]]) + b"\n" for row in rows)
