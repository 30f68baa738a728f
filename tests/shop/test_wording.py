"""What typed words ask for: as they stand, closed up, and nothing looked up twice."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pullbook.shop.wording import Told, clean, line_of, wanted

LONG = st.text("abc12", min_size=3, max_size=6)
ANY = st.text("ab1", min_size=1, max_size=5)


def test_long_words_are_looked_up_one_way_only():
    assert len(wanted("casimir supercharger").ways) == 1


@pytest.mark.parametrize("typed", ["AA 013 J", "ka 77", "qx-418 t"])
def test_short_pieces_are_looked_up_closed_up_too(typed):
    assert len(wanted(typed).ways) > 1
    assert wanted(typed).is_met_by("".join(filter(str.isalnum, typed.lower())))


@given(st.lists(LONG, min_size=1, max_size=4), st.text("abc12 ", max_size=4))
def test_words_closed_up_are_found_by_the_words(words, more):
    assert wanted(" ".join(words)).is_met_by(more + "".join(words) + more)


@given(st.lists(ANY, min_size=1, max_size=4))
def test_what_was_typed_is_found_where_it_stands_closed_up_as_a_plate(pieces):
    told = Told(number=1, names=[], plates=["".join(pieces)], codes=[], words=[], notes=[])
    assert wanted(" ".join(pieces)).is_met_by(line_of(told))


@given(st.text(max_size=40))
@example("0\r\x1b\r0")  # a letter that cannot be seen, alone between two line ends
def test_cleaning_what_is_clean_changes_nothing(text):
    assert clean(clean(text)) == clean(text)
    assert clean(text).isprintable()
