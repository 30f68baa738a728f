"""JSON under /api/v1, the only way anything is written: one file per noun."""

from fastapi import APIRouter

from pullbook.api import (
    air_factors,
    audit,
    calibrations,
    cells,
    channel_maps,
    columns,
    comparisons,
    curves,
    customers,
    pulls,
    results_links,
    session,
    setups,
    shop,
    staff,
    ticket_limits,
    tickets,
    track_runs,
    vehicles,
    weather,
)

_NOUNS = (
    session,
    staff,
    shop,
    cells,
    calibrations,
    weather,
    air_factors,
    customers,
    vehicles,
    tickets,
    ticket_limits,
    setups,
    track_runs,
    pulls,
    columns,
    curves,
    channel_maps,
    comparisons,
    results_links,
    audit,
)
ROUTERS: list[APIRouter] = [noun.router for noun in _NOUNS]
