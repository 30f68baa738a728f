"""The check digit of a vehicle identification number, against published and independently computed values."""

import csv
from pathlib import Path

import pytest

from pullbook.shop.vin import check_digit, tidy, vin_warning, weighted_sum

with (Path(__file__).parents[1] / "published" / "vin.csv").open(encoding="utf-8") as _table:
    ROWS = list(csv.DictReader(_table))


def _rows(quantity: str) -> list:
    found = [row for row in ROWS if row["quantity"] == quantity]
    assert found, f"no published row for {quantity}"
    return [pytest.param(row["vin"], row["expected"], id=row["case"]) for row in found]


@pytest.mark.parametrize(("vin", "expected"), _rows("check_digit"))
def test_it_computes_the_published_check_digit(vin, expected):
    assert check_digit(vin) == expected
    assert vin_warning(vin) is None


@pytest.mark.parametrize(("vin", "expected"), _rows("weighted_sum"))
def test_it_computes_the_published_weighted_sum(vin, expected):
    assert weighted_sum(vin) == int(expected)


@pytest.mark.parametrize(("vin", "expected"), _rows("check_digit_valid"))
def test_it_notices_one_changed_character(vin, expected):
    assert expected == "no"
    assert f"is {vin[8]}, the others call for {check_digit(vin)}" in vin_warning(vin)


@pytest.mark.parametrize(("vin", "expected"), _rows("format_valid"))
def test_it_notices_a_wrong_length(vin, expected):
    assert expected == "no"
    assert f"{len(vin)} characters" in vin_warning(vin)


@pytest.mark.parametrize("letter", ["I", "O", "Q", "Ä", "*"])
def test_it_names_a_character_no_vin_holds(letter):
    assert letter in vin_warning("1M8GDM9AXKP04278" + letter)


def test_it_reads_a_vin_however_it_is_spaced():
    assert tidy("1m8 gdm9a-xkp0 42788") == "1M8GDM9AXKP042788"
    assert vin_warning("1m8 gdm9a-xkp0 42788") is None


def test_no_vin_is_no_warning():
    assert vin_warning("") is None
