"""Are the rollers steady? Evidence behind each calibration, and the house's own car pulled every few weeks.

In the valley cell the bearings grow stiff: the house car reads less and less, rule after rule speaks, the bearings are
renewed, coast-downs make a new calibration, and the car reads as before. The customers' pulls of those
weeks leave the stiffness out, so that each of their stories stays about one thing.
"""

import random
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np

from seed_demo import sky
from seed_demo.fleet import FEN, stronger
from seed_demo.people import SHOP_NAME, Customer
from seed_demo.plans import Job, JobPlan, PullTaken, Reading, SetupTaken, Vehicle, Year
from seed_demo.rollers import PASS, VALLEY, CalibrationPlan, CellPlan
from seed_demo.rolling_road import Pull, Roller
from seed_demo.shapes import Floats
from seed_demo.speaking import Facts, Voice
from seed_demo.vins import invented_vin

SEED = 20_340
BAND_RPM = (3000.0, 6000.0)
VALLEY_DAYS = (355, 333, 311, 290, 268, 247, 226, 204, 183, 162, 147, 125, 104, 82, 61, 38, 12)
PASS_DAYS = (340, 300, 255, 210, 165, 120, 75, 30)
STIFF_FROM, RENEWED, STIFFEST_NM = 240, 140, 19.0
FEW = 8  # jobs: a small demo has no more than that
CAR_ONLY = Roller(inertia_kg_m2=FEN.car.inertia_kg_m2, c0_nm=11.0, c1_nm_s=0.05, c2_nm_s2=5e-4)
HOUSE = Customer(f"{SHOP_NAME}, house car", "+44 1632 960099", "house@quillhaven.example", "Ours: kept as it is.")
ASKED = {"valley": "House car in the valley cell: are the rollers steady?", "pass": "House car in the pass cell"}


def reference_jobs(year: Year) -> tuple[Job, ...]:
    """A ticket for each cell with the house car's visits over the year; of a small demo the valley's alone."""
    cells = ((VALLEY, VALLEY_DAYS), (PASS, PASS_DAYS))
    return tuple(_job(year, cell, days) for cell, days in (cells[:1] if len(year.jobs) <= FEW else cells))


def reference_readings(jobs: tuple[Job, ...]) -> list[Reading]:
    """The air a few minutes before each visit."""
    made = []
    for job in jobs:
        for taken in job.setups[0].pulls:
            air, at = taken.air, taken.taken_at - timedelta(minutes=6)
            pressure = {"station_pressure_kpa": round(air.pressure_kpa, 2)}
            humid = {"relative_humidity_pct": round(air.relative_humidity_pct, 0)}
            made.append(
                Reading(job.key, job.plan.cell, at, round(air.temperature_c, 1), pressure, humid, "Wall instrument")
            )
    return made


def _job(year: Year, cell: CellPlan, days: tuple[int, ...]) -> Job:
    chance = random.Random(f"{SEED}/{cell.key}")
    busy = {job.booked_from.date() for job in year.jobs if job.plan.cell.key == cell.key}
    pulls = tuple(_pull(year.began_at, cell, ago, number, busy) for number, ago in enumerate(days, 1))
    plan = JobPlan(
        f"house-car-{cell.key}", days[0], 7.5, cell, FEN, -1, ASKED[cell.key], notes="Never changed; 240 kPa."
    )
    first, last = pulls[0].taken_at, pulls[-1].taken_at
    setup = SetupTaken("As ever", "", FEN.gear, FEN.car.turns, 240.0, "98 octane", pulls)
    vin = invented_vin(FEN.make, FEN.years[1], random.Random(SEED))
    moved = {  # one ticket for all its visits: it is in the cell for the last of them, or a year's hours would be used
        "checked_in": last - timedelta(minutes=40),
        "in_cell": last - timedelta(minutes=20),
        "ready": last + timedelta(minutes=20),
        "collected": last + timedelta(minutes=25),
    }
    start = first - timedelta(minutes=30)
    odometer_km = 48_000 + chance.randrange(900)
    return Job(
        plan,
        Vehicle(HOUSE, FEN, FEN.years[1], "Q0 001 HSE", vin),
        start,
        first + timedelta(minutes=30),
        odometer_km,
        (setup,),
        start - timedelta(days=1),
        {state: at.replace(microsecond=0) for state, at in moved.items()},
    )


def _pull(began_at: datetime, cell: CellPlan, ago: int, number: int, busy: set[date]) -> PullTaken:
    at = (began_at - timedelta(days=ago)).replace(hour=6, minute=40, second=0, microsecond=0)
    while at.date() in busy:  # a reading of that morning would be nearer to somebody's pull than their own
        at += timedelta(days=1)
    chance = random.Random(f"{SEED}/{cell.key}/{number}")
    air = sky.air_at(cell.altitude_m, at)
    roller = cell.roller(ago)
    if cell is VALLEY and RENEWED < ago < STIFF_FROM:
        roller = replace(roller, c0_nm=roller.c0_nm + STIFFEST_NM * (STIFF_FROM - ago) / (STIFF_FROM - RENEWED))
    return PullTaken(
        file_name=f"house-car-{at:%Y-%m-%d}.csv",
        dialect="bench",
        taken_at=at,
        car=stronger(FEN.car, 1.0 + chance.gauss(0.0, 0.003)),
        roller=roller,
        pull=Pull(
            FEN.from_rpm, FEN.to_rpm, steady_s=1.2, coast_s=1.0, intake_start_c=air.temperature_c + FEN.standing_k
        ),
        air=air,
        seed=chance.randrange(2**31),
        set_aside="",
    )


def make_reference(tuner: Voice, jobs: tuple[Job, ...], ticket_ids: list[str]) -> None:
    """The house car named as the reference, and once let coast down, declutched; nothing twice."""
    vehicle_id = tuner.get(f"/tickets/{ticket_ids[0]}")["vehicle_id"]
    if all(one["vehicle_id"] != vehicle_id for one in tuner.get("/reference-cars")["items"]):
        asked = {"vehicle_id": vehicle_id, "name": "House Fen", "standard": "iso_1585", "first_pulls": 6}
        tuner.post(
            "/reference-cars",
            asked
            | {
                "band_low_rpm": BAND_RPM[0],
                "band_high_rpm": BAND_RPM[1],
                "note": "Fourth gear, 240 kPa, oil at 90 °C.",
            },
        )
    if any(one["kind"] == "coast_down" for one in tuner.every(f"/tickets/{ticket_ids[0]}/pulls")):
        return
    last = jobs[0].setups[0].pulls[-1]
    together = _together(last.roller, CAR_ONLY)
    tuner.send_file(
        f"/tickets/{ticket_ids[0]}/pulls",
        coast_down_csv(together, 130.0, 26.0, seed=SEED),
        setup_id=tuner.get(f"/tickets/{ticket_ids[0]}/setups")["items"][0]["id"],
        cell_id=tuner.get(f"/tickets/{ticket_ids[0]}")["cell_id"],
        kind="coast_down",
        taken_at=(last.taken_at + timedelta(minutes=9)).isoformat(),
        file_name="house-car-coasting.csv",
    )


def _together(roller: Roller, other: Roller) -> Roller:
    return replace(
        roller,
        inertia_kg_m2=roller.inertia_kg_m2 + other.inertia_kg_m2,
        c0_nm=roller.c0_nm + other.c0_nm,
        c1_nm_s=roller.c1_nm_s + other.c1_nm_s,
        c2_nm_s2=roller.c2_nm_s2 + other.c2_nm_s2,
    )


def evidence_behind(owner: Voice, cell_id: str, cell: CellPlan, plan: CalibrationPlan, valid_from: datetime) -> Facts:
    """What this calibration was made from, filed now: `evidence_ids` for it. Files that are there are found again."""
    path, ids = f"/cells/{cell_id}/calibration-evidence", []
    for number, share in enumerate((1.06, 1.02, 1.0, 1.0)):
        cold = replace(plan.roller, c0_nm=plan.roller.c0_nm * share)
        data = coast_down_csv(cold, 180.0 - 4.0 * number, 30.0, seed=SEED + 10 * plan.from_days_ago + number)
        note = "cold" if share > 1.03 else ""
        ids.append(_file(owner, path, data, "coast_down", f"coast {number + 1}.csv", valid_from, number, note, {}))
    braked = replace(plan.roller, c0_nm=plan.roller.c0_nm + 60.0)
    if cell.has_brake:
        data = coast_down_csv(braked, 170.0, 30.0, seed=SEED + plan.from_days_ago)
        said = {"torque_nm": 60.0, "torque_u_nm": 0.3}
        ids.append(_file(owner, path, data, "known_torque", "braked 60.csv", valid_from, 5, "", said))
        ids.append(_weights(owner, path, cell, valid_from))
    else:
        heavier = replace(plan.roller, inertia_kg_m2=plan.roller.inertia_kg_m2 + 24.0)
        data = coast_down_csv(heavier, 170.0, 30.0, seed=SEED + plan.from_days_ago)
        said = {"disc_inertia_kg_m2": 24.0, "disc_inertia_u_kg_m2": 0.12}
        ids.append(_file(owner, path, data, "known_mass", "disc.csv", valid_from, 5, "", said))
    return {"evidence_ids": ids}


def _file(
    owner: Voice, path: str, data: bytes, kind: str, name: str, valid_from: datetime, place: int, note: str, said: Facts
) -> str:
    taken = valid_from - timedelta(hours=3) + timedelta(minutes=14 * place)
    told = {"kind": kind, "taken_at": taken.isoformat(), "file_name": name, "note": note, **said}
    return str(owner.send_file(path, data, **told)["id"])


def _weights(owner: Voice, path: str, cell: CellPlan, valid_from: datetime) -> str:
    taken = valid_from - timedelta(hours=1)
    for one in owner.get(path)["items"]:
        if one["kind"] == "brake_weights" and datetime.fromisoformat(one["taken_at"]) == taken:
            return str(one["id"])
    chance, arm, steps = random.Random(f"{SEED}/{taken}"), cell.brake_arm_m or 0.35, []
    for rising, masses in ((True, (0.0, 20.0, 40.0, 80.0)), (False, (80.0, 40.0, 20.0, 0.0))):
        for mass in masses:
            reading = mass * 9.8022 * arm + (0.0 if rising else 0.15) + chance.gauss(0.0, 0.08)
            steps.append({"mass_kg": mass, "reading": round(reading, 2), "rising": rising})
    body = {"kind": "brake_weights", "taken_at": taken.isoformat(), "arm_m": arm, "arm_u_m": 0.0003, "steps": steps}
    return str(
        owner.post(f"{path}/entered", body | {"latitude_deg": 42.6, "note": "Gym plates, weighed at the post"})["id"]
    )


def coast_down_csv(roller: Roller, start_rad_s: float, end_rad_s: float, seed: int, rate_hz: float = 10.0) -> bytes:
    """Rollers running down, stepped finely, as a logger that measures speed to a quarter of a rev/min writes it."""
    step, omega, speeds = 0.5 / rate_hz, start_rad_s, [start_rad_s]

    def slowing(at: float) -> float:
        return -float(roller.loss_nm(at)) / roller.inertia_kg_m2

    while omega > end_rad_s:
        for _ in range(2):  # midpoint rule, two steps a sample
            omega += step * slowing(omega + 0.5 * step * slowing(omega))
        speeds.append(omega)
    noise: Floats = np.random.default_rng(seed).normal(0.0, 0.026, len(speeds))
    rows = (f"{place / rate_hz:.1f},{speed:.4f}" for place, speed in enumerate((np.array(speeds) + noise).tolist()))
    return ("Time [s],Roller speed [rad/s]\n" + "\n".join(rows) + "\n").encode()
