"""λ as a controller asks for it and as a late probe tells it, made in closed form, with the lag known exactly.

Lag is the effective delay: pure delay plus time constant of the first-order probe. Nothing here knows how it is found.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
BEGINS_S, ENDS_S, WHOLE_S = 2.0, 12.0, 14.5
RATE_HZ, SLOW_HZ = 200.0, 10.0
SHAPES = ("enrich and protect", "opening throttle", "protection alone", "waves", "gentle slopes", "sudden step")
SUDDEN_S = 0.004
WAYS = ("200 Hz", "10 Hz held", "10 Hz, lines between")
TAU_S = 0.1


@dataclass(frozen=True)
class Case:
    """One made pull: shape of the command, how it was written down, lag in s, noise of the probe in λ, seed; `strays`
    is how far the mixture wanders from the command by itself, λ, in two waves of 4 to 12 s each."""

    shape: str
    way: str
    lag_s: float
    seed: int
    noise: float = 0.004
    tau_s: float = TAU_S
    measured_way: str = "200 Hz"
    strays: float = 0.0


@dataclass(frozen=True)
class Drawn:
    """What chance made of a case: the command's knots (s, λ), rows' stamps in s, λ as the probe tells it there, and
    when a slow source was asked, s."""

    knots: tuple[Floats, Floats]
    time: Floats
    measured: Floats
    asked_at: Floats


def drawn(case: Case) -> Drawn:
    """The case drawn."""
    chance = np.random.default_rng([case.seed, SHAPES.index(case.shape)])
    knots = _knots(case.shape, chance)
    time = np.arange(0.0, WHOLE_S, 1.0 / RATE_HZ)
    measured = after_probe(knots, time - (case.lag_s - case.tau_s), case.tau_s)
    measured = measured + chance.normal(0.0, case.noise, len(time))
    asked_at = np.arange(chance.uniform(0.0, 1.0 / SLOW_HZ), WHOLE_S, 1.0 / SLOW_HZ)
    for _ in range(2 if case.strays else 0):
        turns = time / chance.uniform(4.0, 12.0) + chance.uniform()
        measured = measured + case.strays * np.sin(2.0 * np.pi * turns)
    return Drawn(knots, time, measured, asked_at)


def channels_of(case: Case) -> tuple[dict[str, Floats], tuple[float, float]]:
    """The channels of such a pull, and from when to when the throttle was open."""
    made = drawn(case)
    return {
        "time_s": made.time,
        "lambda_commanded": _written(np.interp(made.time, *made.knots), made.time, made.asked_at, case.way),
        "lambda_measured": _written(made.measured, made.time, made.asked_at, case.measured_way),
    }, (BEGINS_S, ENDS_S)


def _knots(shape: str, chance: np.random.Generator) -> tuple[Floats, Floats]:
    """Times and values between which the command runs straight."""
    first, second = chance.uniform(2.8, 4.0), chance.uniform(6.0, 8.0)
    if shape == "enrich and protect":
        return np.array([first, first + 1.2, second, second + 2.0]), np.array([0.97, 0.87, 0.86, 0.76])
    if shape == "opening throttle":
        opens = chance.uniform(1.75, 1.95)
        return np.array([opens, opens + 0.12, 5.0, 9.0]), np.array([1.0, 0.9, 0.88, 0.86])
    if shape == "protection alone":
        return np.array([second - 1.0, second + 2.0]), np.array([0.86, 0.72])
    if shape == "sudden step":
        return np.array([first, first + SUDDEN_S, 11.0]), np.array([0.97, 0.87, 0.84])
    if shape == "waves":
        at = np.arange(-2.0, WHOLE_S + 2.0, 0.02)
        return at, 0.88 + 0.03 * np.sin(1.7 * at + first) + 0.02 * np.sin(4.1 * at + second)
    return np.array([2.0, 4.5, 8.0, 12.0]), np.array([0.93, 0.90, 0.88, 0.87])


def after_probe(knots: tuple[Floats, Floats], time: Floats, tau_s: float) -> Floats:
    """The exact answer of a first-order probe to a course of straight lines: each knot adds its change of slope."""
    at, value = knots
    slopes = np.concatenate(([0.0], np.diff(value) / np.diff(at), [0.0]))
    answered = np.full(len(time), value[0])
    for begins, change in zip(at, np.diff(slopes), strict=True):
        since = np.maximum(time - begins, 0.0)
        answered += change * (since + (tau_s * np.expm1(-since / tau_s) if tau_s else 0.0))
    return answered


def _written(values: Floats, time: Floats, asked_at: Floats, way: str) -> Floats:
    """What stands in the file's rows."""
    if way == "200 Hz":
        return values
    slow = np.interp(asked_at, time, values)
    if way == "10 Hz held":
        return slow[np.maximum(np.searchsorted(asked_at, time, side="right") - 1, 0)]
    return np.interp(time, asked_at, slow)
