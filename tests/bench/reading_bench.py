"""Reading pulls: the calculation alone, one curve over HTTP, twenty pulls laid over each other."""

import io
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from pullbook.api.comparisons import comparison_facts
from pullbook.db.connect import connect
from pullbook.json_answers import to_json
from pullbook.measure.air import air_from_relative_humidity
from pullbook.measure.correction import Engine
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from pullbook.runfile.channels import apply_map, recognise
from pullbook.runfile.delimited import read_delimited
from pullbook.shop.comparing import compare
from pullbook.shop.reading import ReadSettings
from tests.bench import notebook_way
from tests.bench.floor_curve import Floats, floor_curve
from tests.bench.rows import Row, medians_s, ms
from tests.bench.served import Served
from tests.bench.typical_pull import calibration_of, run_lasting, typical_file

REPEATS = 60


def calculation() -> Iterator[Row]:
    """From columns to curve, beside the floor of one convolution and beside pandas."""
    channels, calibration, engine = mapped_channels(), roller_calibration(), Engine("spark", "natural")
    frame = pd.read_csv(io.BytesIO(typical_file()))
    air = air_from_relative_humidity(18.5, 99.6, 46.0)

    def ours() -> object:
        return read_sweep(channels, calibration, air, engine, SweepSettings())

    works = [ours, lambda: floor_curve(channels), lambda: notebook_way.curve(frame)]
    mine, floor, notebook = medians_s(works, repeats=REPEATS)
    yield Row("columns to curve, × convolution floor", mine / floor, 2.0, note=f"{ms(mine)} to {ms(floor)}")
    note = f"pandas rolling {ms(notebook)}"
    yield Row("columns to curve, times faster than pandas rolling", notebook / mine, 10.0, least=True, note=note)


def mapped_channels() -> dict[str, Floats]:
    """All twelve channels of the typical file, in inside units, as the service hands them to the calculation."""
    run = read_delimited(typical_file())
    recognised = recognise(run.headers, run.values)
    if recognised.questions:
        raise RuntimeError(f"the typical file raises questions: {recognised.questions}")
    return apply_map(run.headers, run.values, recognised.choices)


def roller_calibration() -> RollerCalibration:
    """The calibration of the typical pull's roller, as measuring takes it."""
    told = calibration_of(run_lasting(15.0))
    del told["valid_from"]
    return RollerCalibration(**told)


def over_http(running: Served) -> Iterator[Row]:
    """One curve and one comparison of twenty, against the same bytes bare and the same work in process."""
    client, records = running.client, connect(running.database_url)
    curve = f"/api/v1/pulls/{running.pull_ids[0]}/curve?standard=iso_1585"
    bare_curve = client.keep_bare("curve", client.get(curve))
    settings = ReadSettings("iso_1585", None, 50.0)

    channels, calibration, engine = mapped_channels(), roller_calibration(), Engine("spark", "natural")
    air = air_from_relative_humidity(18.5, 99.6, 46.0)

    def calculated() -> None:
        read_sweep(channels, calibration, air, engine, SweepSettings())

    whole, bare, work = medians_s(
        [lambda: client.get(curve), lambda: client.get(bare_curve), calculated], repeats=REPEATS
    )
    note = f"{ms(whole)} to bare {ms(bare)} + calculation {ms(work)}"
    yield Row("one curve over HTTP, × (bare bytes + calculation)", whole / (bare + work), 3.0, note=note)

    chosen = "&".join(f"pull_id={one}" for one in running.pull_ids)
    comparison = f"/api/v1/comparisons?{chosen}&standard=iso_1585"

    def in_process() -> bytes:
        with records.reading() as session:
            return to_json(comparison_facts(compare(session, running.pull_ids, settings)))

    size = len(client.get(comparison))
    if len(in_process()) != size:
        raise RuntimeError("both ways must give the same bytes")
    whole, direct = medians_s([lambda: client.get(comparison), in_process], repeats=20)
    script = _notebook_s()
    note = f"{ms(whole)} to {ms(script)}; {size / 1000.0:.0f} kB"
    yield Row("20 pulls compared over HTTP, × notebook script", whole / script, 1 / 30, note=note)
    yield Row("20 pulls compared over HTTP, × database to JSON in process", whole / direct, 3.0, note=f"{ms(direct)}")
    records.close()


def _notebook_s(repeats: int = 5) -> float:
    """The median wall time of the script over twenty files, each time in a fresh process."""
    with tempfile.TemporaryDirectory() as folder:
        files = []
        for number in range(20):
            files.append(Path(folder) / f"run-{number}.csv")
            files[-1].write_bytes(typical_file(number))
        command = [sys.executable, str(Path(__file__).with_name("notebook_way.py")), f"{folder}/out.html", *files]
        took = []
        for _ in range(repeats):
            began = time.perf_counter()
            subprocess.run(command, check=True)
            took.append(time.perf_counter() - began)
        return sorted(took)[repeats // 2]
