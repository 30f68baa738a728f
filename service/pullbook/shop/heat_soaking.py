"""Heat soak: pulls of one setup that lose power one after another while the engine warms. The heat is named first."""

from collections.abc import Sequence
from itertools import combinations
from math import factorial

import numpy as np

from pullbook.measure.curve import Flag
from pullbook.shop.facts import Floats
from pullbook.shop.reading import ReadPull

FEWEST_PULLS = 4
BY_CHANCE = 0.05  # how likely an order as steady as this may be for pulls in no order at all
LEAST_LOSS = 0.005  # of the first pull's mean power
LEAST_WARMING_C = 2.0
_WARMTHS = (("intake_temperature_c", "intake air"), ("coolant_temperature_c", "coolant"))


def heat_soak(called: str, pulls: Sequence[ReadPull], standard: str) -> Flag | None:
    """Of the pulls that count in one setup, in any order: a flag where power falls steadily as temperature rises."""
    counted = [pull for pull in pulls if pull.curve is not None and pull.facts.set_aside_at is None]
    counted = [pull for pull in counted if pull.curve is not None and pull.curve.standard == standard]
    counted.sort(key=lambda pull: pull.facts.taken_at)
    if len(counted) < FEWEST_PULLS:
        return None
    grid = _shared_speeds(counted)
    if len(grid) < 2:
        return None
    laid = [pull.on_grid(grid) for pull in counted]
    powers = [float(curve.power_w.mean()) for curve in laid]
    lost = 1.0 - powers[-1] / powers[0]
    if lost < LEAST_LOSS or not steadily_rising([-power for power in powers]):
        return None
    for channel, words in _WARMTHS:
        if not all(channel in curve.channels for curve in laid):
            continue
        warmths = [float(np.nanmean(curve.channels[channel])) for curve in laid]
        if warmths[-1] - warmths[0] >= LEAST_WARMING_C and steadily_rising(warmths):
            return Flag("heat_soak", _said(called, lost, len(counted), grid, words, (warmths[0], warmths[-1])))
    return None


def _said(called: str, lost: float, count: int, grid: Floats, words: str, warmed_c: tuple[float, float]) -> str:
    return (
        f"Suspect heat soak before the parts: from the first to the last of {count} pulls of {called}, mean power from "
        f"{grid[0]:.0f} to {grid[-1]:.0f} rev/min fell by {100 * lost:.1f} % while {words} warmed from "
        f"{warmed_c[0]:.0f} to {warmed_c[1]:.0f} °C. Let it cool and repeat, or compare pulls at like temperature."
    )


def _shared_speeds(pulls: Sequence[ReadPull]) -> Floats:
    """Engine speeds that every curve has a point at."""
    each = [set(pull.curve.engine_speed_rpm.tolist()) for pull in pulls if pull.curve is not None]
    return np.array(sorted(set.intersection(*each)))


def steadily_rising(values: Sequence[float]) -> bool:
    """Whether values in order rise so steadily that no order at all would do as well one time in twenty (Kendall)."""
    inversions = sum(later <= earlier for earlier, later in combinations(values, 2))
    return chance_of(inversions, len(values)) <= BY_CHANCE


def chance_of(inversions: int, count: int) -> float:
    """The share of all orders of `count` things that have at most so many pairs the wrong way round."""
    ways = np.ones(1)
    for more in range(2, count + 1):
        ways = np.convolve(ways, np.ones(more))
    return float(ways[: inversions + 1].sum() / factorial(count))
