"""The plans laid out on the calendar that ends on the day the demo is made: dates, cars, pulls, weather readings."""

import random
import zlib
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from seed_demo import sky
from seed_demo.dialects import DIALECTS
from seed_demo.everyday import between_the_stories
from seed_demo.fleet import Model, stronger
from seed_demo.people import TIME_ZONE, customers
from seed_demo.plans import Job, JobPlan, PullTaken, Reading, SetupPlan, SetupTaken, Vehicle, Year
from seed_demo.rollers import PART_BRAKE
from seed_demo.rolling_road import Pull
from seed_demo.stories import told
from seed_demo.story_holds import hold_stories
from seed_demo.story_loggers import logger_stories
from seed_demo.today import on_the_board
from seed_demo.vins import invented_vin, mistyped

SEED = 20_261
FEW = (
    "exhaust-gains",
    "waits-for-a-map",
    "holds-its-boost",
    "controller-answers",
    "maps-the-fuel",
    "today-ready",
    "today-booked",
)
MISTYPED = (24, "Ridge 2.2 D")
BEFORE_FIRST_PULL_MIN, BETWEEN_SETUPS_MIN = 25.0, 45.0
REPEATABILITY = 0.0035  # of torque from one pull to the next, as ever


def the_year(began_at: datetime, small: bool = False) -> Year:
    """Everything that is to be on record, for a demo made at this instant; the same again for the same instant."""
    today = began_at.astimezone(ZoneInfo(TIME_ZONE)).date()
    stories = told(_days_since(today, 8, 6), _days_since(today, 1, 19))
    every = [*between_the_stories(SEED), *stories, *logger_stories(), *hold_stories(), *on_the_board()]
    plans = sorted(every, key=lambda plan: (-plan.days_ago, plan.hour))
    garage = _garage(plans, today)
    jobs = tuple(_job(plan, garage[plan.customer, plan.model.name], today, began_at) for plan in plans)
    if small:  # a part of the same year, so that the rest can follow
        jobs = tuple(_fewer_pulls(job) for job in jobs if job.key in FEW)
    return Year(began_at, jobs, tuple(reading for job in jobs for reading in _readings(job, began_at)))


def _fewer_pulls(job: Job) -> Job:
    """The first and the last pull of each setup, and those that are no sweeps."""
    setups = (replace(setup, pulls=_some_of(setup.pulls)) for setup in job.setups)
    return replace(job, setups=tuple(setups))


def _some_of(pulls: tuple[PullTaken, ...]) -> tuple[PullTaken, ...]:
    return tuple(one for one in pulls if one in (pulls[0], pulls[-1]) or one.kind != "sweep")


def _days_since(today: date, month: int, day: int) -> int:
    """Since the last such day of the calendar before today."""
    last = date(today.year, month, day)
    return (today - (last if last < today else date(today.year - 1, month, day))).days


def _garage(plans: list[JobPlan], today: date) -> dict[tuple[int, str], Vehicle]:
    """One car for each customer and model; a car that comes again is the same car."""
    people, cars = customers(), {}
    for plan in plans:
        key = (plan.customer, plan.model.name)
        if key not in cars:
            chance = random.Random(f"{SEED}/{key}")
            year = chance.randint(plan.model.years[0], min(plan.model.years[1], today.year))
            vin = invented_vin(plan.model.make, year, chance)
            letters = "".join(chance.choice("ABCDEFGHJKLMNPRSTUVWXYZ") for _ in range(3))
            plate = f"Q{chance.randrange(10)} {chance.randrange(100, 1000)} {letters}"
            cars[key] = Vehicle(
                people[plan.customer], plan.model, year, plate, mistyped(vin) if key == MISTYPED else vin
            )
    return cars


def _odometer_km(vehicle: Vehicle, days_ago: int) -> int:
    """What it said on that day: every car is driven so much a day."""
    chance = random.Random(f"{SEED}/{vehicle.plate}")
    return chance.randint(34_000, 190_000) - round(chance.uniform(15.0, 60.0) * days_ago)


def _job(plan: JobPlan, vehicle: Vehicle, today: date, began_at: datetime) -> Job:
    start = _local(_working_day(today, plan.days_ago), plan.hour)
    times = _pull_times(plan, start)
    late = max((times[-1][-1] - (began_at - timedelta(minutes=3))), timedelta()) if times else timedelta()
    setups = tuple(
        _setup(plan, position, setup, [at - late for at in times[position]])
        for position, setup in enumerate(plan.setups)
    )
    hours = 1.0 if not times else (times[-1][-1] - start) / timedelta(hours=1) + 0.4
    end = start + timedelta(hours=-(-hours * 2 // 1) / 2)
    chance = random.Random(f"{SEED}/{plan.key}")
    opened = min(
        start - timedelta(days=chance.randint(2, 9), hours=chance.uniform(-2, 6)), began_at - timedelta(hours=2)
    )
    moved = {
        "checked_in": start - timedelta(minutes=12),
        "in_cell": start + timedelta(minutes=4),
        "on_hold": end,
        "ready": end + timedelta(minutes=15),
        "collected": end + timedelta(hours=1.0 if plan.days_ago == 0 else chance.choice((1.5, 4.0, 22.0))),
        "cancelled": start - timedelta(hours=5),
    }
    moved_at = {state: max(opened, min(at, began_at)).replace(microsecond=0) for state, at in moved.items()}
    return Job(
        plan, vehicle, start, end, _odometer_km(vehicle, plan.days_ago), setups, opened.replace(microsecond=0), moved_at
    )


def _working_day(today: date, days_ago: int) -> date:
    """Nobody works on Sundays, unless the demo is made on one."""
    day = today - timedelta(days=days_ago)
    if day.weekday() == 6 and days_ago != 0:
        day += timedelta(days=-1 if days_ago > 0 else 1)
    return day


def _local(day: date, hour: float) -> datetime:
    clock = time(int(hour), round(hour % 1 * 60))
    return datetime.combine(day, clock, ZoneInfo(TIME_ZONE)).astimezone(ZoneInfo("UTC"))


def _pull_times(plan: JobPlan, start: datetime) -> list[list[datetime]]:
    now, times = start + timedelta(minutes=BEFORE_FIRST_PULL_MIN), []
    if plan.in_turn:
        gap, many = timedelta(minutes=plan.setups[0].gap_min), len(plan.setups)
        return [[now + gap * (many * number + at) for number in range(s.pulls)] for at, s in enumerate(plan.setups)]
    for setup in plan.setups:
        times.append([now + timedelta(minutes=setup.gap_min * number) for number in range(setup.pulls)])
        now = times[-1][-1] + timedelta(minutes=BETWEEN_SETUPS_MIN)
    return times


def _setup(plan: JobPlan, position: int, setup: SetupPlan, times: list[datetime]) -> SetupTaken:
    before = sum(other.pulls for other in plan.setups[:position])
    pulls = tuple(_pull(plan, setup, number, before + number + 1, at) for number, at in enumerate(times))
    turns = setup.car.turns
    return SetupTaken(
        setup.name, setup.changed, setup.gear or plan.model.gear, turns, setup.tyre_kpa, setup.fuel, pulls
    )


def _pull(plan: JobPlan, setup: SetupPlan, number: int, of_ticket: int, at: datetime) -> PullTaken:
    seed = zlib.crc32(f"{SEED}/{plan.key}/{of_ticket}".encode())
    chance, model = random.Random(seed), plan.model
    air = plan.air or sky.air_at(plan.cell.altitude_m, at)
    roller = plan.cell.roller(plan.days_ago)
    if setup.braked:
        roller = replace(roller, brake_nm=PART_BRAKE)
    warmer = setup.warmer_k[number] if setup.warmer_k else 0.0
    intake = air.temperature_c + model.standing_k + warmer + chance.uniform(0.0, 1.5)
    dialect = setup.dialects.get(number, plan.dialect)
    sweeps = setup.pulls - len(setup.held)
    kind, hold = setup.held[number - sweeps] if number >= sweeps else ("sweep", None)
    return PullTaken(
        file_name=_file_name(dialect, model, of_ticket, at, plan.packed),
        dialect=dialect,
        taken_at=at,
        car=stronger(setup.car, 1.0 + chance.gauss(0.0, REPEATABILITY)),
        roller=roller,
        pull=Pull(model.from_rpm, setup.to_rpm or model.to_rpm, steady_s=1.2, coast_s=1.0, intake_start_c=intake),
        air=air,
        seed=seed,
        set_aside=setup.set_aside.get(number, ""),
        beside=plan.beside,
        packed=plan.packed,
        kind=kind,
        hold=hold,
    )


def _file_name(dialect: str, model: Model, number: int, at: datetime, packed: bool) -> str:
    there = at.astimezone(ZoneInfo(TIME_ZONE))
    name = DIALECTS[dialect].file_name.format(number=number, date=f"{there:%Y-%m-%d}", model=model.name.split()[0])
    return name.removesuffix(".csv") + ".mf4" if packed else name


def _readings(job: Job, began_at: datetime) -> list[Reading]:
    """One shortly before the first pull and one every forty minutes of them; or the one that the story wants."""
    taken = [pull for setup in job.setups for pull in setup.pulls]
    if not taken:
        return []
    first, last = taken[0].taken_at, taken[-1].taken_at
    if job.plan.reading == "stale":
        return [_reading(job, first - timedelta(hours=5, minutes=10), 0, began_at)]
    hours = int((last - first) / timedelta(minutes=40)) + 1
    return [_reading(job, first + timedelta(minutes=40 * hour - 8), hour, began_at) for hour in range(hours)]


def _reading(job: Job, at: datetime, hour: int, began_at: datetime) -> Reading:
    cell, plan = job.plan.cell, job.plan
    air = plan.air or sky.air_at(cell.altitude_m, at)
    turn = zlib.crc32(plan.key.encode()) + hour
    form = ("relative_humidity_pct", "dew_point_c", "relative_humidity_pct", "wet_bulb_c")[turn % 4]
    pressure = {"station_pressure_kpa": round(air.pressure_kpa, 2)}
    source = "Whirling hygrometer and barometer" if form == "wet_bulb_c" else "Station on the cell wall"
    airfield = round(sky.altimeter_setting_kpa(air, cell.altitude_m), 2)
    if plan.reading == "sea_level":
        pressure, source = {"station_pressure_kpa": airfield}, "Forecast on the telephone"
    elif turn % 5 == 2:
        pressure, source = {"altimeter_setting_kpa": airfield}, "Airfield report, hygrometer in the cell"
    return Reading(plan.key, cell, at, round(air.temperature_c, 1), pressure, sky.as_written(air, form), source)
