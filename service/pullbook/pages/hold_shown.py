"""The holds of a pull as its page shows them."""

from sqlalchemy.orm import Session

from pullbook.hold_svg import holds_svg
from pullbook.late_methods import dataclass
from pullbook.measure.hold import SETTLED_WORDS, HeldAt, Holds
from pullbook.overlay_svg import NARROW, WIDE
from pullbook.shop.facts import PullFacts
from pullbook.shop.holding import HELD_KINDS, SOAK_CAUTION, BesideSweeps, read_pull_holds
from pullbook.shop.map_writing import LAG_WORDS
from pullbook.shop.reading import ReadSettings
from pullbook.shown_units import ShownUnits, plain_number

TEMPERATURES = {
    "intake_temperature_c": "intake",
    "coolant_temperature_c": "coolant",
    "oil_temperature_c": "oil",
    "exhaust_temperature_c": "exhaust",
}


@dataclass(frozen=True)
class HeldLine:
    """One plateau in figures; what depends on the shop's units stays SI. Drifts are in a minute, with ± of k = 2."""

    number: int
    at: HeldAt
    beside: BesideSweeps
    lasts_s: float
    power_drift_w_per_min: float
    power_drift_u_w_per_min: float
    speed_drift_rpm_per_min: float | None
    lambda_error: float | None
    temperatures: str


@dataclass(frozen=True)
class HoldsShown:
    """A hold's or part-throttle pull's plateaus. `holds` None: `failure` says why."""

    holds: Holds | None
    lines: tuple[HeldLine, ...]
    failure: str | None
    lag: str
    settled_by: str
    caution: str
    setup_id: str
    wide_svg: str
    narrow_svg: str
    sweeps: int


def holds_shown(session: Session, facts: PullFacts, settings: ReadSettings, units: ShownUnits) -> HoldsShown | None:
    """The plateaus of a pull that is a hold or at part throttle; None for any other."""
    if facts.kind not in HELD_KINDS or facts.state != "readable":
        return None
    found = read_pull_holds(session, facts.id, settings)
    plateaus = found.holds.plateaus if found.holds is not None else ()
    lag = found.lag
    return HoldsShown(
        holds=found.holds,
        lines=tuple(_line(place, *one, units) for place, one in enumerate(zip(plateaus, found.beside, strict=True), 1)),
        failure=found.failure,
        lag="" if lag is None else f"{plain_number(lag.lag_s, 2)} s, {LAG_WORDS[lag.by]}",
        settled_by=SETTLED_WORDS,
        caution=SOAK_CAUTION,
        setup_id=facts.setup_id,
        wide_svg=holds_svg(plateaus, found.sweeps, units, WIDE),
        narrow_svg=holds_svg(plateaus, found.sweeps, units, NARROW),
        sweeps=len(found.sweeps),
    )


def _line(number: int, at: HeldAt, beside: BesideSweeps, units: ShownUnits) -> HeldLine:
    measured, commanded = at.lambda_measured, at.lambda_commanded
    both = measured is not None and commanded is not None
    warm = (
        f"{word} {units.text(at.channels[name], 'temperature', 0)}"
        for name, word in TEMPERATURES.items()
        if name in at.channels
    )
    return HeldLine(
        number=number,
        at=at,
        beside=beside,
        lasts_s=at.end_s - at.settled_s,
        power_drift_w_per_min=60.0 * at.observed_power.drift_per_s,
        power_drift_u_w_per_min=120.0 * at.observed_power.drift_u_per_s,
        speed_drift_rpm_per_min=None if at.engine_speed_rpm is None else 60.0 * at.engine_speed_rpm.drift_per_s,
        lambda_error=measured.value - commanded if both and measured and commanded else None,
        temperatures=", ".join(warm),
    )
