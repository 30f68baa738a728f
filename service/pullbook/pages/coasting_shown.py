"""On a pull's page: a car's coast-down, and what other calibrations of the cell would have said of a sweep."""

from datetime import datetime

from sqlalchemy.orm import Session

from pullbook.control_chart_svg import CHART_NARROW, residual_svg
from pullbook.errors import Clash
from pullbook.late_methods import dataclass
from pullbook.shop.freewheeling import Freewheel, read_freewheel, read_under_others
from pullbook.shop.loading import load_pulls
from pullbook.shop.reading import ReadPull, ReadSettings
from pullbook.shown_units import ShownUnits, plain_number

_ROWS = 7


@dataclass(frozen=True)
class DragRow:
    """The car's drag at one roller speed, as people read it."""

    speed: str
    torque: str
    power: str
    roller: str


@dataclass(frozen=True)
class CoastShown:
    """A car's coast-down. `estimate` is a sentence; `failure` says why there is nothing."""

    failure: str
    rows: tuple[DragRow, ...]
    estimate: str
    words: tuple[str, ...]
    sweep_id: str
    wide_svg: str
    narrow_svg: str


@dataclass(frozen=True)
class OtherCalibration:
    """What a calibration that was not in force would have said."""

    id: str
    valid_from: datetime
    peak_power: str
    peak_torque: str
    change: str


@dataclass(frozen=True)
class CalibrationsShown:
    """A coast-down's section, or the other calibrations of a sweep's cell; both empty for other pulls."""

    coast: CoastShown | None
    others: tuple[OtherCalibration, ...]


def coasting_shown(session: Session, pull: ReadPull, settings: ReadSettings, units: ShownUnits) -> CalibrationsShown:
    """What the page says of it."""
    if pull.facts.kind == "coast_down":
        return CalibrationsShown(_coast(session, pull, settings, units), ())
    if pull.curve is None:
        return CalibrationsShown(None, ())
    loaded = load_pulls(session, [pull.facts.id])[0]
    own = pull.curve.headline.peak_power_w.value
    others = []
    for row, read in read_under_others(session, loaded, settings):
        if read.curve is None:
            continue
        peak, torque = read.curve.headline.peak_power_w.value, read.curve.headline.peak_torque_nm.value
        others.append(
            OtherCalibration(
                id=row.id,
                valid_from=row.valid_from,
                peak_power=units.text(peak, "power"),
                peak_torque=units.text(torque, "torque"),
                change=f"{'+' if peak >= own else ''}{plain_number(100.0 * (peak / own - 1.0), 2)} %",
            )
        )
    return CalibrationsShown(None, tuple(others))


def _coast(session: Session, pull: ReadPull, settings: ReadSettings, units: ShownUnits) -> CoastShown:
    try:
        read = read_freewheel(session, pull.facts.id, settings)
    except Clash as error:
        return CoastShown(error.message, (), "", (), "", "", "")
    drag = read.drag
    places = range(0, len(drag.at_rad_s), max(1, len(drag.at_rad_s) // (_ROWS - 1)))
    rows = tuple(
        DragRow(
            speed=plain_number(drag.at_rad_s[place], 0),
            torque=f"{units.text(drag.drag_nm[place], 'torque')} ± {units.text(2 * drag.drag_u_nm[place], 'torque')}",
            power=units.text(drag.power_w[place], "power"),
            roller=units.text(drag.roller_nm[place], "torque"),
        )
        for place in places
    )
    return CoastShown(
        failure="",
        rows=rows,
        estimate=_estimate(read, units),
        words=read.words,
        sweep_id=read.sweep.facts.id if read.sweep is not None else "",
        wide_svg=residual_svg(read.run),
        narrow_svg=residual_svg(read.run, CHART_NARROW),
    )


def _estimate(read: Freewheel, units: ShownUnits) -> str:
    if read.peak is None:
        return ""
    rpm, wheel, engine, expanded = read.peak
    power = [units.text(value, "power") for value in (engine, expanded, wheel)]
    return (
        f"Estimated at the engine: {power[0]} ± {power[1]} (k = 2) at {plain_number(rpm)} rev/min, from {power[2]} "
        "observed at the wheels, uncorrected."
    )
