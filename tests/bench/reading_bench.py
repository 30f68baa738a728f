"""Reading pulls: the calculation alone, one curve over HTTP, twenty pulls laid over each other."""

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
from pullbook.measure.correction import Engine
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from pullbook.shop.comparing import compare
from pullbook.shop.reading import ReadSettings
from tests.bench import notebook_way
from tests.bench.floor_curve import floor_curve
from tests.bench.rows import Row, medians_s, ms
from tests.bench.served import Served
from tests.bench.typical_pull import calibration_of, run_lasting, typical_channels, typical_file

REPEATS = 60


def calculation() -> Iterator[Row]:
    """From columns to curve, beside the floor of one convolution and beside pandas."""
    channels = typical_channels()
    channels = {name: values for name, values in channels.items() if name not in UNUSED}
    calibration, engine = roller_calibration(), Engine("spark", "natural")
    frame = pd.read_csv(pd.io.common.BytesIO(typical_file()))

    def ours() -> object:
        return read_sweep(channels, calibration, None, engine, SweepSettings(standard="observed"))

    mine, floor, notebook = medians_s(
        [ours, lambda: floor_curve(channels), lambda: notebook_way.curve(frame)], repeats=REPEATS
    )
    yield Row("columns to curve, × convolution floor", mine / floor, 2.0, note=f"{ms(mine)} to {ms(floor)}")
    note = f"pandas rolling {ms(notebook)}"
    yield Row("columns to curve, times faster than pandas rolling", notebook / mine, 10.0, least=True, note=note)


UNUSED = ("roller_surface_speed_m_s", "roller_pulses", "roller_pulse_increments")


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

    def calculated() -> None:
        read_sweep(channels, calibration, None, engine, SweepSettings(standard="observed"))

    channels = {name: values for name, values in typical_channels().items() if name not in UNUSED}
    calibration, engine = roller_calibration(), Engine("spark", "natural")
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

    if len(in_process()) != len(client.get(comparison)):
        raise RuntimeError("both ways must give the same bytes")
    whole, direct = medians_s([lambda: client.get(comparison), in_process], repeats=20)
    script = _notebook_s()
    size = len(client.get(comparison)) / 1000.0
    note = f"{ms(whole)} to {ms(script)}; {size:.0f} kB"
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


