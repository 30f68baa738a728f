"""Freewheeling: a car that coasted on the rollers, declutched; its drag there, and power at the engine, estimated."""

from collections.abc import Sequence
from dataclasses import replace
from math import pi

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from pullbook.db.evidence import Pull
from pullbook.db.tables import Calibration, Vehicle
from pullbook.errors import Clash, FieldProblem, Invalid
from pullbook.late_methods import dataclass
from pullbook.measure.cardrag import CarDrag, EngineEstimate, car_drag, engine_estimate, guessed_extra
from pullbook.measure.coastdown import CoastDown, read_coast_down
from pullbook.measure.curve import Curve
from pullbook.measure.curveparts import RollerCalibration, SweepError
from pullbook.runfile.channels import ChannelMapError
from pullbook.shop.channelling import own_channels
from pullbook.shop.facts import CalibrationFacts, Floats, PullFacts
from pullbook.shop.loading import Loaded, load_pulls
from pullbook.shop.reading import CALCULATED_FROM, ReadPull, ReadSettings, read_loaded, read_pulls

CAUTION = (
    "An estimate, not a measurement: a driven tyre and loaded gears take more than a coasting car shows, and what "
    "turns in the car is stated or guessed, not measured."
)


@dataclass(frozen=True)
class Freewheel:
    """A coast-down of a car as read: the fit, the drag, and beside a sweep of the same setup the estimate.

    `estimate` has one value a point of `engine_speed_rpm` (roller speed where the sweep lies on that axis); None where
    the setup has no sweep to estimate from. `words` is what to know before believing it.
    """

    facts: PullFacts
    run: CoastDown
    drag: CarDrag
    sweep: ReadPull | None
    engine_speed_rpm: Floats | None
    estimate: EngineEstimate | None
    words: tuple[str, ...]

    @property
    def peak(self) -> tuple[float, float, float, float] | None:
        """Where the estimate peaks: engine speed, wheel power, estimate, expanded uncertainty (rev/min, W)."""
        if self.estimate is None or self.engine_speed_rpm is None:
            return None
        place = int(np.argmax(self.estimate.estimate_w))
        columns = (self.engine_speed_rpm, self.estimate.wheel_w, self.estimate.estimate_w, self.estimate.expanded_w)
        rpm, wheel, engine, expanded = (float(column[place]) for column in columns)
        return rpm, wheel, engine, expanded


def read_freewheel(
    session: Session,
    pull_id: str,
    settings: ReadSettings,
    extra_kg_m2: float | None = None,
    extra_u_kg_m2: float | None = None,
) -> Freewheel:
    """Read a pull of the kind coast_down. Clash where it cannot be read as one, NotFound for an unknown pull.

    `extra_kg_m2`: inertia of what turns in the car, seen from the roller; None: a guess from the car's mass stands in.
    """
    loaded = load_pulls(session, [pull_id])[0]
    calibration, run = _fitted(loaded)
    mass = session.execute(select(Vehicle.mass_kg).where(Vehicle.id == loaded.ticket.vehicle.id)).scalar_one()
    stated = extra_kg_m2 is not None
    guess, guess_u = guessed_extra(mass, calibration)
    extra = guess if extra_kg_m2 is None else extra_kg_m2
    u = guess_u if not stated else 0.1 * extra if extra_u_kg_m2 is None else extra_u_kg_m2
    drag = car_drag(run, calibration, extra, u, stated)
    sweep = _sweep_beside(session, loaded.facts, settings)
    rpm, estimate = _estimated(sweep, calibration, drag)
    return Freewheel(loaded.facts, run, drag, sweep, rpm, estimate, _words(drag, mass, sweep))


def _fitted(loaded: Loaded) -> tuple[RollerCalibration, CoastDown]:
    facts = loaded.facts
    if facts.kind != "coast_down":
        raise Clash(f"This pull is a {facts.kind.replace('_', ' ')}; only a coast-down tells the car's drag.")
    if facts.state != "readable" or loaded.columns is None or loaded.channel_map is None:
        raise Clash(
            f"This pull is filed but cannot be read yet: {facts.unreadable_reason or 'its columns are not there'}"
        )
    if loaded.calibration is None:
        raise Clash(f"{loaded.cell.name} had no calibration in force then; enter one that is valid from that date.")
    calibration = constants_of(loaded.calibration)
    try:
        run = read_coast_down(own_channels(loaded, CALCULATED_FROM), calibration)
    except (SweepError, ChannelMapError) as error:
        raise Clash(str(error)) from error
    if not run.falls:
        raise Clash("The rollers gain speed in this file and never run down for long; it is no coast-down.")
    return calibration, run


def constants_of(facts: CalibrationFacts) -> RollerCalibration:
    """A loaded calibration as the calculation takes it."""
    names = RollerCalibration.__dataclass_fields__
    return RollerCalibration(**{name: getattr(facts, name) for name in names})


def _sweep_beside(session: Session, facts: PullFacts, settings: ReadSettings) -> ReadPull | None:
    """The sweep of the same setup in the same cell that was taken nearest in time, if it has a curve."""
    rows = session.execute(
        select(Pull.id, Pull.taken_at).where(
            Pull.setup_id == facts.setup_id,
            Pull.cell_id == facts.cell_id,
            Pull.kind == "sweep",
            Pull.state == "readable",
            Pull.set_aside_at.is_(None),
        )
    ).all()
    if not rows:
        return None
    nearest = min(rows, key=lambda row: abs((row.taken_at - facts.taken_at).total_seconds()))
    pull = read_pulls(session, [nearest.id], settings)[0]
    return pull if pull.curve is not None and pull.curve.basis is not None else None


def _estimated(
    sweep: ReadPull | None, calibration: RollerCalibration, drag: CarDrag
) -> tuple[Floats | None, EngineEstimate | None]:
    if sweep is None or sweep.curve is None or sweep.curve.basis is None:
        return None, None
    curve, at = sweep.curve, sweep.curve.basis.peak_power
    share = (at.drive_nm - at.brake_nm) / at.total_nm if at.total_nm else 0.0
    peak = curve.headline.peak_power_w
    u_share = 0.5 * peak.expanded_uncertainty / peak.value
    wheel = curve.observed_power_w
    return curve.engine_speed_rpm, engine_estimate(
        wheel, u_share * np.abs(wheel), _roller_speed(curve), calibration, drag, share
    )


def _roller_speed(curve: Curve) -> Floats:
    turns = 1.0 if curve.axis == "roller_speed" or not curve.ratio else curve.ratio
    made: Floats = curve.engine_speed_rpm * (2.0 * pi / 60.0) / turns
    return made


def _words(drag: CarDrag, mass_kg: float | None, sweep: ReadPull | None) -> tuple[str, ...]:
    said = [CAUTION]
    if not drag.extra_stated:
        of = f"the car's {mass_kg:.0f} kg" if mass_kg else "a car of 1400 kg, its own mass being unknown"
        said.append(
            f"What turns in the car is not known; {drag.extra_kg_m2:.2f} kg·m² stands in (3 % of {of} at the rollers' "
            "rim; common practice), uncertain by as much. Stating it narrows this more than anything else."
        )
    if sweep is None:
        said.append("This setup has no readable sweep in this cell: there is drag, but no power to add it to.")
    return tuple(said)


def under_another(session: Session, loaded: Loaded, calibration_id: str) -> Loaded:
    """A loaded pull as if another calibration of its cell had been in force. Invalid for one of another cell."""
    row = session.get(Calibration, calibration_id)
    if row is None or row.cell_id != loaded.cell.id:
        raise Invalid(
            f"There is no calibration {calibration_id} of {loaded.cell.name}.",
            FieldProblem("calibration_id", calibration_id, "the id of a calibration of the cell the pull was taken on"),
        )
    return replace(loaded, calibration=facts_of(row))


def facts_of(row: Calibration) -> CalibrationFacts:
    """A calibration on record as a pull carries it."""
    return CalibrationFacts(**{name: getattr(row, name) for name in CalibrationFacts.__dataclass_fields__})


def read_under_others(
    session: Session, loaded: Loaded, settings: ReadSettings, most: int = 4
) -> Sequence[tuple[Calibration, ReadPull]]:
    """The same pull under its cell's other calibrations, those nearest its own first."""
    if loaded.calibration is None:
        return ()
    rows = session.scalars(
        select(Calibration).where(Calibration.cell_id == loaded.cell.id, Calibration.id != loaded.calibration.id)
    ).all()
    at = loaded.calibration.valid_from
    nearest = sorted(rows, key=lambda row: abs((row.valid_from - at).total_seconds()))[:most]
    read = [(row, read_loaded(replace(loaded, calibration=facts_of(row)), settings)) for row in nearest]
    return sorted(read, key=lambda pair: pair[0].valid_from)
