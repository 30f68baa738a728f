"""Do the regions hold the truth as often as they say? `python -m tests.studies.coastdowns` prints the tables.

Coast-downs of two kinds of rollers as six kinds of loggers write them: how often the 95 % region of the three
coefficients holds the true ones. Then J from a known torque and from an added disc, and alarms of the control chart.
"""

import sys
from dataclasses import dataclass

import numpy as np

from pullbook.measure.coastdown import read_coast_down
from pullbook.measure.coastruns import Added, check_inertia, holds
from pullbook.measure.controlchart import signals
from tests.measure.made_coasts import HEAVY, KINDS, LIGHT, motion, written

TRIALS = 500
LOW_PCT, HIGH_PCT = 92.5, 100.0  # of 500 trials at 95 %, 2.5 % is two and a half standard deviations
# Montgomery, Introduction to Statistical Quality Control, for rule 1 alone; Champ and Woodall 1987, Technometrics 29,
# 393-399, table 1, for all four; both from memory
PUBLISHED_RUN_LENGTHS = {(0.0, (1,)): 370.4, (1.0, (1,)): 43.89, (0.0, (1, 2, 3, 4)): 91.75, (1.0, (1, 2, 3, 4)): 9.22}


@dataclass(frozen=True)
class Covered:
    """Of so many trials: per cent in which the region held the truth, and the usual u of the loss at the top, in %."""

    trials: int
    region_pct: float
    u_pct: float


def cover(rollers, kind, trials, rate_hz=50.0, seed=7):
    """One row of the first table."""
    chance = np.random.default_rng([seed, KINDS.index(kind), int(rollers.inertia_kg_m2)])
    held, sizes = 0, []
    for _ in range(trials):
        top = chance.uniform(140.0, 190.0)
        run = read_coast_down(
            written(kind, *motion(rollers, top, 0.2 * top, rate_hz), chance, rate_hz), rollers.calibration
        )
        held += holds(rollers.per_inertia, run)
        powers = top ** np.arange(3)
        sizes.append(float(powers @ run.covariance @ powers) ** 0.5 / float(powers @ run.per_inertia))
    return Covered(trials, 100.0 * held / trials, 100.0 * float(np.median(sizes)))


def cover_inertia(trials, torque_nm, inertia_kg_m2, rate_hz=50.0, seed=11):
    """How often J's own 95 % interval holds J, and its usual standard uncertainty in %."""
    chance = np.random.default_rng(seed)
    held, sizes = 0, []
    for _ in range(trials):
        bare = [_run(chance, rate_hz) for _ in range(3)]
        added = Added(torque_nm, 0.01 * abs(torque_nm), inertia_kg_m2, 0.005 * inertia_kg_m2)
        really = torque_nm * (1.0 + 0.01 * chance.standard_normal())
        heavier = inertia_kg_m2 * (1.0 + 0.005 * chance.standard_normal())
        loaded = [(_run(chance, rate_hz, really, heavier), added) for _ in range(2)]
        found = check_inertia(bare, loaded, LIGHT.inertia_kg_m2, 0.0)
        held += abs(found.inertia_kg_m2 - LIGHT.inertia_kg_m2) <= 1.96 * found.u_kg_m2
        sizes.append(found.u_kg_m2 / LIGHT.inertia_kg_m2)
    return Covered(trials, 100.0 * held / trials, 100.0 * float(np.median(sizes)))


def _run(chance, rate_hz, torque_nm=0.0, inertia_kg_m2=0.0):
    top = chance.uniform(140.0, 190.0)
    moved = motion(LIGHT, top, 0.2 * top, rate_hz, torque_nm, inertia_kg_m2)
    return read_coast_down(written("white noise", *moved, chance, rate_hz), LIGHT.calibration)


def run_length(shift_sigmas, rules, charts=4000, longest=6000, seed=5):
    """Mean number of points until one of these rules first speaks, the mean being off by so many sigmas."""
    chance = np.random.default_rng(seed)
    lengths = []
    for _ in range(charts):
        size, places = 64, []
        points = shift_sigmas + chance.standard_normal(size)
        while not places and size < longest:
            places = [one.place for one in signals(points) if one.rule in rules]
            if not places:
                points = np.concatenate((points, shift_sigmas + chance.standard_normal(size)))
                size = len(points)
        lengths.append((places[0] if places else size) + 1)
    return float(np.mean(lengths))


def main(trials=TRIALS):
    """Print every table; 1 where a promise is not kept."""
    kept = True
    print(f"Coast-downs, {trials} trials a row: 95 % region of c0, c1, c2 holds the truth; u of the loss at the top")
    for name, rollers in (("light", LIGHT), ("heavy", HEAVY)):
        for kind in KINDS:
            row = cover(rollers, kind, trials)
            fine = LOW_PCT <= row.region_pct <= HIGH_PCT
            kept &= fine
            print(f"  {name:6} {kind:22} {row.region_pct:6.1f} %  u {row.u_pct:.4f} %  {'' if fine else 'NOT KEPT'}")
    print(f"J, {trials} trials a row: its 95 % interval holds it; its standard uncertainty")
    for name, torque, inertia in (("brake at 20 N·m", 20.0, 0.0), ("disc of 1.5 kg·m²", 0.0, 1.5)):
        row = cover_inertia(trials, torque, inertia)
        fine = LOW_PCT <= row.region_pct <= HIGH_PCT
        kept &= fine
        print(f"  {name:22} {row.region_pct:6.1f} %  u {row.u_pct:.3f} %  {'' if fine else 'NOT KEPT'}")
    print("Control chart: points until a rule speaks, beside published values")
    for (shift, rules), published in PUBLISHED_RUN_LENGTHS.items():
        found = run_length(shift, rules)
        fine = abs(found / published - 1.0) < 0.08
        kept &= fine
        print(
            f"  shift {shift:g} sigma, rules {rules}: {found:7.1f}  published {published}  {'' if fine else 'NOT KEPT'}"
        )
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else TRIALS))
