"""Is a verdict right as often as it says? `python -m tests.studies.verdicts` prints the table.

In each case two thousand comparisons without an effect and two thousand with effects of known size. Counted are: how
often the 95 % interval holds the truth, how often nothing is called a gain or a loss, how often a gain of 2 % is called
one, and how often “no difference larger than 1 %” is right where it is said.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pullbook.measure.verdict import WORTH_PCT, Verdict, verdict
from tests.measure.made_pulls import BAND, GRID, Floats, made_pulls

COMPARISONS = 2000
FALSE_PCT, CALLED_PCT, RIGHT_PCT = 5.0, 95.0, 95.0
EFFECTS_PCT = (2.0, 0.25, 2.0, -0.5, 2.0, 0.75, 2.0, 1.0, 2.0, -1.25, 2.0, 1.5, 2.0, -3.0)
FEWEST_SAID = 60  # of “no difference”, below which its share says little


def steady(places: Floats) -> Floats:
    """0.4 % less with every pull: a heat soak that does not end."""
    return -0.4 * places


def bending(places: Floats) -> Floats:
    """3 % lost in all, most of it at first, as an engine that warms through."""
    return -3.0 * (1.0 - np.exp(-places / 3.0))


@dataclass(frozen=True)
class Case:
    """Pulls in this order, with this scatter from pull to pull. `covered_pct`: between what the interval must lie."""

    name: str
    letters: str
    scatters_pct: tuple[float, float] = (0.5, 0.5)
    drift: Callable[[Floats], Floats] = np.zeros_like
    covered_pct: tuple[float, float] = (93.0, 97.0)
    calls_two: bool = False


@dataclass(frozen=True)
class Found:
    """What became of a case's comparisons: shares in per cent, and how many each is of."""

    comparisons: int
    covered_pct: float
    false_pct: float
    called_pct: float
    right_pct: float | None
    said: int
    half_pct: float


def _in_turn(pulls: int) -> str:
    return "AB" * pulls


def _after_each_other(first: int, later: int) -> str:
    return "A" * first + "B" * later


CASES = (
    Case("4 + 4", _after_each_other(4, 4), calls_two=True),
    Case("5 + 5", _after_each_other(5, 5), calls_two=True),
    Case("8 + 8", _after_each_other(8, 8), calls_two=True),
    Case("3 + 3", _after_each_other(3, 3)),
    Case("2 + 2: wider than it need be", _after_each_other(2, 2), covered_pct=(93.0, 98.5)),
    Case("3 + 5", _after_each_other(3, 5)),
    Case("2 + 6", _after_each_other(2, 6), covered_pct=(93.0, 98.0)),
    Case("3 + 8", _after_each_other(3, 8)),
    Case("4 + 4, scatter 0.25 and 1 %", _after_each_other(4, 4), (0.25, 1.0)),
    Case("3 + 6, scatter 0.8 and 0.4 %", _after_each_other(3, 6), (0.8, 0.4)),
    Case("6 + 3, scatter 0.8 and 0.4 %", _after_each_other(6, 3), (0.8, 0.4), covered_pct=(93.0, 98.0)),
    Case("3 + 3 in turn", _in_turn(3)),
    Case("4 + 4 in turn", _in_turn(4), calls_two=True),
    Case("4 + 4 in turn, scatter 0.25 and 1 %", _in_turn(4), (0.25, 1.0)),
    Case("4 + 4 in turn, steady drift", _in_turn(4), drift=steady, calls_two=True),
    Case("A-B-B-A-A-B-B-A, steady drift", "ABBAABBA", drift=steady, calls_two=True),
    Case("A-B-A-A-B-A-B (one set aside), steady drift", "ABAABAB", drift=steady),
    Case("5 + 5 in turn, bending drift: wider", _in_turn(5), drift=bending, covered_pct=(93.0, 100.0)),
)


def one_of(case: Case, effect_pct: float, chance: np.random.Generator) -> Verdict:
    """One comparison of a case."""
    made = made_pulls(chance, case.letters, effect_pct, case.scatters_pct, case.drift)
    return verdict(made.first_w, made.later_w, GRID, BAND, made.taken_s)


def found_of(case: Case, comparisons: int, seed: int) -> Found:
    """So many comparisons of a case without an effect, and so many with the effects in turn."""
    chance = np.random.default_rng(seed)
    effects = [0.0] * comparisons + [EFFECTS_PCT[number % len(EFFECTS_PCT)] for number in range(comparisons)]
    verdicts = [one_of(case, effect, chance) for effect in effects]
    judged = list(zip(effects, verdicts, strict=True))
    intervals = [one.interval_pct or (-np.inf, np.inf) for one in verdicts]
    alike = [abs(effect) <= WORTH_PCT for effect, one in judged if one.kind == "no_difference"]
    return Found(
        comparisons=comparisons,
        covered_pct=_pct([low <= effect <= high for effect, (low, high) in zip(effects, intervals, strict=True)]),
        false_pct=_pct([one.kind in ("gain", "loss") for effect, one in judged if effect == 0.0]),
        called_pct=_pct([one.kind == "gain" for effect, one in judged if effect == 2.0]),
        right_pct=_pct(alike) if len(alike) >= FEWEST_SAID else None,
        said=len(alike),
        half_pct=float(np.median([0.5 * (high - low) for low, high in intervals])),
    )


def missed(case: Case, found: Found, deviations: float = 1.64) -> list[str]:
    """What lies outside its bounds by more than so many standard deviations of a count (1.64: one time in twenty)."""
    count = found.comparisons
    wrong = []
    low, high = case.covered_pct
    if not low - _off(low, 2 * count, deviations) <= found.covered_pct <= high + _off(high, 2 * count, deviations):
        wrong.append("covered")
    if found.false_pct > FALSE_PCT + _off(FALSE_PCT, count, deviations):
        wrong.append("false")
    if case.calls_two and found.called_pct < CALLED_PCT - _off(CALLED_PCT, count // 2, deviations):
        wrong.append("called")
    if found.right_pct is not None and found.right_pct < RIGHT_PCT - _off(RIGHT_PCT, found.said, deviations):
        wrong.append("right")
    return wrong


def _off(share_pct: float, count: int, deviations: float) -> float:
    share = min(max(0.01 * share_pct, 0.0), 1.0)
    return 100.0 * deviations * float(np.sqrt(share * (1.0 - share) / count))


def _pct(found: list[bool]) -> float:
    return 100.0 * float(np.mean(found))


def main(seed: int = 20261) -> int:
    """Print the table; 1 where a bound is missed."""
    print(
        f"{COMPARISONS} comparisons without and {COMPARISONS} with an effect in each case; scatter 0.5 % unless said\n"
    )
    print(f"{'case':<46}{'covered':>9}{'false':>8}{'2 % called':>12}{'alike right':>13}{'said':>7}{'half, %':>9}")
    wrong, each = 0, []
    for number, case in enumerate(CASES):
        found = found_of(case, COMPARISONS, seed + number)
        each.append(found)
        words = missed(case, found)
        wrong += len(words)
        right = "–" if found.right_pct is None else f"{found.right_pct:.1f}"
        print(
            f"{case.name:<46}{found.covered_pct:>9.1f}{found.false_pct:>8.1f}{found.called_pct:>12.1f}{right:>13}"
            f"{found.said:>7}{found.half_pct:>9.2f}  {'MISS ' + ', '.join(words) if words else 'pass'}",
            flush=True,
        )
    covered, false = (float(np.mean([getattr(one, name) for one in each])) for name in ("covered_pct", "false_pct"))
    wrong += false > FALSE_PCT
    print(f"{'all of them':<46}{covered:>9.1f}{false:>8.1f}")
    print("\neverything reached" if not wrong else f"\n{wrong} missed")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
