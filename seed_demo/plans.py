"""What a ticket of the year is made of, before it has a date and after."""

from dataclasses import dataclass, field
from datetime import datetime

from seed_demo.fleet import Model
from seed_demo.holding_run import HoldPlan
from seed_demo.people import Customer
from seed_demo.rollers import CellPlan
from seed_demo.rolling_road import Car, Pull, Roller
from seed_demo.sky import Air


@dataclass(frozen=True)
class SetupPlan:
    """One state of the car and how often it was pulled in it."""

    name: str
    car: Car
    pulls: int
    changed: str = ""
    warmer_k: tuple[float, ...] = ()  # intake over its usual standing warmth, pull by pull
    set_aside: dict[int, str] = field(default_factory=dict)  # which pull, counted from 0, and why
    to_rpm: float | None = None
    gap_min: float = 7.0
    gear: str = ""
    tyre_kpa: float = 240.0
    fuel: str = ""
    braked: bool = False
    held: tuple[tuple[str, HoldPlan], ...] = ()  # the last pulls of it, with their kind: not sweeps but held
    dialects: dict[int, str] = field(default_factory=dict)  # where one file differs from the ticket's others


@dataclass(frozen=True)
class JobPlan:
    """One ticket. `days_ago` below zero lies ahead."""

    key: str
    days_ago: int
    hour: float
    cell: CellPlan
    model: Model
    customer: int
    asked: str
    setups: tuple[SetupPlan, ...] = ()
    state: str = "collected"
    state_note: str = ""
    dialect: str = "bench"
    link_note: str = ""  # non-empty: the customer gets a link with this note
    air: Air | None = None  # where the story wants its own weather
    reading: str = "usual"  # usual | stale | sea_level
    notes: str = ""
    beside: str = ""  # answers: what the controller answered is joined to every pull
    packed: bool = False  # the logger leaves a measurement file, not text
    in_turn: bool = False  # pulled A-B-A-B: a part that is changed in a minute


@dataclass(frozen=True)
class PullTaken:
    """One pull with its date, ready to be driven and written."""

    file_name: str
    dialect: str
    taken_at: datetime
    car: Car
    roller: Roller
    pull: Pull
    air: Air
    seed: int
    set_aside: str
    beside: str = ""
    packed: bool = False
    kind: str = "sweep"
    hold: HoldPlan | None = None


@dataclass(frozen=True)
class SetupTaken:
    """A setup as the API will hear of it."""

    name: str
    changed: str
    gear: str
    engine_turns_per_roller_turn: float
    tyre_pressure_kpa: float
    fuel: str
    pulls: tuple[PullTaken, ...]


@dataclass(frozen=True)
class Vehicle:
    """A car with its plate and number."""

    customer: Customer
    model: Model
    model_year: int
    plate: str
    vin: str


@dataclass(frozen=True)
class Job:
    """A ticket with its dates."""

    plan: JobPlan
    vehicle: Vehicle
    booked_from: datetime
    booked_to: datetime
    odometer_km: int
    setups: tuple[SetupTaken, ...]
    opened_at: datetime
    moved_at: dict[str, datetime]  # state → when the ticket came to it

    @property
    def key(self) -> str:
        """Its name within the year: one ticket, one key."""
        return self.plan.key


@dataclass(frozen=True)
class Reading:
    """One line of the weather log, and the ticket it was read for."""

    job_key: str
    cell: CellPlan
    read_at: datetime
    air_temperature_c: float
    pressure: dict[str, float]
    humidity: dict[str, float]
    source: str


@dataclass(frozen=True)
class Year:
    """All of it, oldest first."""

    began_at: datetime
    jobs: tuple[Job, ...]
    readings: tuple[Reading, ...]

    @property
    def pulls(self) -> int:
        """How many files there are to send."""
        return sum(len(setup.pulls) for job in self.jobs for setup in job.setups)
