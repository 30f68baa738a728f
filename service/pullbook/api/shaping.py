"""What every request and answer has in common: strict fields, text without control characters."""

import unicodedata
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from typing import Annotated, Any, get_args

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, StringConstraints, model_validator

UNSET: Any = None  # a PATCH field that was not sent; an explicit null is validated and refused where none is allowed


class Asked(BaseModel):
    """A request body: no unknown field, no NaN, no blank ends."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True, allow_inf_nan=False, defer_build=True)

    @model_validator(mode="before")
    @classmethod
    def _truth_is_no_number(cls, asked: Any) -> Any:
        """JSON's true is no 1: taken for one, it would be a temperature that nobody read. As a word it is refused."""
        if not isinstance(asked, dict) or not any(isinstance(value, bool | list) for value in asked.values()):
            return asked
        return {**asked, **{name: _in_words(asked[name]) for name in _numbers_of(cls) & asked.keys()}}


def _in_words(value: Any) -> Any:
    if isinstance(value, list):
        return [_in_words(one) for one in value]
    return str(value).lower() if isinstance(value, bool) else value


@cache
def _numbers_of(shape: type[BaseModel]) -> frozenset[str]:
    """The fields of a body that are numbers and may not be true or false."""
    kinds = {name: set(_kinds(field.annotation)) for name, field in shape.model_fields.items()}
    return frozenset(name for name, found in kinds.items() if found & {int, float} and bool not in found)


def _kinds(annotation: Any) -> Iterator[Any]:
    yield annotation
    for part in get_args(annotation):
        yield from _kinds(part)


class Answer(BaseModel):
    """An answer's shape, for the description; the tests hold every answer against it."""

    model_config = ConfigDict(extra="forbid", defer_build=True)


# embeddings, overrides and isolates: what stands after one is shown in another order than it is kept in
_TURNS_WRITING = frozenset(map(chr, (*range(0x202A, 0x202F), *range(0x2066, 0x206A))))


def _refuse_unseen(text: str, allowed: str, would_do: str) -> str:
    for letter in text:
        if letter in _TURNS_WRITING:
            raise ValueError(f"holds a sign that turns the direction of writing (U+{ord(letter):04X}); leave it out")
        if unicodedata.category(letter) in ("Cc", "Cs") and letter not in allowed:
            raise ValueError(f"holds a control character; {would_do}")
    return text


def one_line(text: str) -> str:
    """The text; ValueError when it is more than one line of plain text."""
    return _refuse_unseen(text, "", "write it as one line of plain text")


def _lines(text: str) -> str:
    return _refuse_unseen(text, "\n\r\t", "plain text with line breaks would do")


Id = Annotated[str, StringConstraints(min_length=1, max_length=40)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=120), AfterValidator(one_line)]
Line = Annotated[str, StringConstraints(max_length=200), AfterValidator(one_line)]
Words = Annotated[str, StringConstraints(max_length=8000), AfterValidator(_lines)]
Word = Annotated[str, StringConstraints(max_length=200), AfterValidator(one_line)]  # asked for in a query


def _within_reach(at: datetime) -> datetime:
    if not 1900 <= at.year <= 2200:
        raise ValueError(f"the year {at.year} is out of reach; 1900 to 2200 would do")
    return at


Instant = Annotated[AwareDatetime, AfterValidator(_within_reach)]


def changes_of(asked: BaseModel) -> dict[str, Any]:
    """The fields that a PATCH really sent, without `version`."""
    return asked.model_dump(exclude_unset=True, exclude={"version"})


def one_of(asked: BaseModel, *fields: str) -> str:
    """The one of these fields that was given; ValueError when it is none or several."""
    given = [field for field in fields if getattr(asked, field) is not None]
    if len(given) != 1:
        came = " and ".join(given) if given else "none"
        raise ValueError(f"one of {', '.join(fields)} is needed and only one; {came} came")
    return given[0]
