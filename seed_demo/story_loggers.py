"""Tickets on which more than one logger ran: the car's own controller beside the cell's, and a measurement file."""

from datetime import datetime

from seed_demo.answering import answers_of, file_name_of
from seed_demo.files import drive
from seed_demo.fleet import CORBEAU, LUMEN, stronger
from seed_demo.instruments import Instruments, record
from seed_demo.measurement_file import Group, Signal, mdf_of
from seed_demo.plans import JobPlan, PullTaken, SetupPlan
from seed_demo.rollers import VALLEY
from seed_demo.speaking import Voice

_SLOW = 10  # of the fast group's samples, one in so many


def logger_stories() -> list[JobPlan]:
    """A car without a probe, whose controller knows; and a file that holds two rates."""
    return [
        JobPlan(
            "controller-answers", 41, 13.0, VALLEY, CORBEAU, 6, "No bung for a probe. What does it run at the top?",
            (
                SetupPlan("As it came", CORBEAU.car, 2, fuel="E10"),
                SetupPlan("New plugs", stronger(CORBEAU.car, 1.006), 2, "One grade colder", fuel="E10"),
            ),
            dialect="bare", beside="answers",
            notes="The cell logged rollers, engine speed and throttle; mixture and boost are the controller’s own.",
        ),
        JobPlan(
            "measurement-file", 29, 16.0, VALLEY, LUMEN, 11, "Brought his own measuring box: can it be used?",
            (SetupPlan("With the customer’s box", LUMEN.car, 3, fuel="E10"),),
            dialect="bare", packed=True,
            notes="Rollers at 100 Hz and mixture at 10 Hz in one file, each on its own stamps.",
        ),
    ]  # fmt: skip


def measured(taken: PullTaken, logger: Instruments) -> bytes:
    """The pull as a measurement file: what turns is sampled fast, what is slow slowly and a little later."""
    seen = record(drive(taken), logger, taken.seed)
    fast, slow = slice(None, None, 2), slice(3, None, _SLOW * 2)
    return mdf_of(
        taken.taken_at,
        [
            Group(
                seen["time_s"][fast],
                [
                    Signal("Roller speed", "rad/s", seen["roller_speed_rad_s"][fast]),
                    Signal("Engine speed", "rpm", seen["engine_speed_rpm"][fast]),
                    Signal("Throttle", "%", seen["throttle_pct"][fast]),
                ],
            ),
            Group(
                seen["time_s"][slow],
                [
                    Signal("Lambda", "", seen["lambda_measured"][slow]),
                    Signal("Manifold absolute pressure", "kPa", seen["manifold_pressure_kpa"][slow]),
                    Signal("Oil temperature", "°C", seen["oil_temperature_c"][slow]),
                ],
            ),
        ],
    )


def join_answers(tuner: Voice, pull_id: str, taken: PullTaken, at: datetime) -> None:
    """What the controller answered, joined to its pull, unless it is there."""
    name = file_name_of(taken, at)
    if name not in {one["file_name"] for one in tuner.get(f"/pulls/{pull_id}/joined-files")["items"]}:
        tuner.send_file(f"/pulls/{pull_id}/joined-files", answers_of(taken), file_name=name)
