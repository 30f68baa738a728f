"""What a ticket comes to: whole cents, halves away from nought, tax once for each rate."""

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as some

from pullbook.shop.charging import divided, line_cents, reckon


def in_decimals(number, by):
    return int((Decimal(number) / Decimal(by)).quantize(Decimal(1), ROUND_HALF_UP))


@given(some.integers(-(10**15), 10**15), some.integers(1, 20_000))
def test_rounding_is_that_of_decimal_arithmetic(number, by):
    assert divided(number, by) == in_decimals(number, by)


@pytest.mark.parametrize(
    ("quantity_milli", "unit_price_cents", "cents"),
    [(1000, 12900, 12900), (1500, 9999, 14999), (333, 100, 33), (500, 1, 1), (1500, -1000, -1500), (250, -2, -1)],
)
def test_a_line_is_quantity_times_price_rounded_to_the_cent(quantity_milli, unit_price_cents, cents):
    assert line_cents(quantity_milli, unit_price_cents) == cents


def test_tax_is_added_where_prices_are_told_without_it():
    sums = reckon([(2000, 12000, 2000), (1000, 5050, 2000), (1000, 999, 1000)], [10000], prices_include_tax=False)
    assert [(line.tax_rate_bp, line.without_tax_cents, line.tax_cents) for line in sums.tax_lines] == [
        (1000, 999, 100),
        (2000, 29050, 5810),
    ]
    assert (sums.without_tax_cents, sums.total_cents, sums.due_cents) == (30049, 35959, 25959)
    assert sums.state == "part paid"


def test_tax_is_taken_out_where_prices_are_told_with_it():
    sums = reckon([(1000, 12000, 2000)], [12000], prices_include_tax=True)
    assert (sums.without_tax_cents, sums.tax_lines[0].tax_cents, sums.total_cents) == (10000, 2000, 12000)
    assert sums.state == "paid"


LINES = some.lists(
    some.tuples(some.integers(1, 10**6), some.integers(-(10**6), 10**6), some.sampled_from([0, 550, 1000, 2000])),
    max_size=12,
)


@given(LINES, some.booleans())
def test_what_is_told_adds_up_to_the_cent(lines, included):
    sums = reckon(lines, [], included)
    assert sums.total_cents == sums.without_tax_cents + sum(line.tax_cents for line in sums.tax_lines)
    told = sum(line_cents(quantity, price) for quantity, price, _ in lines)
    assert (sums.total_cents if included else sums.without_tax_cents) == told


@pytest.mark.parametrize(
    ("paid", "state"),
    [([], "not paid"), ([50], "part paid"), ([60, 40], "paid"), ([120], "overpaid"), ([0], "not paid")],
)
def test_the_state_says_it_in_a_word(paid, state):
    assert reckon([(1000, 100, 0)], paid, prices_include_tax=False).state == state


def test_nothing_charged_is_not_called_paid():
    assert reckon([], [], prices_include_tax=False).state == "nothing charged"
