"""Foreseen: what a change would do to results that customers have, asked before it is saved. Nothing is kept."""

from typing import Annotated, Any

from fastapi import Path, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.api import calibrations, columns, pulls, weather
from pullbook.api.pull_shapes import MapChosen, SetAside
from pullbook.api.shaping import Answer, Instant
from pullbook.db.tables import Shop
from pullbook.deps import DatabaseDep, Desk, Now, Owner, ReadSession, SettingsDep, SignedIn, Tuner
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.amending import FIGURES, Change
from pullbook.shop.foreseeing import Foreseen, foresee
from pullbook.shop.rereading import Moved, amended_links
from pullbook.shown_units import ShownUnits

router = LateRouter(prefix="/api/v1", tags=["amendments"])
CellId = Annotated[str, Path(description="The cell's id.")]
PullId = Annotated[str, Path(description="The pull's id.")]
_DIMENSIONS = {"peak_power_w": "power", "peak_torque_nm": "torque"}


class MovedAnswer(Answer):
    """One thing that a link says otherwise, in the shop's units. `key`: peak_power_w and peak_torque_nm with their
    values in W and N·m; verdict; set_aside; or empty: what it is made from, with no figure moved."""

    what: str
    was: str
    now: str
    why: str
    key: str
    was_value: float | None
    now_value: float | None
    of_setup: bool


class MovedLink(Answer):
    """A live link and what it would say, or says, otherwise."""

    link_id: str
    ticket_id: str
    ticket_number: int
    vehicle: str
    customer_name: str
    made_at: Instant
    ends_at: Instant
    changes: list[MovedAnswer]


class ForeseenAnswer(Answer):
    """Live links that would say something else, newest first. `further`: so many more are touched, not worked out."""

    links: list[MovedLink]
    further: int


class AmendedAnswer(Answer):
    """Live links that say something else than when they were published, newest first."""

    links: list[MovedLink]


@router.post("/weather/foreseen", summary="What a weather reading would amend", response_model=ForeseenAnswer)
def by_weather(
    asked: weather.NewReading, person: Desk, database: DatabaseDep, reader: ReadSession, settings: SettingsDep, now: Now
) -> Response:
    """Which customers' links would say something else if this reading were written down. It is not."""
    found = foresee(
        database,
        now,
        settings.weather_stale_minutes,
        lambda session: weather.enter(session, asked, person.id, now),
    )
    return Json(_told(reader, found))


@router.post(
    "/cells/{cell_id}/calibrations/foreseen",
    summary="What a calibration would amend",
    response_model=ForeseenAnswer,
)
def by_calibration(
    cell_id: CellId,
    asked: calibrations.NewCalibration,
    person: Owner,
    database: DatabaseDep,
    reader: ReadSession,
    settings: SettingsDep,
    now: Now,
) -> Response:
    """Which customers' links would say something else if the cell were calibrated so. It is not."""
    found = foresee(
        database,
        now,
        settings.weather_stale_minutes,
        lambda session: calibrations.add(cell_id, asked, person, session, now),
    )
    return Json(_told(reader, found))


@router.post(
    "/pulls/{pull_id}/set-aside/foreseen",
    summary="What setting a pull aside would amend",
    response_model=ForeseenAnswer,
)
def by_setting_aside(
    pull_id: PullId,
    asked: SetAside,
    person: Tuner,
    database: DatabaseDep,
    reader: ReadSession,
    settings: SettingsDep,
    now: Now,
) -> Response:
    """Which customers' links would say something else without this pull. It stays as it is."""
    found = foresee(
        database,
        now,
        settings.weather_stale_minutes,
        lambda session: pulls.set_aside(pull_id, asked, person, session, now),
    )
    return Json(_told(reader, found))


@router.post(
    "/pulls/{pull_id}/counting-again/foreseen",
    summary="What letting a pull count again would amend",
    response_model=ForeseenAnswer,
)
def by_counting_again(
    pull_id: PullId, person: Tuner, database: DatabaseDep, reader: ReadSession, settings: SettingsDep, now: Now
) -> Response:
    """Which customers' links would say something else with this pull. It stays as it is."""
    found = foresee(
        database,
        now,
        settings.weather_stale_minutes,
        lambda session: pulls.take_back(pull_id, person, session, now),
    )
    return Json(_told(reader, found))


@router.post(
    "/pulls/{pull_id}/channel-map/foreseen", summary="What a channel map would amend", response_model=ForeseenAnswer
)
def by_channel_map(
    pull_id: PullId,
    asked: MapChosen,
    person: Tuner,
    database: DatabaseDep,
    reader: ReadSession,
    settings: SettingsDep,
    now: Now,
) -> Response:
    """Which customers' links would say something else if the pull were read with this map. It is not."""
    found = foresee(
        database,
        now,
        settings.weather_stale_minutes,
        lambda session: columns.choose(pull_id, asked, person, session, now),
    )
    return Json(_told(reader, found))


@router.get("/amendments", summary="Links that no longer say what was published", response_model=AmendedAnswer)
def amended(person: SignedIn, database: DatabaseDep, reader: ReadSession, settings: SettingsDep, now: Now) -> Response:
    """Live links, in one list; reads all their pulls, so it takes its time. Ask it after a new version was put in."""
    units = _units(reader)
    found = amended_links(database, now, settings.weather_stale_minutes)
    return Json({"links": [_moved(one, units) for one in found]})


def _told(session: Session, found: Foreseen) -> dict[str, Any]:
    units = _units(session)
    return {"links": [_moved(one, units) for one in found.links], "further": found.further}


def _units(session: Session) -> ShownUnits:
    row = session.execute(select(Shop.power_unit, Shop.torque_unit, Shop.pressure_unit)).one_or_none()
    return ShownUnits() if row is None else ShownUnits(*row)


def _moved(one: Moved, units: ShownUnits) -> dict[str, Any]:
    return {
        "link_id": one.link.id,
        "ticket_id": one.link.ticket_id,
        "ticket_number": one.ticket_number,
        "vehicle": one.vehicle,
        "customer_name": one.customer_name,
        "made_at": one.link.made_at,
        "ends_at": one.link.ends_at,
        "changes": [_change(change, units) for change in one.changes],
    }


def _change(change: Change, units: ShownUnits) -> dict[str, Any]:
    was, now = change.was, change.now
    if change.key in FIGURES:
        was, now = (
            "none" if value is None else units.text(value, _DIMENSIONS[change.key])
            for value in (change.was_value, change.now_value)
        )
    return {
        "what": change.what,
        "was": was,
        "now": now,
        "why": change.why,
        "key": change.key,
        "was_value": change.was_value,
        "now_value": change.now_value,
        "of_setup": change.setup_id != "",
    }
