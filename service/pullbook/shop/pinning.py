"""Pinning: the words that a results page shows – car, job, setups – kept as they read when it was published.

They are words, so the chain holds a salted digest of them beside the note's, and both can be erased with a person. A
later edit of a record changes no page that is out there; whoever wants it there publishes anew.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from pullbook.shop.comparing import Comparison
from pullbook.shop.loading import Loaded

_CAR = ("make", "model", "model_year", "plate", "fuel")
_SETUP = ("name", "changed", "gear", "tyre_pressure_kpa", "fuel")


def told_of(comparison: Comparison) -> dict[str, Any]:
    """The words behind a comparison, in plain values."""
    ticket = comparison.ticket
    return {
        "asked": ticket.asked,
        "car": {name: getattr(ticket.vehicle, name) for name in _CAR},
        "setups": {
            pull.setup.id: {name: getattr(pull.setup, name) for name in _SETUP} for pull in comparison.pulls
        },
        "cells": {pull.cell.id: pull.cell.name for pull in comparison.pulls},
    }  # fmt: skip


def as_told(loaded: Sequence[Loaded], told: Mapping[str, Any] | None) -> list[Loaded]:
    """These pulls in the words that were published; as they are on record where none were pinned.

    No figure is made from any of them. A setup that a pull was moved to since is told as it is on record.
    """
    return [one if told is None else _one(one, told) for one in loaded]


def _one(one: Loaded, told: Mapping[str, Any]) -> Loaded:
    car = {name: value for name, value in told["car"].items() if name in _CAR}
    setup = {name: value for name, value in told["setups"].get(one.setup.id, {}).items() if name in _SETUP}
    cell = told["cells"].get(one.cell.id, one.cell.name)
    return replace(
        one,
        facts=replace(one.facts, setup_name=setup.get("name", one.facts.setup_name), cell_name=cell),
        ticket=replace(one.ticket, asked=told["asked"], vehicle=replace(one.ticket.vehicle, **car)),
        setup=replace(one.setup, **setup),
        cell=replace(one.cell, name=cell),
    )
