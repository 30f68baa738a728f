"""Dataclasses whose methods wait do whatever the standard library's do, which each is held against."""

import copy
import dataclasses
import pickle
from concurrent.futures import ThreadPoolExecutor

import pytest

from pullbook.late_methods import dataclass as late


def _declared(with_):
    @with_(frozen=True)
    class Base:
        """With a field that is handed down."""

        name: str
        counts: list[int] = dataclasses.field(default_factory=list)

    @with_(frozen=True)
    class Below(Base):
        """With one more, and something to check."""

        share: float = 0.5

        def __post_init__(self):
            """Refuse what is no share."""
            if not 0 <= self.share <= 1:
                raise ValueError(f"{self.share} is no share")

    @with_(frozen=True, slots=True)
    class Slotted:
        """In slots."""

        left: int
        right: int = dataclasses.field(default=7, compare=False, kw_only=True)

    return Base, Below, Slotted


@dataclasses.dataclass
class Pair:
    """The same classes twice: with waiting methods, and plain."""

    late: list[type]
    plain: list[type]


@late(frozen=True, slots=True)
class Packed:
    """Where pickle finds it."""

    left: int
    right: str


@pytest.fixture
def kinds():
    """Declared anew, so that nothing is written yet."""
    return Pair(list(_declared(late)), list(_declared(dataclasses.dataclass)))


GIVEN = [
    (0, ("a",), {}),
    (0, (), {"name": "a", "counts": [1, 2]}),
    (1, ("a", [3], 0.25), {}),
    (1, ("a",), {"share": 1.0}),
    (2, (1,), {"right": 2}),
    (2, (1,), {}),
]
WRONG = [(0, (), {}), (0, ("a", [], 1), {}), (1, ("a",), {"share": 2.0}), (2, (1, 2), {}), (2, (1,), {"up": 1})]


@pytest.mark.parametrize(("which", "given", "named"), GIVEN)
def test_one_is_made_shown_compared_and_copied_alike(kinds, which, given, named):
    ours, plain = kinds.late[which], kinds.plain[which]
    made, theirs = ours(*given, **named), plain(*given, **named)
    assert repr(made) == repr(theirs)
    assert dataclasses.asdict(made) == dataclasses.asdict(theirs)
    assert made == ours(*given, **named)
    assert copy.copy(made) == copy.deepcopy(made) == made
    assert made != theirs
    first = dataclasses.fields(made)[0].name
    assert repr(dataclasses.replace(made, **{first: 9})) == repr(dataclasses.replace(theirs, **{first: 9}))
    assert [field.name for field in dataclasses.fields(ours)] == [field.name for field in dataclasses.fields(plain)]
    assert ours.__match_args__ == plain.__match_args__


@pytest.mark.parametrize(("which", "given", "named"), WRONG)
def test_what_does_not_fit_is_refused_alike(kinds, which, given, named):
    with pytest.raises((TypeError, ValueError)) as theirs:
        kinds.plain[which](*given, **named)
    with pytest.raises(type(theirs.value)) as ours:
        kinds.late[which](*given, **named)
    assert str(ours.value) == str(theirs.value)


def test_a_frozen_one_cannot_be_changed(kinds):
    for kind in kinds.late[1], kinds.late[2]:
        made = kind(1)
        for change in (lambda one: setattr(one, "left", 2), lambda one: delattr(one, "name")):
            with pytest.raises(dataclasses.FrozenInstanceError):
                change(made)


def test_equal_ones_hash_alike_and_one_in_slots_has_nothing_else(kinds):
    slotted = kinds.late[2]
    assert hash(slotted(1, right=2)) == hash(slotted(1, right=3))
    assert len({slotted(1), slotted(1), slotted(2)}) == 2
    assert not hasattr(slotted(1), "__dict__")
    with pytest.raises(TypeError, match="unhashable"):
        hash(kinds.late[0]("a"))  # its list is not


def test_one_in_slots_can_be_pickled():
    assert pickle.loads(pickle.dumps(Packed(1, "b"))) == Packed(1, "b")


def test_methods_are_written_when_the_first_is_made(kinds):
    waiting = kinds.late[2].__init__
    kinds.late[2](1)
    assert kinds.late[2].__init__ is not waiting
    assert kinds.late[2].__init__.__code__.co_varnames[:3] == ("self", "left", "right")


def test_one_that_goes_on_from_another_calls_its_method(kinds):
    class Further(kinds.late[0]):
        """Undecorated, with an __init__ of its own."""

        def __init__(self, name):
            """Double the name."""
            super().__init__(name * 2)

    assert [Further("a").name, Further("b").name] == ["aa", "bb"]


def test_what_has_a_method_of_its_own_keeps_it():
    @late(frozen=True)
    class Told:
        """Says itself in its own way."""

        left: int

        def __repr__(self):
            return f"<{self.left}>"

    assert repr(Told(1)) == "<1>"
    assert Told(1) == Told(1)


def test_several_threads_at_once_write_the_same(kinds):
    with ThreadPoolExecutor(8) as pool:
        made = list(pool.map(lambda number: kinds.late[2](number % 2), range(200)))
    assert len(set(made)) == 2
