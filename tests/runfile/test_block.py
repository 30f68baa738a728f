"""A column block gives back the very bits, and notices damage."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from pullbook.runfile.block import pack, unpack

tables = arrays(np.float64, array_shapes(min_dims=2, max_dims=2, min_side=0, max_side=8), elements=st.floats(width=64))


@settings(max_examples=200, deadline=None)
@given(tables)
def test_it_gives_back_the_very_bits(values: np.ndarray) -> None:
    back = unpack(pack(values))
    assert back.shape == values.shape
    assert back.tobytes() == values.tobytes()


@given(tables.filter(lambda values: values.shape[0] > 0), st.data())
def test_it_reads_any_columns_in_any_order(values: np.ndarray, data: st.DataObject) -> None:
    wanted = data.draw(st.lists(st.integers(0, values.shape[0] - 1), max_size=6))
    assert unpack(pack(values), wanted).tobytes() == values[wanted].tobytes()


def test_it_packs_the_same_bytes_each_time_and_from_any_memory_order() -> None:
    values = np.arange(60.0).reshape(6, 10)
    assert pack(values) == pack(values.copy()) == pack(np.asfortranarray(values))


def test_it_is_smaller_than_the_numbers_it_holds() -> None:
    values = np.round(np.cumsum(np.random.default_rng(3).normal(size=(12, 3000)), axis=1), 2)
    assert len(pack(values)) < 0.75 * values.nbytes


def test_it_says_no_to_a_column_that_is_not_there() -> None:
    with pytest.raises(ValueError, match="2 columns, none numbered 2"):
        unpack(pack(np.zeros((2, 3))), [2])


def test_it_says_no_to_what_is_no_block() -> None:
    for data in (b"", b"PBCB", b"Time,Speed\n1,2\n", b"PBCB\x01" + b"\xff" * 40):
        with pytest.raises(ValueError, match="block"):
            unpack(data)


@pytest.mark.parametrize("flipped", [0x01, 0x04, 0x10, 0x80])
def test_it_never_gives_other_numbers_from_a_damaged_block(flipped: int) -> None:
    values = np.random.default_rng(4).normal(size=(2, 40))
    block = pack(values)
    noticed = 0
    for place in range(len(block)):
        damaged = block[:place] + bytes([block[place] ^ flipped]) + block[place + 1 :]
        try:
            back = unpack(damaged)
        except ValueError:
            noticed += 1
        else:  # a spare bit of a frame's own heading
            assert back.tobytes() == values.tobytes()
    assert noticed >= len(block) - 4


def test_it_notices_a_block_that_breaks_off() -> None:
    block = pack(np.random.default_rng(4).normal(size=(2, 40)))
    for length in range(len(block)):
        with pytest.raises(ValueError, match="block"):
            unpack(block[:length])
