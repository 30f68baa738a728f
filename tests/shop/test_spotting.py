"""Whatever is typed at the desk finds the same rows as reading every text would; the indexes only spare the reading."""

import random
from collections import Counter

import pytest
from sqlalchemy import select

from pullbook.db.connect import connect
from pullbook.db.tables import Customer, Ticket, Vehicle
from pullbook.shop.searching import plain, spellings
from pullbook.shop.spotting import _tickets_meant, customers_with, tickets_with, vehicles_with
from tests.bench.filled import Sizes, fill

JOINED = (
    select(Ticket.id, Ticket.number, Customer.found_by.label("customer"), Vehicle.found_by.label("vehicle"))
    .join(Customer, Customer.id == Ticket.customer_id)
    .join(Vehicle, Vehicle.id == Ticket.vehicle_id)
)


@pytest.fixture
def session(settings):
    database = connect(settings.database_url)
    fill(database, Sizes.of_pulls(600), texts=False)
    with database.reading() as opened:
        yield opened
    database.close()


def _typed(session, chance):
    """What people type: pieces of a customer's text, of a car's, of both and a number, long and short."""
    row = chance.choice(session.execute(JOINED).all())
    pieces = []
    for _ in range(chance.randint(1, 4)):
        word = chance.choice(f"{row.customer} {row.vehicle}".split())
        start = chance.randrange(max(1, len(word) - 1))
        pieces.append(word[start : start + chance.randint(1, 9)])
    return " ".join([*pieces, *([f"#{row.number}"] if chance.random() < 0.1 else [])])


def _every_word(typed, *texts, number=None):
    return all(
        any(way in text for way in spellings(word) for text in texts) or word.lstrip("#") == str(number)
        for word in plain(typed).split()
    )


def test_tickets_found_are_those_whose_customer_car_or_number_holds_every_word(session):
    chance, rows = random.Random(3), session.execute(JOINED).all()
    found_some = 0
    for _ in range(150):
        typed = _typed(session, chance)
        found = {row.id for row in session.execute(tickets_with(session, JOINED, typed))}
        right = {row.id for row in rows if _every_word(typed, row.customer, row.vehicle, number=row.number)}
        assert found == right, typed
        found_some += bool(found)
    assert found_some > 100


@pytest.mark.parametrize(("kind", "whose"), [(Customer, customers_with), (Vehicle, vehicles_with)])
def test_customers_and_cars_found_are_those_that_hold_every_word(session, kind, whose):
    chance, rows = random.Random(5), session.execute(select(kind.id, kind.found_by)).all()
    for _ in range(80):
        typed = _typed(session, chance)
        found = set(session.scalars(whose(session, select(kind.id), typed)))
        assert found == {row.id for row in rows if _every_word(typed, row.found_by)}, typed


def test_a_word_in_both_customer_and_car_hides_no_other_ticket(session, settings):
    words = Counter(word for row in session.execute(JOINED) for word in row.vehicle.split() if len(word) > 4)
    word = words.most_common(1)[0][0]
    database = connect(settings.database_url)
    with database.writing() as writing:
        for customer in writing.scalars(select(Customer).join(Ticket, Ticket.customer_id == Customer.id).distinct()):
            customer.found_by = f"{word} {customer.found_by}"
    database.close()
    session.rollback()
    rows = session.execute(JOINED).all()
    right = {row.id for row in rows if _every_word(word, row.customer, row.vehicle, number=row.number)}
    both = sum(word in row.customer and word in row.vehicle for row in rows)
    few = len(right) + both // 2  # below it all of them, above it twice those that are met in two ways
    assert both > 2
    assert set(_tickets_meant(session, [word], few)) == {Ticket.id.type.process_bind_param(one, None) for one in right}
