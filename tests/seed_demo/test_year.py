"""The invented year: what is in it, when, and that it is the same year whenever it is made again."""

import itertools
import random
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from seed_demo import sky
from seed_demo.files import drive, file_of
from seed_demo.fleet import FEN, MODELS, lighter, road_speed_km_h, stronger
from seed_demo.people import STAFF, customers
from seed_demo.plans import Job, PullTaken, Year
from seed_demo.rollers import CELLS, PASS, VALLEY
from seed_demo.stories import EXHAUST_GAIN
from seed_demo.vins import check_digit, invented_vin, mistyped
from seed_demo.year import the_year

BEGAN = (
    datetime(2026, 11, 25, 14, 20, tzinfo=UTC),
    datetime(2027, 8, 6, 3, 5, tzinfo=UTC),  # the hot day's own date, at night
    datetime(2028, 2, 29, 23, 50, tzinfo=UTC),
    datetime(2027, 10, 31, 0, 30, tzinfo=UTC),  # a Sunday, the hour before summer time ends
)


@pytest.fixture(scope="module")
def year() -> Year:
    return the_year(BEGAN[0])


def pulls_of(year: Year) -> list[PullTaken]:
    return [pull for job in year.jobs for setup in job.setups for pull in setup.pulls]


def job(year: Year, key: str) -> Job:
    return next(job for job in year.jobs if job.key == key)


def peak_kw(taken: PullTaken) -> float:
    start, end = (run := drive(taken)).sweep_s
    return float(run.at(np.linspace(start, end, 2000)).roller_power_w.max() / 1000.0)


def mean_peaks(job: Job) -> list[float]:
    return [float(np.mean([peak_kw(pull) for pull in setup.pulls])) for setup in job.setups]


def test_the_days_a_year_before_the_last_month_have_jobs_to_lay_beside_it(year: Year) -> None:
    ago = [(year.began_at - job.booked_from).days for job in year.jobs]
    assert sum(360 <= days <= 391 for days in ago) >= 3


def test_no_car_is_driven_backwards(year: Year) -> None:
    by_car: dict[str, list[int]] = {}
    for one in sorted(year.jobs, key=lambda job: job.booked_from):
        by_car.setdefault(one.vehicle.vin, []).append(one.odometer_km)
    assert any(len(said) > 1 for said in by_car.values())
    assert all(said == sorted(said) and min(said) > 1000 for said in by_car.values())


@pytest.mark.parametrize("began_at", BEGAN)
def test_it_fills_thirteen_months_before_today_and_nothing_lies_ahead_but_bookings(began_at: datetime) -> None:
    year = the_year(began_at)
    assert 44 <= len(year.jobs) <= 54
    assert 260 <= year.pulls <= 320
    taken = [pull.taken_at for pull in pulls_of(year)]
    assert began_at - timedelta(days=392) < min(taken)
    assert max(taken) < began_at
    assert max(reading.read_at for reading in year.readings) < began_at
    assert {job.booked_from.month for job in year.jobs} == set(range(1, 13))


def test_it_has_a_ticket_in_every_state_today(year: Year) -> None:
    today = Counter(job.plan.state for job in year.jobs if job.plan.days_ago == 0)
    assert set(today) == {"booked", "checked_in", "in_cell", "ready", "collected", "on_hold", "cancelled"}


@pytest.mark.parametrize("began_at", BEGAN)
def test_it_books_no_cell_twice_at_once_among_tickets_that_hold_their_time(began_at: datetime) -> None:
    holding = ("booked", "checked_in", "in_cell", "on_hold")
    held = [job for job in the_year(began_at).jobs if job.plan.state in holding]
    for cell in CELLS:
        spans = sorted((job.booked_from, job.booked_to) for job in held if job.plan.cell is cell)
        assert all(end <= start for (_, end), (start, _) in itertools.pairwise(spans))


def test_it_is_the_same_year_again_for_the_same_instant(year: Year) -> None:
    assert the_year(BEGAN[0]) == year


def test_it_writes_a_pull_with_the_same_bytes_again(year: Year) -> None:
    for key in ("exhaust-gains", "holds-its-boost", "waits-for-a-map"):
        taken, again = (job(y, key).setups[0].pulls[0] for y in (year, the_year(BEGAN[0])))
        assert file_of(taken, VALLEY.logger, 0.35, 60) == file_of(again, VALLEY.logger, 0.35, 60)


def test_it_names_each_file_once_on_its_ticket_and_each_ticket_by_car_and_wish(year: Year) -> None:
    for one in year.jobs:
        names = [pull.file_name for setup in one.setups for pull in setup.pulls]
        assert len(names) == len(set(names))
    wishes = [(one.vehicle.vin, one.plan.asked) for one in year.jobs]
    assert len(wishes) == len(set(wishes))


def test_it_gives_every_car_a_number_with_the_right_check_digit_but_one(year: Year) -> None:
    cars = {job.vehicle.vin: job.vehicle for job in year.jobs}
    wrong = [car for car in cars.values() if check_digit(car.vin) != car.vin[8]]
    assert len(cars) > 25
    assert [car.model.name for car in wrong] == ["Ridge 2.2 D"]
    assert all(len(vin) == 17 and not set(vin) & set("IOQ") for vin in cars)
    assert len({car.plate for car in cars.values()}) == len(cars)


def test_it_works_check_digits_out_as_published() -> None:
    # worked examples in public use: 49 CFR 565 arithmetic, remainder 10 written X, and seventeen ones
    assert check_digit("1M8GDM9AXKP042788") == "X"
    assert check_digit("1" * 17) == "1"
    good = invented_vin("Solvane", 2011, random.Random(4))
    assert check_digit(good) == good[8]
    assert check_digit(mistyped(good)) != mistyped(good)[8]


def test_it_has_one_car_for_a_customer_who_comes_again(year: Year) -> None:
    assert job(year, "hot-humid-day").vehicle is job(year, "cold-day").vehicle


def test_it_makes_sweeps_of_six_to_sixteen_seconds_at_road_speeds(year: Year) -> None:
    for one in year.jobs:
        for setup in one.setups:
            start, end = drive(setup.pulls[0]).sweep_s
            assert 4.5 < end - start < 16.0, (one.key, setup.name)
    for model in MODELS:
        cell = PASS if model.drive == "all_wheel" else VALLEY
        speed = road_speed_km_h(model.to_rpm, model.car.turns, cell.roller(0).radius_m)
        assert 110.0 < speed < 215.0


def test_it_gains_four_in_a_hundred_by_the_exhaust_and_nothing_by_the_filter(year: Year) -> None:
    before, after = mean_peaks(job(year, "exhaust-gains"))
    assert after / before == pytest.approx(EXHAUST_GAIN, abs=0.012)
    before, after = mean_peaks(job(year, "filter-does-nothing"))
    assert after / before == pytest.approx(1.0, abs=0.006)


def test_it_sags_where_the_controller_asks_for_rich(year: Year) -> None:
    asked, mended = job(year, "asks-for-rich").setups
    truth = {s.name: drive(s.pulls[0]).at_engine_speed(np.array([4000.0, 5000.0])) for s in (asked, mended)}
    torque = [truth[s.name].engine_torque_nm for s in (asked, mended)]
    assert torque[0][1] / torque[1][1] < 0.975 < torque[0][0] / torque[1][0]
    engine = asked.pulls[0].car.engine
    assert engine.mixture(5000.0) == engine.commanded_lambda(5000.0) < 0.75


def test_it_runs_lean_of_what_is_asked_until_the_pump_is_new(year: Year) -> None:
    lean, mended = (setup.pulls[0].car.engine for setup in job(year, "runs-lean").setups)
    assert lean.mixture(6200.0) / lean.commanded_lambda(6200.0) > 1.1
    assert mended.mixture(6200.0) == mended.commanded_lambda(6200.0)


def test_it_soaks_heat_from_pull_to_pull(year: Year) -> None:
    soaked = job(year, "heat-soak").setups[0].pulls
    peaks = [peak_kw(pull) for pull in soaked]
    assert len(peaks) == 6
    assert peaks[-1] < 0.965 * peaks[0]
    starts = [pull.pull.intake_start_c for pull in soaked]
    assert starts == sorted(starts)


def test_it_slips_on_the_first_strapping_alone(year: Year) -> None:
    first, second = job(year, "wheel-slip").setups
    for setup, least, most in ((first, 0.02, 0.1), (second, -1e-9, 1e-9)):
        truth = drive(setup.pulls[0]).at_engine_speed(np.array([2800.0, 6800.0]))
        ratio = truth.engine_speed_rpm / truth.roller_speed_rad_s
        assert least <= ratio[1] / ratio[0] - 1.0 <= most
    assert [bool(pull.set_aside) for pull in first.pulls] == [False, True]


def test_it_breathes_less_on_the_hot_day_than_in_the_frost(year: Year) -> None:
    hot, cold = (mean_peaks(job(year, key))[0] for key in ("hot-humid-day", "cold-day"))
    assert 0.80 < hot / cold < 0.90
    assert job(year, "hot-humid-day").booked_from.month == 8
    assert job(year, "cold-day").booked_from.month == 1


def test_it_reads_the_weather_late_once_and_at_sea_level_once(year: Year) -> None:
    stale = job(year, "stale-reading")
    nearest = max(reading.read_at for reading in year.readings if reading.job_key == stale.key)
    assert stale.setups[0].pulls[0].taken_at - nearest > timedelta(hours=5)
    doubtful = [r for r in year.readings if r.job_key == "sea-level-reading"]
    assert all(r.pressure["station_pressure_kpa"] > 96.0 for r in doubtful)
    for one in year.jobs:
        if one.plan.reading == "usual":
            for pull in (pull for setup in one.setups for pull in setup.pulls):
                age = min(abs(pull.taken_at - r.read_at) for r in year.readings if r.cell is one.plan.cell)
                assert age < timedelta(minutes=50)


def test_it_uses_every_form_of_humidity_and_both_pressures(year: Year) -> None:
    assert {next(iter(r.humidity)) for r in year.readings} == {"relative_humidity_pct", "dew_point_c", "wet_bulb_c"}
    assert {next(iter(r.pressure)) for r in year.readings} == {"station_pressure_kpa", "altimeter_setting_kpa"}


def test_it_keeps_the_air_where_it_belongs() -> None:
    for cell in CELLS:
        for day in range(0, 365, 5):
            for hour in (5, 15):
                air = sky.air_at(cell.altitude_m, datetime(2026, 1, 1, hour, tzinfo=UTC) + timedelta(days=day))
                assert abs(air.pressure_kpa / sky.standard_kpa(cell.altitude_m) - 1.0) < 0.012
                assert -20.0 < air.temperature_c < 35.0
                assert sky.as_written(air, "wet_bulb_c")["wet_bulb_c"] <= air.temperature_c + 0.05
                assert sky.as_written(air, "dew_point_c")["dew_point_c"] <= air.temperature_c + 0.05


def test_it_bends_torque_from_an_engine_speed_on_and_takes_turning_mass_away() -> None:
    bent = stronger(FEN.car, 1.05, above_rpm=4000.0).engine.torque_nm
    assert bent(3000.0) == pytest.approx(FEN.car.engine.torque_nm(3000.0), rel=1e-12)
    assert bent(7000.0) == pytest.approx(1.05 * FEN.car.engine.torque_nm(7000.0), rel=1e-9)
    assert lighter(FEN.car, 0.5) == replace(FEN.car, inertia_kg_m2=FEN.car.inertia_kg_m2 / 2)


def test_it_has_a_person_for_each_role_and_nobody_twice() -> None:
    assert {person.role for person in STAFF} == {"owner", "tuner", "front_desk"}
    people = customers()
    for mark in ("full_name", "phone", "email"):
        assert len({getattr(person, mark) for person in people}) == len(people)
    assert all(person.email.isascii() and person.email.endswith("@example.org") for person in people)
