"""The tickets between the stories: ordinary parts on ordinary cars, spread over the year."""

import random
from dataclasses import dataclass

from seed_demo.fleet import CORBEAU, FEN, HARE, LUMEN, MOOR, PIKE, RIDGE, TREK, VANTA, Model, lighter, stronger
from seed_demo.plans import JobPlan, SetupPlan
from seed_demo.rollers import PASS, VALLEY

FUEL_WORDS = {"petrol": "98 octane", "e10": "E10", "diesel": "Diesel"}


@dataclass(frozen=True)
class Part:
    """Something a shop fits: what it multiplies torque by, from which engine speed on, and what it says of itself."""

    name: str
    factor: float
    above_rpm: float = 0.0
    changed: str = ""
    mass_share: float = 1.0


EXHAUST = Part("Rear silencer", 1.011, 3000.0, "Centre pipe kept")
THROTTLE = Part("Polished throttle body", 1.0, 0.0, "Nothing else touched")
WHEELS = Part("Lighter wheels", 1.0, 0.0, "2.3 kg less each; tyres the same", 0.86)
PLUGS = Part("Plugs and coils", 1.006)
TIMING = Part("Timing +1.5°", 1.013, 3500.0, "Knock sensor quiet throughout")
MANIFOLD = Part("Tubular manifold", 1.028, 3800.0, "Same map; mixture checked")
COOLER = Part("Larger intercooler", 1.019, 2500.0, "Pipes as before")
MAP = Part("Map revision 1", 1.046, 2200.0, "Boost up 9 kPa, timing as it was")
DIESEL_MAP = Part("Map revision 1", 1.062, 1500.0, "Rail pressure unchanged")
HOSE = Part("Silicone intake hose", 1.001)
SERVICE = Part("After service", 1.009, 0.0, "Filters, oil, fuel filter")

_PLAIN: tuple[tuple[int, float, Model, int, tuple[Part, ...], str, str], ...] = (
    # days ago, hour, car, customer, parts one after the other, dialect, asked
    (346, 9.0, LUMEN, 0, (PLUGS, EXHAUST), "bench", "Plugs first, then the silencer: one at a time."),
    (331, 10.0, FEN, 1, (MANIFOLD,), "pruefstand", "Tubular manifold on the old six."),
    (317, 14.0, VANTA, 3, (COOLER, MAP), "banc", "Intercooler, then a map to suit it."),
    (301, 9.5, PIKE, 6, (MAP,), "bench", "First map, street use."),
    (288, 11.0, RIDGE, 8, (DIESEL_MAP,), "pruefstand", "Pulls a caravan; wants it easier on hills."),
    (262, 15.0, CORBEAU, 15, (HOSE, TIMING), "arm", "Hose fitted at home. Then our timing."),
    (236, 13.5, TREK, 32, (DIESEL_MAP,), "clock", "Mountain guide: torque low down."),
    (221, 9.0, LUMEN, 33, (THROTTLE,), "counter", "Somebody sold him a polished throttle body."),
    (207, 9.5, VANTA, 14, (TIMING,), "notebook", "Better fuel now; use it."),
    (196, 14.5, FEN, 19, (EXHAUST, TIMING), "pruefstand", "Silencer and a little timing."),
    (171, 9.0, PIKE, 31, (COOLER, MAP), "bench", "Stage by stage, please, with a sheet for each."),
    (128, 9.0, CORBEAU, 27, (MAP,), "arm", "First map, commuter."),
    (117, 13.0, HARE, 26, (WHEELS,), "bench", "Do lighter wheels show on the rollers?"),
    (82, 9.5, TREK, 25, (SERVICE,), "clock", "Loses a little every year."),
    (55, 10.0, RIDGE, 24, (HOSE, DIESEL_MAP), "pruefstand", "Boost leak first, then the map."),
    (41, 9.0, LUMEN, 20, (EXHAUST,), "counter", "Silencer passes the noise test now. Did it cost anything?"),
    (28, 15.0, PIKE, 22, (TIMING,), "bench", "Runs on 98 now."),
    (4, 13.0, MOOR, 30, (EXHAUST,), "banco", "Before the gas conversion: a silencer."),
    # the month a year ago, which the owner's page lays beside this one
    (389, 9.0, TREK, 25, (SERVICE,), "clock", "Before winter: is it still what it was?"),
    (379, 14.0, PIKE, 22, (PLUGS,), "bench", "Misfires when damp. New plugs and coils."),
    (372, 9.5, LUMEN, 20, (EXHAUST,), "counter", "The old silencer rusted through."),
    (361, 10.0, FEN, 19, (WHEELS,), "pruefstand", "Lighter wheels on; worth it?"),
)


def between_the_stories(seed: int) -> list[JobPlan]:
    """Every ordinary ticket, the same ones for the same seed."""
    chance = random.Random(seed)
    return [_ticket(number, line, chance) for number, line in enumerate(_PLAIN)]


def _ticket(
    number: int, line: tuple[int, float, Model, int, tuple[Part, ...], str, str], chance: random.Random
) -> JobPlan:
    days_ago, hour, model, customer, parts, dialect, asked = line
    cell = PASS if model.drive == "all_wheel" else VALLEY
    fuel = FUEL_WORDS[model.fuel]
    setups, car = [SetupPlan("Baseline", model.car, chance.choice((3, 3, 3, 4)), fuel=fuel)], model.car
    for part in parts:
        car = lighter(stronger(car, part.factor, part.above_rpm), part.mass_share)
        setups.append(SetupPlan(part.name, car, chance.choice((3, 3, 3, 4)), part.changed, fuel=fuel))
    if number % 7 == 3:
        first = setups[0]
        reason = "Fan belt slipped off the door fan; repeated."
        setups[0] = SetupPlan(first.name, first.car, first.pulls + 1, set_aside={0: reason}, fuel=fuel)
    link = "Thank you for coming. Ask us if anything on this page is unclear." if number % 3 == 0 else ""
    return JobPlan(
        f"plain-{number:02d}",
        days_ago,
        hour,
        cell,
        model,
        customer,
        asked,
        tuple(setups),
        dialect=dialect,
        link_note=link,
    )
