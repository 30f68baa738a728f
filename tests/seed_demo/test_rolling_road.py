"""The forward model against the laws it states, and against an integrator that is not ours."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from seed_demo.instruments import Instruments, record
from seed_demo.rolling_road import RPM, Car, Day, Engine, Pull, Roller, Run, roller_for_sweep_of
from seed_demo.shapes import level, lines, smooth

SMOOTH = Engine(smooth((1500, 150), (2500, 190), (3500, 215), (4500, 222), (5500, 210), (6500, 180), (7000, 160)))
CORNERS = Engine(
    lines((1500, 140), (2600, 160), (3100, 330), (5200, 330), (6400, 270), (6500, 60), (6600, 50)),
    boost_nm=lines((2000, 0), (3100, 160), (6400, 130)),
    boost_lag_s=0.3,
    warm_k_per_mj=8.0,
    retard_share=lines((30.0, 0.0), (60.0, 0.1)),
)
SLIPPING = lines((0.0, 0.0), (60.0, 0.0), (110.0, 0.06))
BRAKED = replace(Roller(), brake_nm=lines((0.0, 20.0), (70.0, 60.0), (140.0, 90.0)))
CASES = {
    "smooth": (Car(SMOOTH, turns=5.0), Roller(), Pull()),
    "braked": (Car(SMOOTH, turns=5.0), BRAKED, Pull()),
    "corners": (Car(CORNERS, turns=4.6), BRAKED, Pull(to_rpm=6450.0)),
    "slipping": (Car(CORNERS, turns=4.6, slip=SLIPPING), Roller(), Pull(to_rpm=6300.0)),
}


@pytest.mark.parametrize("case", CASES)
def test_it_spends_every_joule_on_inertia_losses_and_brake(case: str) -> None:
    car, roller, pull = CASES[case]
    run = Run(car, roller, pull)
    t = np.linspace(0.0, run.duration_s, 200_001)
    truth = run.at(t)
    delivered = np.trapezoid(truth.roller_power_w, t)
    held_back = np.trapezoid(truth.roller_speed_rad_s * (truth.brake_nm + truth.loss_nm), t)
    speeds = truth.roller_speed_rad_s[[0, -1]]
    stored = 0.5 * roller.inertia_kg_m2 * (speeds[1] ** 2 - speeds[0] ** 2)
    assert delivered == pytest.approx(stored + held_back, rel=1e-6)


@pytest.mark.parametrize("case", CASES)
def test_it_agrees_with_another_integrator_over_the_sweep(case: str) -> None:
    car, roller, pull = CASES[case]
    run = Run(car, roller, pull, Day(31.0, 97.0, 2.5))
    start, end = run.sweep_s
    wanted = np.linspace(start, end, 60)
    truth = run.at(wanted)
    engine = car.engine

    def law(_: float, state: np.ndarray) -> list[float]:
        omega, boost, intake = state
        n = car.turns * omega * (1 + float(car.slip(float(omega)))) * RPM
        charge = (97.0 - 2.5) / 99.0 * np.sqrt(298.15 / (intake + 273.15)) * (1 - float(engine.retard_share(intake)))
        full = float(engine.torque_nm(n)) - (1 - boost) * float(engine.boost_nm(n))
        torque = (full + engine.friction_nm) * charge - engine.friction_nm
        brake = float(roller.brake_nm(float(omega))) if roller.brake_nm else 0.0
        held = roller.c0_nm + roller.c1_nm_s * omega + roller.c2_nm_s2 * omega**2 + brake
        d_wheel = 1 + float(car.slip(float(omega))) + omega * float(car.slip.slope(float(omega)))
        accel = (car.efficiency * car.turns * torque - held) / (roller.inertia_kg_m2 + car.inertia_kg_m2 * d_wheel)
        return [accel, (1 - boost) / engine.boost_lag_s, engine.warm_k_per_mj * 1e-6 * max(0, torque) * n / RPM]

    first = [truth.roller_speed_rad_s[0], truth.boost[0], truth.intake_temperature_c[0]]
    other = solve_ivp(law, (start, end), first, method="DOP853", rtol=1e-10, atol=1e-10, t_eval=wanted, max_step=0.01)
    np.testing.assert_allclose(truth.roller_speed_rad_s, other.y[0], rtol=2e-7)
    np.testing.assert_allclose(truth.intake_temperature_c, other.y[2], rtol=2e-7)


def test_it_takes_as_long_as_the_energy_integral_in_closed_form_says() -> None:
    car, roller, pull = CASES["smooth"]
    run = Run(car, roller, pull)
    start, end = run.sweep_s
    low, high = run.at(np.array([start, end])).roller_speed_rad_s
    whole = roller.inertia_kg_m2 + car.inertia_kg_m2

    def seconds_per_speed(omega: float) -> float:
        torque = car.engine.torque(car.turns * omega * RPM, 1.0, 1.0, 25.0, run.day)
        return whole / (car.efficiency * car.turns * torque - roller.loss_nm(omega))

    assert end - start == pytest.approx(quad(seconds_per_speed, low, high)[0], rel=1e-6)


def test_it_gives_roller_power_as_torque_through_the_driveline_less_what_the_car_keeps() -> None:
    car, roller, pull = CASES["slipping"]
    truth = Run(car, roller, pull).at_engine_speed(np.arange(2500.0, 6200.0, 25.0))
    omega, accel = truth.roller_speed_rad_s, truth.roller_acceleration_rad_s2
    kept = car.inertia_kg_m2 * accel * (1 + car.slip(omega) + omega * car.slip.slope(omega))
    contact = car.efficiency * car.turns * truth.engine_torque_nm - kept
    np.testing.assert_allclose(truth.roller_power_w, omega * contact, rtol=1e-9)


def test_it_finds_engine_speeds_where_they_are_asked_for() -> None:
    car, roller, pull = CASES["corners"]
    asked = np.arange(2200.0, 6400.0, 37.0)
    truth = Run(car, roller, pull).at_engine_speed(asked)
    np.testing.assert_allclose(truth.engine_speed_rpm, asked, atol=0.01)


def test_it_refuses_engine_speeds_that_the_sweep_never_reached() -> None:
    with pytest.raises(ValueError, match="the sweep runs from"):
        Run(*CASES["smooth"]).at_engine_speed(np.array([9000.0]))


@pytest.mark.parametrize("seconds", [6.0, 14.0])
def test_it_makes_a_sweep_as_long_as_wished(seconds: float) -> None:
    car, roller, pull = CASES["corners"]
    start, end = Run(car, roller_for_sweep_of(seconds, car, roller, pull), pull).sweep_s
    assert end - start == pytest.approx(seconds, rel=2e-3)


def test_it_breathes_less_on_a_hot_humid_high_day_and_makes_up_for_it_where_boost_is_held() -> None:
    high = Day(35.0, 82.0, 4.0)
    for engine, least, most in ((SMOOTH, 0.72, 0.80), (replace(SMOOTH, holds_own_boost=True), 0.97, 0.99)):
        share = engine.torque(4500.0, 1.0, 1.0, 35.0, high) / engine.torque(4500.0, 1.0, 1.0, 25.0, Day())
        assert least < share < most


def test_it_records_the_same_bits_for_the_same_seed_and_others_for_another() -> None:
    run = Run(*CASES["corners"], step_s=5e-3)
    noisy = Instruments(speed_noise_rev_min=0.4, engine_speed_dropouts=0.01, lambda_noise=0.004, pulses_per_turn=60)
    first, again, other = (record(Run(*CASES["corners"], step_s=5e-3), noisy, seed) for seed in (7, 7, 8))
    assert {name: values.tobytes() for name, values in first.items()} == {n: v.tobytes() for n, v in again.items()}
    assert first["roller_speed_rad_s"].tobytes() != other["roller_speed_rad_s"].tobytes()
    scatter = first["roller_speed_rad_s"] - run.at(first["time_s"]).roller_speed_rad_s
    assert np.std(scatter) * RPM == pytest.approx(0.4, rel=0.1)


def test_it_counts_pulses_as_whole_teeth_that_passed() -> None:
    run = Run(*CASES["smooth"], step_s=5e-3)
    seen = record(run, Instruments(rate_hz=100.0, pulses_per_turn=60), 1)
    teeth = run.at(seen["time_s"]).roller_angle_rad * 60 / (2 * np.pi)
    part_of_a_tooth = teeth - seen["roller_pulses"]
    assert part_of_a_tooth.min() > -1e-9
    assert part_of_a_tooth.max() < 1.0 + 1e-9
    assert np.all(seen["roller_pulses"] % 1.0 == 0.0)
    assert np.all(np.cumsum(seen["roller_pulse_increments"]) == seen["roller_pulses"] - seen["roller_pulses"][0])


def test_it_shows_a_mixture_step_late_by_transport_and_lag() -> None:
    engine = replace(SMOOTH, commanded_lambda=lines((1000, 0.92), (4000, 0.92), (4001, 0.80), (7000, 0.80)))
    run = Run(Car(engine, turns=5.0), Roller(), Pull())
    seen = record(run, Instruments(lambda_delay_s=0.4, lambda_lag_s=0.15), 1)
    step = seen["time_s"][np.argmax(seen["lambda_commanded"] < 0.9)]
    most_of_it = 0.92 - 0.12 * (1 - np.exp(-1))
    answered = seen["time_s"][np.argmax((seen["lambda_measured"] < most_of_it) & (seen["time_s"] > step))]
    assert answered - step == pytest.approx(0.55, abs=0.02)  # 63 % of the way: the delay and one lag


def test_it_draws_sharp_lines_and_smooth_curves_through_the_same_knots() -> None:
    points = ((1000.0, 10.0), (2000.0, 30.0), (3500.0, 25.0), (5000.0, 5.0))
    xs, ys = np.array(points).T
    for shape in (lines(*points), smooth(*points)):
        np.testing.assert_allclose(shape(xs), ys, rtol=1e-12)
        fine = np.linspace(500.0, 5500.0, 301)
        np.testing.assert_allclose([shape(float(x)) for x in fine], shape(fine), rtol=1e-12)
        np.testing.assert_allclose([shape.slope(float(x)) for x in fine], shape.slope(fine), rtol=1e-12)
    kink = smooth(*points).slope(np.array([2000.0 - 1e-6, 2000.0 + 1e-6]))
    assert kink[0] == pytest.approx(kink[1], abs=1e-6)
    assert level(3.0)(17.0) == 3.0
