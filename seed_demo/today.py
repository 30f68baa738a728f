"""What stands on the board on the day the demo is made: a ticket in every state, and a few days ahead."""

from seed_demo.fleet import CORBEAU, FEN, HARE, LUMEN, MOOR, PIKE, RIDGE, TREK, VANTA, stronger
from seed_demo.plans import JobPlan, SetupPlan
from seed_demo.rollers import PASS, VALLEY


def on_the_board() -> list[JobPlan]:
    """Today's in every state, and a few days ahead."""
    return [*_pulled(), *_waiting(), *_ahead()]


def _pulled() -> list[JobPlan]:
    """Those that have been in a cell today."""
    return [
        JobPlan(
            "today-collected", 0, 8.0, VALLEY, LUMEN, 20, "Sheet for the club championship.",
            (SetupPlan("As raced", LUMEN.car, 4, fuel="E10"),),
            link_note="Good luck on Sunday.",
        ),
        JobPlan(
            "today-ready", 0, 8.0, PASS, VANTA, 21, "Map for the new injectors, then before and after.",
            (
                SetupPlan("Old injectors", VANTA.car, 3, fuel="98 octane"),
                SetupPlan("New injectors, map 3", stronger(VANTA.car, 1.035, above_rpm=3600.0), 4,
                          "Injectors 20 % larger, fuel trimmed", fuel="98 octane"),
            ),
            state="ready", dialect="banc", link_note="Ready when you are: it pulls from 3 600 now.",
        ),
        JobPlan(
            "today-in-cell", 0, 11.0, VALLEY, PIKE, 22, "Intake and downpipe, one at a time, each shown by itself.",
            (
                SetupPlan("Baseline", PIKE.car, 4, fuel="98 octane"),
                SetupPlan("Downpipe", stronger(PIKE.car, 1.022), 4, "76 mm, same calibration", fuel="98 octane"),
                SetupPlan("Downpipe and intake", stronger(PIKE.car, 1.024), 2, "Intake added", fuel="98 octane"),
            ),
            state="in_cell",
        ),
        JobPlan(
            "today-in-the-pass", 0, 10.5, PASS, MOOR, 23, "Ticks when warm: a careful look, three pulls at the most.",
            (SetupPlan("As it came", MOOR.car, 2, fuel="95 octane"),),
            state="in_cell", dialect="banco",
        ),
        JobPlan(
            "today-on-hold", 0, 9.5, VALLEY, HARE, 26, "Boost creeps. Find it and cure it.",
            (SetupPlan("As it came", stronger(HARE.car, 0.97), 3, fuel="98 octane"),),
            state="on_hold", state_note="Waiting for a wastegate spring; due on Thursday.", dialect="arm",
        ),
    ]  # fmt: skip


def _waiting() -> list[JobPlan]:
    """Those that have not, or never will."""
    return [
        JobPlan("today-checked-in", 0, 14.5, VALLEY, RIDGE, 24, "Towing map, like a friend's.", state="checked_in"),
        JobPlan("today-checked-in-late", 0, 14.0, PASS, TREK, 25, "Service check after the belt.", state="checked_in"),
        JobPlan("today-cancelled", 0, 15.5, VALLEY, CORBEAU, 27, "Baseline pulls.", state="cancelled",
                state_note="Rang in: flat battery at home."),
        JobPlan("today-booked", 0, 16.0, VALLEY, FEN, 7, "Camshaft timing, two degrees either way.", state="booked"),
        JobPlan("today-booked-late", 0, 17.0, PASS, VANTA, 28, "Before and after a clutch.", state="booked"),
    ]  # fmt: skip


def _ahead() -> list[JobPlan]:
    return [
        JobPlan("tomorrow-first", -1, 8.5, VALLEY, HARE, 29, "Health check before the season.", state="booked"),
        JobPlan("tomorrow-second", -1, 11.0, PASS, MOOR, 30, "Baseline for a gas conversion.", state="booked"),
        JobPlan("in-three-days", -3, 9.0, VALLEY, PIKE, 31, "Full day: ethanol map.", state="booked"),
    ]  # fmt: skip
