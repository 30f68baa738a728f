"""Opaque ids: none is given twice, newer ones sort after older ones, and their letters and numbers are each other's."""

import re
import subprocess
import sys
import threading
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from pullbook.db.stored_types import ID_PATTERN, _Given, id_number, id_text, new_id

MANY = 50_000  # of 22 random bits within a millisecond some of these would be alike, nearly every time


def test_a_loop_of_tens_of_thousands_gives_no_id_twice_and_each_sorts_after_the_last():
    ids = [new_id() for _ in range(MANY)]
    assert len(set(ids)) == MANY
    assert ids == sorted(ids)
    assert all(re.fullmatch(ID_PATTERN, one) for one in ids[:100])


def test_threads_that_make_ids_at_once_share_none():
    made = [[] for _ in range(4)]
    threads = [threading.Thread(target=lambda row=row: row.extend(new_id() for _ in range(MANY // 4))) for row in made]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({one for row in made for one in row}) == MANY // 4 * 4


@given(st.lists(st.integers(-2, 3), max_size=300), st.integers(0, (1 << 22) - 1))
def test_no_number_is_given_twice_whatever_the_clock_does(steps, drawn):
    """A clock that stands still, goes on, or is put back a little, wherever in its room the draw lies."""
    numbers, moment = _Given(), 1_750_000_000_000
    numbers.last = moment << 22 | drawn
    seen = [numbers.last]
    for step in steps:
        moment += max(0, step) if step > -2 else -1
        seen.append(numbers.next(moment))
    assert all(one < later for one, later in pairwise(seen))


@given(st.integers(0, (1 << 63) - 1))
def test_thirteen_letters_are_the_number_they_stand_for(number):
    assert id_number(id_text(number)) == number


@given(st.integers(0, (1 << 63) - 1), st.integers(0, (1 << 63) - 1))
def test_letters_sort_as_their_numbers_do(one, other):
    assert (id_text(one) < id_text(other)) == (one < other)


def test_a_copy_of_the_process_does_not_count_on_from_where_it_was():
    script = """
import os
from pullbook.db import stored_types
stored_types._given.last = 1 << 62  # as if the clock had been far ahead
there, back = os.pipe()
if os.fork() == 0:
    os.write(back, str(stored_types._given.last).encode())
    os._exit(0)
print(os.read(there, 100).decode(), stored_types._given.last)
"""
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    assert told.stdout.split() == ["0", str(1 << 62)]
