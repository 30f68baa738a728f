"""Before and on the track: limits on the car that runs lean, and an evening at the strip with the new exhaust."""

from datetime import timedelta
from math import pi

from seed_demo.plans import Job, SetupTaken
from seed_demo.rolling_road import Car
from seed_demo.speaking import Facts, Voice

QUARTER_MILE_M = 402.336
DRIVER_KG = 82.0
LIMITS: dict[str, dict[str, float]] = {
    "runs-lean": {
        "lambda_leaner_than": 0.96,
        "fuel_pressure_kpa_below": 300.0,
        "knock_retard_deg_beyond": 6.0,  # the cell's logger has no knock retard, and the page says so
        "manifold_pressure_kpa_above": 285.0,
        "coolant_temperature_c_above": 105.0,
        "intake_temperature_c_above": 75.0,
        "oil_temperature_c_above": 130.0,
    },
}
LIMITS_NOTE = "Agreed with the customer before the track day"
# how far each run was from what the car can do: a driver's share, never twice the same
ON_THE_STRIP: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "exhaust-gains": ((0.991, 0.997, 0.986), (0.996, 0.989, 0.998)),
}


def before_the_track(tuner: Voice, job: Job, ticket_id: str) -> None:
    """The ticket's limits, unless somebody has set any, and its runs, unless there are some."""
    if job.key in LIMITS:
        now = tuner.get(f"/tickets/{ticket_id}/limits")
        if not now["items"]:
            told = {"version": now["version"], "note": LIMITS_NOTE, **LIMITS[job.key]}
            tuner.put(f"/tickets/{ticket_id}/limits", told)
    if job.key in ON_THE_STRIP and not tuner.get(f"/tickets/{ticket_id}/track-runs")["items"]:
        setups = tuner.get(f"/tickets/{ticket_id}/setups")["items"]
        for place, (setup, kept, shares) in enumerate(zip(job.setups, setups, ON_THE_STRIP[job.key], strict=True)):
            for run in _runs(job, setup, kept["id"], shares, place):
                tuner.post(f"/tickets/{ticket_id}/track-runs", run)


def _runs(job: Job, setup: SetupTaken, setup_id: str, shares: tuple[float, ...], place: int) -> list[Facts]:
    mass = job.vehicle.model.mass_kg + DRIVER_KG
    evening = job.booked_from.replace(hour=17, minute=0) - timedelta(days=2 if place == 0 else -1)
    made = []
    for number, share in enumerate(shares):
        elapsed, speed = down_the_strip(setup.pulls[0].car, mass, share)
        made.append(
            {
                "setup_id": setup_id,
                "ran_at": (evening + timedelta(minutes=22 * number)).isoformat(),
                "mass_kg": round(mass, 0),
                "distance_m": QUARTER_MILE_M,
                "elapsed_s": round(elapsed, 3),
                "trap_speed_km_h": round(speed * 3.6, 2),
                "air_temperature_c": 16.0 + 2.0 * place,
                "surface": "dry, prepared",
                "notes": "Missed the shift to third" if share < 0.988 else "",
            }
        )
    return made


def down_the_strip(car: Car, mass_kg: float, share: float) -> tuple[float, float]:
    """Elapsed time, s, and speed at the end, m/s: what tyres hold at first, then power less drag, in small steps.

    Shifts and slip in the gears that a strip needs take a tenth of the power at the wheels.
    """
    power_w = 0.90 * share * wheel_power_w(car)
    time, way, speed, step = 0.0, 0.0, 0.0, 0.002
    while way < QUARTER_MILE_M:
        against = 0.5 * 1.2 * 0.65 * speed * speed / mass_kg + 0.012 * 9.81
        speed += (min(5.0, power_w / (mass_kg * max(speed, 0.1))) - against) * step
        way += speed * step
        time += step
    return time, speed


def wheel_power_w(car: Car) -> float:
    """The most that reaches the wheels on the reference day."""
    engine = car.engine
    speeds = [1500.0 + 50.0 * number for number in range(120)]
    top = engine.torque_nm.knots[-1]
    powers = [float(engine.torque_nm(rpm)) * rpm * pi / 30.0 for rpm in speeds if rpm <= top]
    return car.efficiency * max(powers)
