"""Every answer has the very shape that the description tells: nothing missing, nothing besides."""

from typing import Any

import pytest

from pullbook.api import (
    air_factors,
    audit,
    calibrations,
    cells,
    channel_maps,
    columns,
    curve_shapes,
    customers,
    pull_shapes,
    results_links,
    setups,
    ticket_shapes,
    vehicles,
    weather,
)
from tests.api.pull_files import Steady, filed

LISTS = {
    "/api/v1/customers": customers.CustomerList,
    "/api/v1/vehicles": vehicles.VehicleList,
    "/api/v1/tickets": ticket_shapes.TicketList,
    "/api/v1/tickets/{ticket_id}/setups": setups.SetupList,
    "/api/v1/tickets/{ticket_id}/pulls": pull_shapes.PullList,
    "/api/v1/tickets/{ticket_id}/results-links": results_links.LinkList,
    "/api/v1/results-links": results_links.LinkList,
    "/api/v1/cells": cells.CellList,
    "/api/v1/cells/{cell_id}/calibrations": calibrations.CalibrationList,
    "/api/v1/weather": weather.ReadingList,
    "/api/v1/channel-maps?recognised=true": channel_maps.MapList,
    "/api/v1/channel-maps/quantities": channel_maps.QuantityList,
    "/api/v1/audit": audit.EntryList,
}
SINGLES = {
    "/api/v1/customers/{customer_id}": customers.CustomerAnswer,
    "/api/v1/vehicles/{vehicle_id}": vehicles.VehicleAnswer,
    "/api/v1/tickets/{ticket_id}": ticket_shapes.WholeTicket,
    "/api/v1/setups/{setup_id}": setups.SetupAnswer,
    "/api/v1/cells/{cell_id}": cells.CellAnswer,
    "/api/v1/weather/{weather_id}": weather.ReadingAnswer,
    "/api/v1/pulls/{pull_id}": pull_shapes.PullAnswer,
    "/api/v1/pulls/{pull_id}/columns": columns.ColumnsAnswer,
    "/api/v1/pulls/{pull_id}/curve": curve_shapes.CurveAnswer,
    "/api/v1/comparisons?pull_id={pull_id}": curve_shapes.ComparisonAnswer,
    "/api/v1/air?air_temperature_c=20&station_pressure_kpa=99&dew_point_c=9": air_factors.AirAnswer,
}


@pytest.fixture
def full(owner: Any, house: Any) -> dict[str, Any]:
    """Ids of one record of each kind."""
    pull = filed(owner, house, Steady().csv())
    link = {"pull_ids": [pull["id"]], "standard": "iso_1585"}
    made = owner.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=link)
    results_links.NewLinkAnswer.model_validate_json(made.content)
    return {**vars(house), "setup_id": house.setup_id, "pull_id": pull["id"]}


def test_every_list_and_every_record_has_its_shape(owner: Any, full: dict[str, Any]) -> None:
    for address, shape in {**LISTS, **SINGLES}.items():
        answer = owner.get(address.format(**full))
        assert answer.status_code == 200, address
        told = shape.model_validate_json(answer.content)
        if address in LISTS:
            assert told.items, address  # an empty list would show nothing


def test_the_examples_have_the_shapes_they_illustrate() -> None:
    air_factors.AirAnswer.model_validate(air_factors.EXAMPLE)
    curve_shapes.CurveAnswer.model_validate(curve_shapes.EXAMPLE)
