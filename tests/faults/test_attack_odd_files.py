"""Files whose numbers no car ever gave: kept, and answered in words, cheaply, on every page that meets them."""

import tracemalloc

import numpy as np
import pytest

from pullbook.measure.curveparts import SweepError
from pullbook.measure.gridding import FASTEST_RPM, grid_between
from tests.api.pull_files import Steady, send_pull

HEADINGS = ",".join(Steady().headings)
COUNT = 801


def file_of(row):
    return "\n".join([HEADINGS, *(row(number) for number in range(COUNT))]).encode() + b"\n"


FILES = {
    "an engine out of reach": file_of(lambda n: f"{n / 100},{40 + n * 0.08},{2000 + n * 6000},0.9,100"),
    "an engine beyond counting": file_of(lambda n: f"{n / 100},{40 + n * 0.08},{1e9 + n * 1e7},0.9,100"),
    "the largest numbers there are": file_of(lambda n: "1e308,1e308,1e308,1,100"),
    "steps without measure": file_of(lambda n: f"{n * 1e300},{40 + n},{(40 + n) * 49.7},1,100"),
    "a clock that stands": file_of(lambda n: f"1,{40 + n * 0.08},{(40 + n * 0.08) * 49.7},1,100"),
    "a clock that runs back": file_of(lambda n: f"{8 - n / 100},{40 + n * 0.08},{(40 + n * 0.08) * 49.7},1,100"),
    "all below nothing": file_of(lambda n: f"-{n / 100},-{40 + n * 0.08},-{(40 + n * 0.08) * 49.7},-1,-100"),
    "nothing at all": file_of(lambda n: "0,0,0,0,0"),
    "one row": b"\n".join(file_of(lambda n: f"{n},{40 + n},{2000 + n},1,100").splitlines()[:2]),
}


@pytest.mark.parametrize("name", FILES)
def test_it_is_kept_and_answered_in_words(tuner, house, name):
    answer = send_pull(tuner, house, FILES[name])
    assert answer.status_code == 201, answer.text
    pull_id = answer.json()["id"]
    tracemalloc.start()
    try:
        curve = tuner.get(f"/api/v1/pulls/{pull_id}/curve")
        assert curve.status_code == 409
        assert len(curve.json()["detail"]) > 30
        for path in (f"/pulls/{pull_id}", f"/pulls/{pull_id}/channel-map", f"/tickets/{house.ticket_id}"):
            assert tuner.get(path).status_code == 200, path
        for path in ("/compare", "/compare.csv", "/api/v1/comparisons"):
            assert tuner.get(path, params={"pull_id": pull_id}).status_code == 200, path
        assert tracemalloc.get_traced_memory()[1] < 60_000_000
    finally:
        tracemalloc.stop()


def test_no_grid_is_laid_beyond_any_engine():
    assert grid_between(1000.0, FASTEST_RPM, 10.0)[-1] == FASTEST_RPM
    for low, high in ((1000.0, FASTEST_RPM + 1.0), (1000.0, 2e6), (-2e6, 3000.0), (1000.0, np.inf), (np.nan, 3000.0)):
        with pytest.raises(SweepError, match="check the columns of engine and roller speed"):
            grid_between(low, high, 50.0)
