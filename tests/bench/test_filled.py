"""The filled shop is one that the service can read: sizes as asked, references whole, every kind of row there."""

import pytest
from sqlalchemy import func, select

from pullbook.db.connect import connect
from pullbook.db.evidence import Pull, ResultsLink
from pullbook.db.money import Charge, Payment
from pullbook.db.tables import Counter, Customer, Setup, Ticket, TicketStep, Vehicle
from pullbook.shop.reading import ReadSettings, read_pulls
from tests.bench.filled import Sizes, fill


@pytest.fixture
def records(settings):
    database = connect(settings.database_url)
    yield database
    database.close()


def test_a_shop_is_filled_to_the_sizes_asked_for(records):
    fill(records, Sizes.of_pulls(300))
    with records.reading() as session:
        counts = {kind: session.scalar(select(func.count()).select_from(kind)) for kind in (Pull, Ticket, Vehicle)}
        assert counts == {Pull: 300, Ticket: 60, Vehicle: 30}
        for kind in (Customer, Setup, TicketStep, Charge, Payment, ResultsLink):
            assert session.scalar(select(func.count()).select_from(kind)) > 0, kind
        assert session.scalar(select(Counter.last).where(Counter.name == "ticket")) == 60


def test_a_pull_of_a_filled_shop_can_be_read(records):
    fill(records, Sizes.of_pulls(40))
    with records.reading() as session:
        pull_id = session.scalar(select(Pull.id).where(Pull.kind == "sweep").order_by(Pull.taken_at.desc()).limit(1))
        (read,) = read_pulls(session, [pull_id], ReadSettings())
    assert read.failure is None
    assert read.curve.headline.peak_power_w.value > 10_000


def test_the_same_sizes_and_seed_draw_the_same_shop(records):
    years = fill(records, Sizes.of_pulls(50, seed=4))
    with records.reading() as session:
        kept = session.execute(select(Vehicle.plate, Vehicle.vin).order_by(Vehicle.id)).all()
    assert [(car.plate, car.vin) for _, _, car in years.vehicles] == [tuple(row) for row in kept]
    assert len({vin for _, vin in kept}) == len(kept)
