"""Reads the tables of published values, source and provenance beside each row."""

import csv
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class PublishedRow:
    """One row: its case, its inputs as text by column, what is expected, and how near is near enough."""

    case: str
    inputs: dict[str, str]
    expected: str
    tolerance: str
    source: str
    provenance: str

    def number(self, column: str) -> float:
        """An input as a number."""
        return float(self.inputs[column])

    def margin(self) -> float:
        """How far from the expected number is near enough."""
        kind, _, size = self.tolerance.partition(":")
        return float(size) * (abs(float(self.expected)) if kind == "rel" else 1.0)

    def last_digit(self) -> float:
        """One unit of the last digit of a number printed to six digits or more: it was itself rounded to it."""
        printed = Decimal(self.expected).as_tuple()
        return float(10.0 ** int(printed.exponent)) if len(printed.digits) >= 6 else 0.0

    def assert_near(self, value: float, extra: float = 0.0) -> None:
        """Fail with the source's words where a value is further from the expected one than the margin (plus extra)."""
        off = abs(value - float(self.expected))
        assert off <= self.margin() + self.last_digit() / 2.0 + extra, (
            f"{self.case}: {value!r}, {self.source} has {self.expected} {self.tolerance}"
        )


@cache
def published(name: str) -> tuple[PublishedRow, ...]:
    """Every row of one table."""
    fixed = ("case", "expected", "tolerance", "source", "provenance")
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(
            PublishedRow(
                row["case"],
                {column: value for column, value in row.items() if column not in fixed},
                *(row[column] for column in fixed[1:]),
            )
            for row in csv.DictReader(lines)
        )


def case(row: PublishedRow) -> str:
    """The name of a row, for pytest."""
    return row.case
