"""Comparing setups: every pull on one grid of engine speed, what differed in the conditions said first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pullbook.measure.curve import Flag
from pullbook.shop.facts import Floats, OnGrid, TicketFacts
from pullbook.shop.reading import ReadPull, ReadSettings
from sqlalchemy.orm import Session


@dataclass(frozen=True, slots=True)
class SetupRead:
    """One setup with its pulls, oldest first, and the mean of those that count."""

    setup_id: str
    ticket_number: int
    name: str
    position: int
    changed: str
    gear: str
    tyre_pressure_kpa: float | None
    fuel: str
    pulls: tuple[ReadPull, ...]
    mean: OnGrid | None  # on the common grid; None when no pull counts
    counted: int  # pulls in the mean: read, and not set aside

    @property
    def standing(self) -> tuple[ReadPull, ...]:
        """The pulls that count: read as a curve and not set aside."""
        return tuple(pull for pull in self.pulls if pull.curve is not None and pull.facts.set_aside_at is None)


@dataclass(frozen=True, slots=True)
class Condition:
    """Something that was not the same throughout, so it may explain a difference before any part does."""

    code: str  # gear, tyre_pressure, fuel, cell, calibration, air, vehicle, ticket, axis, factor
    name: str  # in words: "Tyre pressure"
    values: Mapping[str, str]  # by setup id, in words with units


@dataclass(frozen=True, slots=True)
class Comparison:
    """Several pulls read under one standard on one common grid, by setup."""

    tickets: tuple[TicketFacts, ...]  # usually one
    standard: str
    standard_title: str
    step_rpm: float
    window_s: float | None  # None: chosen for each pull from its own data
    engine_speed_rpm: Floats  # the common grid, whole multiples of step_rpm
    setups: tuple[SetupRead, ...]
    conditions: tuple[Condition, ...]
    method_version: str
    flags: tuple[Flag, ...]  # about the comparison as a whole; each pull carries its own
    digest: str

    @property
    def ticket(self) -> TicketFacts:
        """The ticket most pages are about: the first pull's."""
        return self.tickets[0]

    @property
    def pulls(self) -> tuple[ReadPull, ...]:
        """Every pull, setup by setup."""
        return tuple(pull for setup in self.setups for pull in setup.pulls)


def compare(session: Session, pull_ids: Sequence[str], settings: ReadSettings) -> Comparison:
    """Read these pulls and lay them on one grid; NotFound and Invalid as in `read_pulls`."""
    raise NotImplementedError
