"""What the cell's templates are given."""

from collections.abc import Mapping
from datetime import datetime
from typing import ClassVar

from pullbook.late_methods import dataclass
from pullbook.measure.correction import Standard
from pullbook.measure.curve import Flag
from pullbook.pages.arrival_shown import TicketArrival
from pullbook.pages.budget_shown import BudgetShown
from pullbook.pages.charges_shown import TicketCharges
from pullbook.pages.coasting_shown import CalibrationsShown
from pullbook.pages.desk_shown import CellBrief
from pullbook.pages.hold_shown import HoldsShown
from pullbook.pages.joined_shown import JoinedShown
from pullbook.pages.limits_shown import PullLimits, TicketLimits
from pullbook.pages.mixture_shown import MixtureShown
from pullbook.pages.told import Shown, told
from pullbook.pages.track_shown import TicketTrack
from pullbook.pages.verdict_shown import JudgedBy, VerdictPart
from pullbook.shop.comparing import Comparison
from pullbook.shop.facts import JoinedFacts
from pullbook.shop.reading import ReadPull


@dataclass(frozen=True)
class StepLine:
    """A step the ticket has taken."""

    state: str
    at: datetime
    by_name: str
    note: str


@dataclass(frozen=True)
class TicketHead:
    """A ticket with its customer and car, as the top of its page shows them."""

    id: str
    number: int
    state: str
    asked: str
    notes: str
    version: int
    customer_name: str
    customer_phone: str
    customer_email: str
    vehicle_title: str
    plate: str
    vin: str
    engine: str
    fuel: str
    aspiration: str
    drive: str
    cell_id: str | None
    cell_name: str | None
    booked_from: datetime | None
    booked_to: datetime | None
    waiver_name: str
    waiver_at: datetime | None


@dataclass(frozen=True)
class SetupCard:
    """A setup and how many pulls it has."""

    id: str
    position: int
    name: str
    changed: str
    gear: str
    engine_turns_per_roller_turn: float | None
    tyre_pressure_kpa: float | None
    fuel: str
    version: int
    pull_count: int


@dataclass(frozen=True)
class LinkLine:
    """A results link as staff see it; the address itself was shown once, when it was made."""

    id: str
    made_at: datetime
    made_by_name: str
    ends_at: datetime
    revoked_at: datetime | None
    opened_count: int
    last_opened_on: str | None
    note: str
    pull_count: int
    is_live: bool


@dataclass(frozen=True)
class MapBrief:
    """A saved channel map, to be chosen."""

    id: str
    name: str


@dataclass(frozen=True)
class TicketPage(Shown):
    """One job."""

    template: ClassVar[str] = "cell/ticket.html"
    ticket: TicketHead = told("The ticket with its customer and car.")
    steps: tuple[StepLine, ...] = told("The steps it has taken, oldest first.")
    next_states: tuple[str, ...] = told("The states it may go to from here.")
    setups: tuple[SetupCard, ...] = told("Its setups, baseline first.")
    flags: tuple[Flag, ...] = told("What is to be known of its setups as a whole.")
    pulls: tuple[ReadPull, ...] = told("Its pulls, read under the shop's own standard, newest first.")
    comparable: tuple[str, ...] = told("The ids of the pulls that read as curves and are not set aside.")
    links: tuple[LinkLine, ...] = told("Results links made for it, newest first.")
    cells: tuple[CellBrief, ...] = told("The cells to choose from.")
    maps: tuple[MapBrief, ...] = told("Saved channel maps to choose from.")
    standard: Standard = told("The shop's own correction standard.")
    limits: TicketLimits = told("What must not be passed on this job, and what the car was last limited to.")
    track: TicketTrack = told("Timed runs on a strip, beside the pulls of the same setups.")
    charges: TicketCharges = told("What the job comes to.")
    arrival: TicketArrival = told("How the car came, its photos, the terms, and who signed the safety checklist.")


@dataclass(frozen=True)
class SetupSummary:
    """A setup's headline figures in words' reach: the mean curve's peak, and between which the single pulls lay."""

    setup_id: str
    name: str
    changed: str
    position: int
    made: int
    counted: int
    set_aside: int
    peak_power_w: float | None
    peak_power_rpm: float | None
    low_power_w: float | None
    high_power_w: float | None
    power_u_w: float | None
    observed_power_w: float | None  # given where the factor counts the air twice: to be read beside the corrected one
    observed_power_rpm: float | None
    peak_torque_nm: float | None
    peak_torque_rpm: float | None
    low_torque_nm: float | None
    high_torque_nm: float | None
    torque_u_nm: float | None
    factor_low: float | None
    factor_high: float | None
    cell_names: tuple[str, ...]


@dataclass(frozen=True)
class DataColumn:
    """A column of the table under a chart."""

    title: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class FirstWord:
    """What to look at first in the pulls of one setup, said as its first pull says it."""

    place: int
    text: str
    others: int  # further pulls of the setup that say so


@dataclass(frozen=True)
class ComparePage(Shown):
    """Several pulls laid over each other."""

    template: ClassVar[str] = "cell/compare.html"
    comparison: Comparison | None = told("The comparison; None while no pull is chosen.")
    refusal: str = told("Why there is nothing to compare, in words; empty when there is.")
    first_words: tuple[FirstWord, ...] = told("What single pulls ask to be looked at first, by setup.")
    summaries: tuple[SetupSummary, ...] = told("Headline figures by setup.")
    verdicts: VerdictPart = told("Each later setup against the first, and what holds for all of them.")
    judged_by: JudgedBy = told("The band and the share that matters, as typed and as in force.")
    places: Mapping[str, int] = told("The place of each setup compared, which says its letter and line, by its id.")
    ticket_id: str = told("The ticket that pulls are chosen from; empty when none is known.")
    also: str = told("The numbers of further tickets to choose from, as typed.")
    standard: str = told("The identifier of the chosen standard.")
    standards: tuple[Standard, ...] = told("Every correction standard.")
    window_s: float | None = told("The chosen width of the local fit; None: from the data.")
    step_rpm: float = told("The step of the engine-speed grid.")
    chosen: frozenset[str] = told("The ids of the chosen pulls.")
    choices: tuple[ReadPull, ...] = told("Every pull of the tickets compared, to choose from.")
    wide_svg: str = told("The drawing for a wide window, as finished markup.")
    narrow_svg: str = told("The drawing for a phone, as finished markup.")
    figure: str = told("The figure for the chart library, as JSON that is safe inside a page.")
    not_drawn: str = told("Which pulls the chart leaves out, and why; empty where none.")
    speeds: tuple[str, ...] = told("The table's engine speeds.")
    columns: tuple[DataColumn, ...] = told("The table's columns, one for each line drawn bold.")


@dataclass(frozen=True)
class PullPage(Shown):
    """One pull in depth."""

    template: ClassVar[str] = "cell/pull.html"
    pull: ReadPull = told("The pull as read.")
    standard: Standard = told("The standard it is read under.")
    standards: tuple[Standard, ...] = told("Every correction standard.")
    window_s: float | None = told("The width asked for; None: from the data.")
    wide_svg: str = told("The drawing for a wide window, as finished markup.")
    narrow_svg: str = told("The drawing for a phone, as finished markup.")
    figure: str = told("The figure for the chart library, as JSON that is safe inside a page.")
    speeds: tuple[str, ...] = told("The table's engine speeds.")
    columns: tuple[DataColumn, ...] = told("The table's columns.")
    other_ids: tuple[str, ...] = told("The readable pulls of the same ticket, this one among them.")
    budget: BudgetShown | None = told("What the figures may be off by, input by input; None without a curve.")
    limits: PullLimits = told("The ticket's limits held against this pull.")
    mixture: MixtureShown | None = told("λ over engine speed and what it says; None without such a curve.")
    holds: HoldsShown | None = told("Its plateaus, of a hold or a part-throttle pull; None for any other.")
    joined: JoinedShown = told("Other loggers' files of the same run, each on this pull's clock.")
    coasting: CalibrationsShown = told("A car's coast-down, or what other calibrations would have said.")


@dataclass(frozen=True)
class ChannelMapPage(Shown):
    """Say which column is what. The columns themselves come through the API, as do previews."""

    template: ClassVar[str] = "cell/channel_map.html"
    pull: ReadPull = told("The pull whose file it is, or beside which it lies.")
    maps: tuple[MapBrief, ...] = told("Saved maps to choose from.")
    joined: JoinedFacts | None = told("The joined file that it is about; None: the pull's own.")


@dataclass(frozen=True)
class WeatherLine:
    """A reading in the log."""

    id: str
    read_at: datetime
    air_temperature_c: float
    station_pressure_kpa: float
    humidity_kind: str
    humidity_value: float
    altimeter_setting_kpa: float | None
    source: str
    doubt: str | None
    made_by_name: str
    superseded: bool


@dataclass(frozen=True)
class WeatherCell:
    """A cell's log: its latest readings, newest first, and a drawing of them."""

    cell: CellBrief
    lines: tuple[WeatherLine, ...]
    svg: str


@dataclass(frozen=True)
class WeatherPage(Shown):
    """The weather log."""

    template: ClassVar[str] = "cell/weather.html"
    logs: tuple[WeatherCell, ...] = told("Every cell's log.")
    now: datetime = told("The time: what a new reading begins with.")
