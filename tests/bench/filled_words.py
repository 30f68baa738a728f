"""Invented people, makes, models, parts and notes, in the numbers in which a shop meets them."""

import random
from dataclasses import dataclass
from functools import cache

from seed_demo.vins import invented_vin

FIRST = [
    "Ilse",
    "Tomasz",
    "Helga",
    "Nuria",
    "Adaeze",
    "Benedikt",
    "Marisol",
    "Piet",
    "Liisa",
    "Graham",
    "Yasemin",
    "Arvid",
    "Pilar",
    "Oriol",
    "Zofia",
    "Casimir",
    "Duska",
    "Emeka",
    "Fenna",
    "Goran",
    "Hedda",
    "Imre",
    "Jorunn",
    "Kester",
    "Ludo",
    "Mirela",
    "Njord",
    "Ottoline",
    "Perpetua",
    "Quillon",
    "Rasmus",
    "Sunniva",
    "Tibor",
    "Ulla",
    "Vesna",
    "Wystan",
    "Xanthe",
    "Yorick",
    "Zelda",
    "Anselm",
    "Birgit",
    "Cosimo",
    "Dagny",
    "Eamon",
    "Freya",
    "Gunnar",
    "Hollis",
    "Ingrid",
    "Jarek",
    "Katrin",
]
HEADS = [
    "Bran",
    "Caster",
    "Dor",
    "Ellen",
    "Fal",
    "Gar",
    "Hol",
    "Ister",
    "Jarn",
    "Kell",
    "Lund",
    "Mar",
    "Nor",
    "Ost",
    "Pell",
    "Quar",
    "Ros",
    "Stav",
    "Tor",
    "Und",
    "Vel",
    "Wex",
]
TAILS = [
    "vik",
    "berg",
    "dotter",
    "lay",
    "mont",
    "nik",
    "quist",
    "row",
    "sted",
    "thal",
    "vane",
    "wick",
    "yard",
    "zell",
    "by",
    "cott",
    "dale",
    "ford",
    "gate",
    "holm",
]
MAKES = [
    "Corvane",
    "Solvane",
    "Brackwell",
    "Tindari",
    "Ostrava-Leith",
    "Kestrelle",
    "Vantor",
    "Halloran-Pike",
    "Meridio",
    "Quist",
    "Ferrowen",
    "Lanthorn",
    "Aldermoor",
    "Pellucid",
    "Zephyrine",
    "Norrland",
    "Cassowary",
    "Drumlin",
    "Eskarp",
    "Fjordan",
    "Gable",
    "Hartwin",
    "Isolde",
    "Jutland",
]
MODELS = ["Stilt", "Lumen", "Ridge", "Ember", "Falcade", "Garnet", "Heron", "Inlet", "Juno", "Kite", "Larch", "Moraine"]
PARTS = (
    "Wide intake", "Free-flowing exhaust", "Front-mount intercooler", "High-flow injectors", "Sharper cams",
    "Larger throttle body", "Boost controller", "Lighter flywheel", "Port work", "New ignition map", "Cold plugs",
    "Silicone hoses", "Bigger turbo", "Supercharger pulley", "Fuel pump", "Equal-length manifold",
)  # fmt: skip
NOTES = ("Slight hesitation at 4200", "Second fan on", "Cool-down skipped", "Knock heard at the top", "Tyres re-set")
WORK = (
    ("Power run, three pulls", "measuring", 18_000),
    ("Calibration session", "tuning", 64_000),
    ("Fitting, by the hour", "fitting", 9_500),
    ("Diagnosis", "diagnosis", 12_000),
    ("Fuel map from scratch", "tuning", 110_000),
)
LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"


@dataclass(frozen=True)
class Model:
    """A model of some make, and what it usually makes."""

    make: str
    name: str
    engine: str
    displacement_l: float
    aspiration: str
    fuel: str
    power_w: float


@dataclass(frozen=True)
class Car:
    """One car of a model."""

    make: str
    model: str
    year: int
    plate: str
    vin: str
    engine: str
    displacement_l: float
    aspiration: str
    fuel: str
    power_w: float


@cache
def models() -> tuple[tuple[Model, ...], tuple[float, ...]]:
    """Every model there is, and how common each is: the tenth is seen a tenth as often as the first."""
    chance = random.Random(7)
    made = []
    for make in MAKES:
        for name in MODELS:
            litres = chance.choice((1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 4.0))
            aspiration = chance.choice(("natural", "turbo", "turbo", "mechanical"))
            power_w = litres * (52_000.0 if aspiration == "natural" else 88_000.0) * chance.uniform(0.85, 1.15)
            engine = f"{litres} {chance.choice(('four', 'six', 'eight'))}, {chance.choice(('16', '24', '32'))} valves"
            made.append(Model(make, name, engine, litres, aspiration, chance.choice(("petrol", "e10")), power_w))
    chance.shuffle(made)
    return tuple(made), tuple(1.0 / (place + 1) for place in range(len(made)))


def draw_model(chance: random.Random) -> Model:
    """One of them, the common ones more often."""
    known, weights = models()
    return chance.choices(known, weights)[0]


def car_of(model: Model, number: int, chance: random.Random) -> Car:
    """A car of this model; its plate is its own."""
    year = chance.randrange(1996, 2026)
    plate = (
        f"{LETTERS[number // 1000 % 23]}{LETTERS[number // 23_000 % 23]} {number % 1000:03d} {chance.choice(LETTERS)}"
    )
    described = (model.engine, model.displacement_l, model.aspiration, model.fuel)
    return Car(model.make, model.name, year, plate, invented_vin(model.make, year, chance), *described, model.power_w)


def customer_of(number: int, chance: random.Random) -> tuple[str, str, str]:
    """Full name, telephone, e-mail."""
    first, last = chance.choice(FIRST), chance.choice(HEADS) + chance.choice(TAILS)
    return f"{first} {last}", f"+43 1 555 {number:06d}", f"{first}.{last}.{number}@post.example".lower()


def note_of(chance: random.Random) -> str:
    """What a tuner jots beside a pull."""
    return chance.choice(NOTES)
