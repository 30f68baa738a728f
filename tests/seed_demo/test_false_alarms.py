"""Over the invented year no sensor is called clipped and no tyre slipping but where the story makes it so."""

import pytest

from pullbook.measure.correction import Engine
from pullbook.measure.curve import SweepSettings, read_sweep
from pullbook.runfile.channels import apply_map
from pullbook.runfile.delimited import read_delimited
from seed_demo.dialects import DIALECTS
from seed_demo.files import file_of
from seed_demo.plans import Job
from seed_demo.year import the_year
from tests.seed_demo.test_files import BEGAN, calibration_of, choices_for

TOLD = {"wheel-slip": {"wheel_slip"}, "runs-lean": {"lean_under_load"}, "asks-for-rich": {"rich_by_command"}}
READ = [
    job
    for job in the_year(BEGAN).jobs
    if job.setups and job.setups[0].pulls and job.setups[0].pulls[0].hold is None and job.plan.dialect != "numbered"
]


def _codes(job: Job) -> set[str]:
    first = job.setups[0].pulls[0]
    data = file_of(first, job.plan.cell.logger, job.plan.cell.brake_arm_m, 60)
    run = read_delimited(data)
    channels = apply_map(run.headers, run.values, choices_for(DIALECTS[first.dialect], data))
    ignition = "spark" if first.car.engine.mixture_loss else "compression"
    settings = SweepSettings(standard="observed", engine_turns_per_roller_turn=first.car.turns)
    curve = read_sweep(channels, calibration_of(first), None, Engine(ignition), settings)
    return {flag.code for flag in curve.flags} - {"engine_speed_from_ratio"}


@pytest.mark.parametrize("job", READ, ids=lambda job: job.key)
def test_the_first_pull_of_a_job_is_flagged_for_what_its_story_tells_and_nothing_else(job: Job) -> None:
    assert _codes(job) == TOLD.get(job.key, set())
