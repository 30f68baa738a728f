"""Track runs: what the clocks on a strip said of a setup, and whether it fits its pulls."""

from typing import Annotated, Any

from fastapi import Path, Response
from pydantic import Field, model_validator
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api.editing import apply, locked, record_making, refuse_stale
from pullbook.api.shaping import UNSET, Answer, Asked, Id, Instant, Line, Words, changes_of, one_of
from pullbook.db.evidence import Pull
from pullbook.db.tables import Setup, Ticket
from pullbook.db.tuning import TrackRun
from pullbook.deps import Now, ReadSession, SettingsDep, SignedIn, Tuner, WriteSession
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.measure.track import DISTANCES_M, RULES, SPREAD, USUAL_RULE, Gathered, Implied
from pullbook.measure.units import to_inside
from pullbook.shop.coming_back import refuse_adding_to_forgotten, refuse_forgotten_job
from pullbook.shop.reading import ReadSettings, read_pulls
from pullbook.shop.tracking import CAUTION, OnTrack, TrackFacts, beside_pulls, track_run, track_runs

router = LateRouter(prefix="/api/v1", tags=["track runs"])
TicketId = Annotated[str, Path(description="The ticket's id.")]
Mass = Annotated[float, Field(gt=100, le=10_000, description="Car, driver and fuel, as it rolled.")]
MassLb = Annotated[float, Field(gt=220, le=22_000, description="The same in lb.")]
Distance = Annotated[float, Field(ge=50, le=5000, description="From the start, in m: a quarter mile is 402.336.")]
Elapsed = Annotated[float, Field(gt=1, le=300)]
Speed = Annotated[float, Field(gt=5, le=200, description="At the end of the distance.")]
SpeedKmH = Annotated[float, Field(gt=18, le=720, description="The same in km/h.")]
SpeedMph = Annotated[float, Field(gt=11, le=450, description="The same in mph.")]
Temperature = Annotated[float, Field(ge=-60, le=70)]
Pressure = Annotated[float, Field(ge=40, le=115, description="At the strip, not reduced to the sea.")]
MOST_PULLS = 60


class NewTrackRun(Asked):
    """A run: elapsed time, trap speed or both. Mass and speed in one unit each, as they were read."""

    setup_id: Id
    ran_at: Instant
    mass_kg: Mass | None = None
    mass_lb: MassLb | None = None
    distance_m: Distance
    elapsed_s: Elapsed | None = None
    trap_speed_m_s: Speed | None = None
    trap_speed_km_h: SpeedKmH | None = None
    trap_speed_mph: SpeedMph | None = None
    air_temperature_c: Temperature | None = None
    station_pressure_kpa: Pressure | None = None
    surface: Line = ""
    notes: Words = ""

    @model_validator(mode="after")
    def _enough(self) -> "NewTrackRun":
        one_of(self, "mass_kg", "mass_lb")
        speeds = [name for name in _SPEEDS if getattr(self, name) is not None]
        if len(speeds) > 1:
            raise ValueError(f"trap speed came as {' and '.join(speeds)}; one of them would do")
        if self.elapsed_s is None and not speeds:
            raise ValueError("elapsed_s, a trap speed, or both are needed: a run without a time says nothing")
        return self

    def kept(self) -> dict[str, Any]:
        """As it is stored: kg and m/s."""
        given = self.model_dump(exclude={"mass_lb", *_SPEEDS})
        if self.mass_lb is not None:
            given["mass_kg"] = float(to_inside(self.mass_lb, "lb"))
        given["trap_speed_m_s"] = next(
            (float(to_inside(value, unit)) for name, unit in _SPEEDS.items() if (value := getattr(self, name))), None
        )
        return given


_SPEEDS = {"trap_speed_m_s": "m_s", "trap_speed_km_h": "km_h", "trap_speed_mph": "mph"}


class TrackRunChange(Asked):
    """What to change; `version` is the one last read. A reason sets the run aside, null takes it back in."""

    version: int
    setup_id: Id = UNSET
    ran_at: Instant = UNSET
    mass_kg: Mass = UNSET
    distance_m: Distance = UNSET
    elapsed_s: Elapsed | None = UNSET
    trap_speed_m_s: Speed | None = UNSET
    air_temperature_c: Temperature | None = UNSET
    station_pressure_kpa: Pressure | None = UNSET
    surface: Line = UNSET
    notes: Words = UNSET
    set_aside_reason: Annotated[str, Field(min_length=1, max_length=400)] | None = UNSET


class ImpliedAnswer(Answer):
    """The rated power that a run implies, in W, with the ends of its spread."""

    by: Annotated[str, Field(description="elapsed or trap")]
    power_w: float
    low_w: float
    high_w: float


class TrackRunAnswer(Answer):
    """A run on record, and what it implies."""

    id: str
    ticket_id: str
    setup_id: str
    setup_name: str
    setup_position: int
    ran_at: Instant
    mass_kg: float
    distance_m: float
    elapsed_s: float | None
    trap_speed_m_s: float | None
    air_temperature_c: float | None
    station_pressure_kpa: float | None
    surface: str
    notes: str
    set_aside_reason: str | None
    made_at: Instant
    made_by_name: str
    version: int
    implied: list[ImpliedAnswer]


class GatheredAnswer(Answer):
    """Several figures taken together."""

    power_w: float
    scatter_w: float | None
    counted: int


class OnTrackAnswer(Answer):
    """A setup's runs beside its pulls. Shares are of one: 0.04 is four per cent."""

    setup_id: str
    name: str
    position: int
    rated_by_rule: GatheredAnswer
    wheel_observed: GatheredAnswer | None
    judged: str | None
    words: str
    change: float | None
    change_u: float | None
    wheel_change: float | None


class TrackRunList(Answer):
    """Every run of a ticket, oldest first, and its setups beside their pulls."""

    items: list[TrackRunAnswer]
    next: None
    setups: list[OnTrackAnswer]
    rule: str
    rule_source: str
    spread: float
    distances_m: dict[str, float]
    caution: str


def _implied(one: Implied) -> dict[str, Any]:
    figures = {name: round(getattr(one, name), 1) for name in ("power_w", "low_w", "high_w")}
    return {"by": one.by, **figures}


def run_facts(run: TrackFacts) -> dict[str, Any]:
    """A run as answered."""
    told = {name: getattr(run, name) for name in TrackRunAnswer.model_fields if name != "implied"}
    return {**told, "implied": [_implied(one) for one in run.implied]}


def _gathered(one: Gathered | None) -> dict[str, Any] | None:
    if one is None:
        return None
    scatter = None if one.scatter_w is None else round(one.scatter_w, 1)
    return {"power_w": round(one.power_w, 1), "scatter_w": scatter, "counted": one.counted}


def _setup(one: OnTrack) -> dict[str, Any]:
    shares = {name: getattr(one, name) for name in ("change", "change_u", "wheel_change")}
    return {
        "setup_id": one.setup_id,
        "name": one.name,
        "position": one.position,
        "rated_by_rule": _gathered(one.track),
        "wheel_observed": _gathered(one.wheel),
        "judged": one.judged,
        "words": one.words,
        **{name: None if share is None else round(share, 5) for name, share in shares.items()},
    }


def _one(session: Session, run_id: str) -> dict[str, Any]:
    run = track_run(session, run_id)
    if run is None:
        raise NotFound(f"There is no track run {run_id}.")
    return run_facts(run)


def _refuse_foreign_setup(session: Session, setup_id: str, ticket_id: str) -> None:
    holder = session.execute(select(Setup.ticket_id).where(Setup.id == setup_id)).scalar_one_or_none()
    if holder != ticket_id:
        raise Invalid(
            f"There is no setup {setup_id} on this run's ticket.",
            FieldProblem("setup_id", setup_id, "the id of one of the same ticket's setups"),
        )


@router.post(
    "/tickets/{ticket_id}/track-runs", status_code=201, summary="Add a track run", response_model=TrackRunAnswer
)
def add(ticket_id: TicketId, asked: NewTrackRun, person: Tuner, session: WriteSession, now: Now) -> Response:
    """What the clocks said, kept as it was entered, in kg and m/s."""
    if asked.notes:
        refuse_adding_to_forgotten(session, ticket_id, "notes", asked.notes)
    ticket = locked(session, Ticket, ticket_id, "ticket")
    _refuse_foreign_setup(session, asked.setup_id, ticket.id)
    row = TrackRun(ticket_id=ticket.id, **asked.kept(), made_at=now, made_by=person.id)
    session.add(row)
    session.flush()
    record_making(session, now, person.id, row, {"ticket_id": ticket.id, **asked.kept()}, "track_run")
    return Json(_one(session, row.id), 201)


@router.get("/tickets/{ticket_id}/track-runs", summary="A ticket's track runs", response_model=TrackRunList)
def several(ticket_id: TicketId, person: SignedIn, session: ReadSession, settings: SettingsDep) -> Response:
    """Oldest first, with the power that each implies; setups with runs stand beside the wheel power of their pulls."""
    if session.execute(select(Ticket.id).where(Ticket.id == ticket_id)).one_or_none() is None:
        raise NotFound(f"There is no ticket {ticket_id}.")
    runs = track_runs(session, ticket_id)
    ids = session.scalars(
        select(Pull.id)
        .where(Pull.ticket_id == ticket_id, Pull.setup_id.in_({run.setup_id for run in runs}), Pull.kind == "sweep")
        .order_by(Pull.taken_at.desc(), Pull.id.desc())
        .limit(MOST_PULLS)
    ).all()
    wanted = ReadSettings("observed", weather_stale_minutes=settings.weather_stale_minutes, channels=frozenset())
    pulls = read_pulls(session, ids, wanted) if ids else []
    answer = {
        "items": [run_facts(run) for run in runs],
        "next": None,
        "setups": [_setup(one) for one in beside_pulls(runs, pulls)],
        "rule": RULES[USUAL_RULE].title,
        "rule_source": RULES[USUAL_RULE].source,
        "spread": SPREAD,
        "distances_m": dict(DISTANCES_M),
        "caution": CAUTION,
    }
    return Json(answer)


@router.patch("/track-runs/{run_id}", summary="Change a track run", response_model=TrackRunAnswer)
def change(
    run_id: Annotated[str, Path(description="The run's id.")],
    asked: TrackRunChange,
    person: Tuner,
    session: WriteSession,
    now: Now,
) -> Response:
    """Only the fields sent; with a reason it is set aside and counts no more. 409 when it was changed meanwhile."""
    row, changes = locked(session, TrackRun, run_id, "track run"), changes_of(asked)
    refuse_stale(row, asked.version, changes, "track run")
    if changes.get("notes"):
        refuse_forgotten_job(session, row.ticket_id, "notes", changes["notes"])
    if "setup_id" in changes:
        _refuse_foreign_setup(session, changes["setup_id"], row.ticket_id)
    timed = {name: changes.get(name, getattr(row, name)) for name in ("elapsed_s", "trap_speed_m_s")}
    if all(value is None for value in timed.values()):
        raise Invalid(
            "A run without a time says nothing.",
            FieldProblem("elapsed_s", None, "elapsed_s, trap_speed_m_s, or both; set the run aside if it is no good"),
        )
    apply(session, now, person.id, row, changes, "track_run")
    session.flush()
    return Json(_one(session, run_id))
