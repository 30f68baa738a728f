"""Marks of pulls that are due: none is lost to somebody who reads figures while what they are made from is written."""

import pytest
from sqlalchemy import select, update

from pullbook.db.connect import connect
from pullbook.db.found import FoundDue
from pullbook.db.tables import Vehicle
from pullbook.shop.figuring import read_due
from tests.api.pull_files import Steady, filed


@pytest.fixture
def records(settings):
    database = connect(settings.database_url)
    yield database
    database.close()


@pytest.mark.parametrize("read_before", [False, True])
def test_a_pull_stays_due_when_its_car_changes_while_figures_are_read(tuner, house, records, read_before):
    pull = filed(tuner, house, Steady().csv())
    if read_before:
        with records.writing() as reading:
            assert read_due(reading) == 1
    with records.writing() as changing:
        heavier = update(Vehicle).where(Vehicle.id == house.vehicle_id).values(mass_kg=1900.0)
        changing.execute(heavier)
        if not records.is_sqlite:  # which has one writer at a time
            with records.writing() as reading:
                assert read_due(reading) == 0
    with records.reading() as session:
        assert session.scalars(select(FoundDue.pull_id)).all() == [pull["id"]]
