"""Mixing: what pulls say of their mixture – lag, stretches, and what to look at – for one pull or a comparison."""

from collections.abc import Iterable
from dataclasses import replace

from sqlalchemy.orm import Session

from pullbook.measure.mixture import Mixture, read_mixture
from pullbook.shop.loading import load_pulls
from pullbook.shop.reading import ReadPull, ReadSettings, read_loaded

SHORTEST_LAG_S, LONGEST_LAG_S = 0.0, 3.0


def pull_mixture(session: Session, pull_id: str, settings: ReadSettings) -> tuple[ReadPull, Mixture | None]:
    """A pull with its mixture, None where it has no curve over engine speed. NotFound for an unknown pull."""
    pull = read_loaded(load_pulls(session, [pull_id])[0], replace(settings, channels=None))
    return pull, mixture_of(pull)


def mixture_of(pull: ReadPull) -> Mixture | None:
    """The mixture of a pull that has been read with its λ channels; None without a curve over engine speed."""
    curve = pull.curve
    if curve is None or curve.axis != "engine_speed":
        return None
    ignition = pull.ticket.vehicle.ignition
    return read_mixture(curve.channels, curve.in_place, curve.engine_speed_rpm, curve.torque_nm, ignition)


def mixtures_of(pulls: Iterable[ReadPull]) -> dict[str, Mixture]:
    """By pull id, those of a comparison's pulls that have one."""
    found = ((pull.facts.id, mixture_of(pull)) for pull in pulls)
    return {pull_id: mixture for pull_id, mixture in found if mixture is not None}
