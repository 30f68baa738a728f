"""Heat soak is named where power falls steadily while the engine warms, and nowhere else."""

from dataclasses import replace
from datetime import timedelta
from itertools import permutations
from typing import Any

import pytest

from pullbook.shop.comparing import compared
from pullbook.shop.heat_soaking import chance_of, heat_soak, steadily_rising
from pullbook.shop.reading import ReadPull, ReadSettings, read_pulls
from tests.api.pull_files import Steady, filed

HEADINGS = ("Time [s]", "Roller speed [rad/s]", "Engine speed [rpm]", "Intake temperature [°C]", "Throttle [%]")
FALLING = (8.0, 7.9, 7.82, 7.7)
WARMING = (31.0, 36.0, 41.0, 47.0)


@pytest.fixture
def engine_name() -> str:
    """What is read does not depend on the database's engine."""
    return "sqlite"


@pytest.fixture
def read(app: Any, tuner: Any, house: Any) -> Any:
    """Files one pull after another in the baseline, of these gains and intake temperatures, and reads them."""

    def make(gains: tuple[float, ...], warmths: tuple[float, ...], headings: tuple[str, ...] = HEADINGS) -> Any:
        ids = []
        for number, (gain, warmth) in enumerate(zip(gains, warmths, strict=True)):
            taken = tuner.app.state.clock() - timedelta(minutes=20 - 2 * number)
            data = Steady(gain_rad_s2=gain, lambda_value=warmth, headings=headings).csv()
            ids.append(filed(tuner, house, data, taken_at=taken.isoformat())["id"])
        with app.state.database.reading() as session:
            return read_pulls(session, ids, ReadSettings())

    return make


def _flag(pulls: list[ReadPull]) -> Any:
    return heat_soak("the baseline", pulls, "iso_1585")


def test_falling_power_with_warming_air_is_suspected_with_its_numbers(read: Any) -> None:
    pulls = read(FALLING, WARMING)
    flag = _flag(list(reversed(pulls)))
    assert flag.code == "heat_soak"
    assert flag.text.startswith("Suspect heat soak before the parts")
    assert "4 pulls of the baseline" in flag.text
    assert "intake air warmed from 31 to 47 °C" in flag.text
    assert "fell by 3." in flag.text


def test_it_stands_first_in_a_comparison(read: Any) -> None:
    found = compared(read(FALLING, WARMING), ReadSettings())
    assert [flag.code for flag in found.flags][:1] == ["heat_soak"]
    assert "“Baseline”" in found.flags[0].text


@pytest.mark.parametrize(
    ("gains", "warmths"),
    [
        (FALLING[:3], WARMING[:3]),  # too few
        (tuple(reversed(FALLING)), WARMING),  # power rises
        ((8.0, 7.8, 7.9, 7.7), WARMING),  # no steady fall
        (FALLING, (31.0, 31.5, 32.0, 32.5)),  # hardly warmer
        (FALLING, (47.0, 41.0, 36.0, 31.0)),  # cooler
        ((8.0, 7.999, 7.998, 7.997), WARMING),  # hardly less power
    ],
)
def test_nothing_is_said_without_a_steady_fall_and_a_steady_rise(
    read: Any, gains: tuple[float, ...], warmths: tuple[float, ...]
) -> None:
    assert _flag(read(gains, warmths)) is None


def test_nothing_is_said_without_a_temperature(read: Any) -> None:
    assert _flag(read(FALLING, (0.9,) * 4, Steady().headings)) is None


def test_a_pull_that_was_set_aside_is_no_part_of_it(read: Any) -> None:
    pulls = read(FALLING, WARMING)
    pulls[1] = replace(pulls[1], facts=replace(pulls[1].facts, set_aside_at=pulls[1].facts.taken_at))
    assert _flag(pulls) is None


def test_the_chance_of_an_order_is_counted_over_all_orders() -> None:
    for most in range(4):
        orders = list(permutations(range(5)))
        as_steady = [
            order for order in orders if sum(order[i] > order[j] for i in range(5) for j in range(i + 1, 5)) <= most
        ]
        assert chance_of(most, 5) == pytest.approx(len(as_steady) / len(orders))


def test_five_values_may_hold_one_pair_the_wrong_way_round_and_four_none() -> None:
    assert steadily_rising([1.0, 2.0, 4.0, 3.0, 5.0])
    assert steadily_rising([1.0, 2.0, 3.0, 4.0])
    assert not steadily_rising([1.0, 3.0, 2.0, 4.0])
    assert not steadily_rising([1.0, 1.0, 2.0, 3.0])
