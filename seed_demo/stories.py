"""The tickets that have something to tell. Each setup says what it is; the physics behind it makes it true."""

from dataclasses import replace

from seed_demo.fleet import CORBEAU, FEN, HARE, LUMEN, MOOR, PIKE, RIDGE, TREK, VANTA, stronger
from seed_demo.plans import JobPlan, SetupPlan
from seed_demo.rollers import PASS, VALLEY
from seed_demo.rolling_road import Car
from seed_demo.shapes import Shape, lines
from seed_demo.sky import FROST, HOT_AND_HUMID

EXHAUST_GAIN = 1.04
SLIPPING = lines((0.0, 0.0), (95.0, 0.004), (120.0, 0.02), (150.0, 0.065), (200.0, 0.09))  # against roller rad/s
PROTECTING = lines((2000.0, 0.97), (3000.0, 0.885), (3900.0, 0.86), (5100.0, 0.735), (6400.0, 0.72))  # λ asked for
STARVED = lines((2000.0, 1.0), (4600.0, 1.0), (6300.0, 1.14), (7400.0, 1.17))  # true λ over commanded


def _asking(car: Car, commanded: Shape) -> Car:
    return replace(car, engine=replace(car.engine, commanded_lambda=commanded))


def _short_of_fuel(car: Car) -> Car:
    return replace(car, engine=replace(car.engine, lambda_error=STARVED))


def _parts() -> list[JobPlan]:
    """A part that gains, and one that does nothing."""
    return [
        JobPlan(
            "exhaust-gains", 34, 9.5, VALLEY, PIKE, 2, "Fit a free-flow exhaust and show what it brings.",
            (
                SetupPlan("Baseline", PIKE.car, 5, fuel="98 octane"),
                SetupPlan("Free-flow exhaust", stronger(PIKE.car, EXHAUST_GAIN), 5, "75 mm from the turbine back, same "
                          "calibration", fuel="98 octane"),
            ),
            link_note="Free-flow exhaust fitted; five pulls before, five after. About four per cent more throughout.",
        ),
        JobPlan(
            "filter-does-nothing", 61, 14.0, VALLEY, FEN, 7, "Customer brought a cotton panel filter: is it worth it?",
            (
                SetupPlan("Paper filter", FEN.car, 5, fuel="95 octane"),
                SetupPlan("Cotton panel filter", FEN.car, 5, "Panel filter alone, changed from pull to pull",
                          fuel="95 octane"),
            ),
            dialect="pruefstand", in_turn=True,
            link_note="We could not measure a difference. Keep it for the washing, not for the power.",
        ),
    ]  # fmt: skip


def _mixture() -> list[JobPlan]:
    """A controller that protects itself, and a pump that cannot keep up."""
    return [
        JobPlan(
            "asks-for-rich", 88, 10.0, VALLEY, CORBEAU, 4, "Feels flat at the top since the spring. Find out why.",
            (
                SetupPlan("As it came", _asking(CORBEAU.car, PROTECTING), 4, fuel="E10"),
                SetupPlan("Exhaust temperature sensor replaced", CORBEAU.car, 3, "Sensor read 60 K high; the "
                          "controller no longer asks for protection from 3 900 rev/min", fuel="E10"),
            ),
            link_note="The mixture was what the controller asked for; we looked at why it asked.",
        ),
        JobPlan(
            "runs-lean", 47, 9.0, VALLEY, HARE, 5, "Second-hand car, new owner: a health check before the track.",
            (
                SetupPlan("As bought", _short_of_fuel(HARE.car), 2, to_rpm=6300.0, fuel="98 octane"),
                SetupPlan("New fuel pump and filter", HARE.car, 3, "Rail pressure holds to the limiter",
                          fuel="98 octane"),
            ),
            notes="Stopped the second pull at 6 300: leaner than commanded under load.",
            link_note="Do not drive it hard on the old pump. With the new one it is where it should be.",
        ),
    ]  # fmt: skip


def _trouble() -> list[JobPlan]:
    """Heat, slip, and a file nobody can read yet."""
    hot = (0.0, 4.5, 9.0, 13.0, 16.5, 19.5)
    slipping = replace(HARE.car, slip=SLIPPING)
    return [
        JobPlan(
            "heat-soak", 24, 15.0, VALLEY, PIKE, 9, "Map revision two. Baseline first, as many pulls as it takes.",
            (
                SetupPlan("Baseline, back to back", PIKE.car, 6, warmer_k=hot, gap_min=2.0, fuel="98 octane"),
                SetupPlan("Map revision 2", stronger(PIKE.car, 1.012), 3, "Forty minutes with the fan between",
                          gap_min=12.0, fuel="98 octane"),
            ),
        ),
        JobPlan(
            "wheel-slip", 108, 11.0, VALLEY, HARE, 10, "Large turbo fitted elsewhere; wants a figure he can believe.",
            (
                SetupPlan("First strapping", slipping, 2, tyre_kpa=260.0, fuel="98 octane",
                          set_aside={1: "Wheel spin from 4 400 rev/min; strapped again and repeated."}),
                SetupPlan("Strapped down again", HARE.car, 4, "Four straps, 30 kPa less in the tyres", tyre_kpa=230.0,
                          fuel="98 octane"),
            ),
            dialect="arm",
            link_note="Figures are from the second strapping; the first one slipped.",
        ),
        JobPlan(
            "waits-for-a-map", 12, 16.0, VALLEY, LUMEN, 12, "Weekend racer, standard class: a sheet to hand in.",
            (SetupPlan("As raced", LUMEN.car, 4, fuel="E10", dialects={3: "numbered"}),),
            dialect="counter",
            notes="The last pull was logged with the customer's own box: columns without names.",
        ),
    ]  # fmt: skip


def _diesel_and_boost() -> list[JobPlan]:
    """A diesel, and a turbo that makes thin air up by itself."""
    return [
        JobPlan(
            "diesel", 135, 9.5, VALLEY, RIDGE, 13, "Tows horses. More torque at 2 000, nothing silly on top.",
            (
                SetupPlan("Baseline", RIDGE.car, 4, fuel="Diesel"),
                SetupPlan("Towing map", stronger(RIDGE.car, 1.055), 4, "Smoke limit unchanged", fuel="Diesel"),
            ),
            dialect="pruefstand",
            link_note="Five and a half per cent where you tow.",
        ),
        JobPlan(
            "holds-its-boost", 75, 10.5, PASS, VANTA, 14, "Intercooler from the rally catalogue. Does it cool?",
            (
                SetupPlan("Baseline", VANTA.car, 4, fuel="98 octane"),
                SetupPlan("Larger intercooler", stronger(VANTA.car, 1.02), 4, "Core 60 mm, pipes as before",
                          warmer_k=(-7.0,) * 4, fuel="98 octane"),
            ),
            dialect="banc",
            link_note="Larger intercooler fitted. Up here the correction flatters such an engine: mind the difference.",
        ),
        JobPlan(
            "two-gears", 155, 13.5, VALLEY, PIKE, 2, "Club evening: third or fourth gear for the sheet?",
            (
                SetupPlan("Fourth gear", PIKE.car, 3, gear="fourth", fuel="98 octane"),
                SetupPlan("Third gear", replace(PIKE.car, turns=4.75, inertia_kg_m2=3.6), 3, "Same map, gear changed",
                          gear="third", fuel="98 octane"),
            ),
        ),
        JobPlan(
            "against-the-brake", 182, 9.0, VALLEY, FEN, 19, "Long pulls with the brake part on, as uphill.",
            (
                SetupPlan("Brake part on", FEN.car, 4, braked=True, fuel="95 octane"),
                SetupPlan("Rollers alone", FEN.car, 3, fuel="95 octane"),
            ),
            dialect="arm",
        ),
    ]  # fmt: skip


def _weather(august_days_ago: int, january_days_ago: int) -> list[JobPlan]:
    """One car on the worst days of the year, and two readings that are not what they should be."""
    same = "The reference car, as every season: nothing changed on it. {}."
    return [
        JobPlan("hot-humid-day", august_days_ago, 15.5, VALLEY, FEN, 16, same.format("High summer"),
                (SetupPlan("As always", FEN.car, 4, fuel="95 octane"),), air=HOT_AND_HUMID),
        JobPlan("cold-day", january_days_ago, 8.5, VALLEY, FEN, 16, same.format("Frost"),
                (SetupPlan("As always", FEN.car, 4, fuel="95 octane"),), air=FROST),
        JobPlan(
            "stale-reading", 96, 16.0, PASS, MOOR, 17, "Before a long tow: is it healthy?",
            (
                SetupPlan("As it came", MOOR.car, 3, fuel="95 octane"),
                SetupPlan("New plugs and coils", stronger(MOOR.car, 1.008), 3, "One coil was weak", fuel="95 octane"),
            ),
            dialect="banco", reading="stale",
        ),
        JobPlan(
            "sea-level-reading", 19, 11.5, PASS, TREK, 18, "Lost power on the pass road since the service.",
            (
                SetupPlan("As it came", stronger(TREK.car, 0.93), 3, fuel="Diesel"),
                SetupPlan("Charge hose seated", TREK.car, 3, "Split clamp behind the intercooler", fuel="Diesel"),
            ),
            dialect="clock", reading="sea_level",
            notes="Pressure was typed from the forecast on the telephone: read again before publishing.",
        ),
    ]  # fmt: skip


def told(august_days_ago: int, january_days_ago: int) -> list[JobPlan]:
    """Every story of the year; the two seasons' days are counted back by the calendar."""
    weather = _weather(august_days_ago, january_days_ago)
    return [*_parts(), *_mixture(), *_trouble(), *_diesel_and_boost(), *weather]
