"""Invented pulls of two setups with a known effect: curves of power, scatter from pull to pull, times."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
GRID = np.arange(2000.0, 6550.0, 50.0)
SHAPE = 1e5 * np.sin(1.3 * GRID / 6500.0)  # W: any smooth curve would do
BAND = (2450.0, 6050.0)
POINT_PCT = 0.2  # scatter of single points that have nothing to do with each other


@dataclass(frozen=True)
class Made:
    """Rows of power in W, and seconds."""

    first_w: Floats
    later_w: Floats
    taken_s: tuple[Floats, Floats]


def order_of(letters: str) -> tuple[Floats, Floats]:
    """The places of A's pulls and of B's in an order like ABAB, as times in seconds, seven minutes apart."""
    each = np.arange(len(letters)) * 420.0
    later = np.array([letter == "B" for letter in letters])
    return each[~later], each[later]


def in_turn(letters: str) -> tuple[int, int]:
    """How many pulls an order has of each setup."""
    return letters.count("A"), letters.count("B")


def made_pulls(
    chance: np.random.Generator,
    letters: str,
    effect_pct: float,
    scatters_pct: tuple[float, float] = (0.5, 0.5),
    drift_pct: Callable[[Floats], Floats] = np.zeros_like,
) -> Made:
    """`letters`: the order of the pulls. `drift_pct`: what the n-th pull of the day, from 0, is off by."""
    taken = order_of(letters)
    rows = []
    for times, scatter, effect in zip(taken, scatters_pct, (0.0, effect_pct), strict=True):
        level = chance.normal(0.0, scatter, (len(times), 1)) + drift_pct(times / 420.0)[:, None] + effect
        rows.append(SHAPE * (1.0 + 0.01 * (level + chance.normal(0.0, POINT_PCT, (len(times), len(GRID))))))
    return Made(rows[0], rows[1], taken)
