"""Load tests: the power of holds against the truth; large pulls, their curve and the fuel map of twenty of them."""

import json
import time
from collections.abc import Iterator

import numpy as np

from pullbook.db.connect import connect
from pullbook.measure.air import air_from_relative_humidity
from pullbook.measure.correction import Engine
from pullbook.measure.curve import RollerCalibration, SweepSettings, read_sweep
from pullbook.measure.hold import HoldSettings, read_holds
from pullbook.runfile.channels import apply_map, recognise
from pullbook.runfile.delimited import read_delimited
from pullbook.shop.fuel_mapping import MapAsked, setup_map
from seed_demo.holding_run import HeldRun, HoldPlan
from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import Car, Roller
from seed_demo.shapes import lines
from tests.bench.floor_curve import floor_curve
from tests.bench.rows import Row, medians_s, ms
from tests.bench.served import Served
from tests.bench.typical_pull import ENGINE, calibration_of, large_file, run_lasting

PULLS, REPEATS, HOLD_SEEDS = 20, 7, 15


def curve_of_a_large_pull() -> Iterator[Row]:
    """From columns to curve, beside the floor of the typical pull: at this rate its window is the width of a blink, and
    one of the usual width in seconds would cost five times as much."""
    run = read_delimited(large_file())
    channels = apply_map(run.headers, run.values, recognise(run.headers, run.values).choices)
    told = calibration_of(run_lasting(60.0))
    del told["valid_from"]
    calibration, engine = RollerCalibration(**told), Engine("spark", "natural")
    air = air_from_relative_humidity(18.5, 99.6, 46.0)

    def ours() -> object:
        return read_sweep(channels, calibration, air, engine, SweepSettings())

    mine, floor = medians_s([ours, lambda: floor_curve(channels)], repeats=REPEATS)
    name = "60 s × 1 000 Hz × 20: columns to curve, × convolution floor"
    yield Row(name, mine / floor, 2.0, note=f"{ms(mine)} to {ms(floor)}")


def holds() -> Iterator[Row]:
    """Power of a hold in four steps, hunting and slowly approached, against the truth of each settled part."""
    steps = lines((0, 2500), (3, 2500), (3.01, 3500), (25, 3500), (25.01, 4500), (45, 4590), (45.01, 3000), (60, 3000))
    throttle = lines((0.0, 0.6), (1.0, 0.6), (1.5, 1.0), (60.0, 1.0))
    run = HeldRun(Car(ENGINE), Roller(), HoldPlan(steps, throttle, 60.0, approach_s=2.0, hunts=0.002))
    instruments = Instruments(
        speed_noise_rev_min=0.4, engine_speed_noise_rpm=8.0, brake_noise_nm=8.0, pulses_per_turn=60
    )
    calibration = RollerCalibration(
        58.0, 0.25, pulses_per_turn=60, loss_c0_nm=8.0, loss_c1_nm_s=0.05, loss_c2_nm_s2=4e-4
    )
    for pick_up, words in (("roller_speed_rad_s", "0.4 rev/min noise"), ("roller_pulses", "60 pulses a turn")):
        names = ("time_s", "engine_speed_rpm", "brake_torque_nm", "throttle_pct", pick_up)
        off = []
        for seed in range(HOLD_SEEDS):
            seen = record(run, instruments, seed)
            channels = {name: seen[name] for name in names}
            found = read_holds(channels, calibration, None, Engine("spark", "natural"), HoldSettings("observed"))
            for one in found.plateaus:
                truth = run.mean_power_w(one.settled_s, one.end_s)
                by = abs(one.observed_power.value - truth)
                off.append((100.0 * by / truth, by / one.observed_power.u))
        worst, inside = max(pct for pct, _ in off), sum(many < 2.0 for _, many in off)
        note = f"{len(off)} plateaus; within twice u: {inside}"
        yield Row(f"hold power at 200 Hz, {words}, brake noise 8 N·m: worst", worst, 0.3, "%", note=note)


def fuel_map_of_twenty(running: Served) -> Iterator[Row]:
    """From the database to the map, in process, by processor time: blocks read, columns unpacked, lag found, laid."""
    setup_id = _filed(running)
    records = connect(running.database_url)
    speeds, loads = tuple(np.arange(1000.0, 7500.0, 500.0)), tuple(np.arange(20.0, 130.0, 10.0))
    asked = MapAsked(setup_id=setup_id, speed_edges_rpm=speeds, load_edges=loads)
    times: list[float] = []
    for _ in range(REPEATS):
        with records.reading() as session:
            began = time.process_time()
            found = setup_map(session, asked)
            times.append(time.process_time() - began)
    records.close()
    counted = sum(one.left_out is None for one in found.sources)
    if counted != PULLS or found.made is None or found.made.total_s < 59.0 * PULLS:
        raise RuntimeError(f"only {counted} of {PULLS} pulls are in the map")
    middle = sorted(times)[REPEATS // 2]
    yield Row(f"fuel map of {PULLS} pulls of 60 s × 1 000 Hz × 20", middle, 1.0, "s", note="one core, database to map")


def _filed(running: Served) -> str:
    """A setup with twenty large pulls: the same run, files that differ by the blank lines at their ends."""
    path = f"/api/v1/tickets/{running.house.ticket_id}/setups"
    body = json.dumps({"name": "Large pulls", "gear": "4"}).encode()
    status, answer = running.client.ask("POST", path, body, "application/json")
    if status != 201:
        raise RuntimeError(f"{status} {answer!r}")
    setup_id = str(json.loads(answer)["id"])
    for number in range(PULLS):
        where = (
            f"setup_id={setup_id}&cell_id={running.house.cell_id}&kind=sweep&taken_at=2026-03-10T11:{number:02d}:00Z"
        )
        address = f"/api/v1/tickets/{running.house.ticket_id}/pulls?{where}&file_name=large-{number}.csv"
        status, answer = running.client.ask("POST", address, large_file() + b"\n" * number)
        if status != 201 or json.loads(answer)["state"] != "readable":
            raise RuntimeError(f"{status} {answer!r}")
    return setup_id
