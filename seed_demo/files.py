"""A pull taken → the very bytes that its logger or spreadsheet leaves behind."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from seed_demo.dialects import DIALECTS, Column, Dialect
from seed_demo.holding_run import HeldRun
from seed_demo.instruments import Instruments, record
from seed_demo.people import TIME_ZONE
from seed_demo.plans import PullTaken
from seed_demo.rolling_road import Run
from seed_demo.shapes import Floats

STEP_S = 4e-3


def drive(taken: PullTaken) -> Run | HeldRun:
    """The pull as it truly went."""
    if taken.hold is not None:
        return HeldRun(taken.car, taken.roller, taken.hold, taken.air.day)
    return Run(taken.car, taken.roller, taken.pull, taken.air.day, STEP_S)


def file_of(taken: PullTaken, logger: Instruments, brake_arm_m: float | None, pulses_per_turn: int) -> bytes:
    """The file that the cell's logger writes in this pull's dialect."""
    dialect = DIALECTS[taken.dialect]
    if taken.dialect == "counter":
        logger = replace(logger, rate_hz=100.0, pulses_per_turn=pulses_per_turn)
    seen = record(drive(taken), logger, taken.seed)
    if brake_arm_m is not None:
        seen["brake_force_n"] = seen["brake_torque_nm"] / brake_arm_m
    return written(dialect, _columns_for(dialect, taken), seen, taken.taken_at.astimezone(ZoneInfo(TIME_ZONE)))


def _columns_for(dialect: Dialect, taken: PullTaken) -> tuple[Column, ...]:
    """Nobody logs a mixture probe on a diesel here."""
    if taken.car.engine.mixture_loss == 0.0:
        return tuple(column for column in dialect.columns if not column.channel.startswith("lambda_"))
    return dialect.columns


def written(dialect: Dialect, columns: tuple[Column, ...], seen: Mapping[str, Floats], started: datetime) -> bytes:
    """Comments, heading, perhaps a row of units, then the numbers; every line ends as the dialect ends them."""
    lines = [comment.format(date=f"{started:%Y-%m-%d}") for comment in dialect.comments]
    lines.append(dialect.separator.join(_heading(dialect, column) for column in columns))
    if dialect.units_stand == "row":
        lines.append(dialect.separator.join(column.unit for column in columns))
    lines.extend(_rows(dialect, columns, seen, started))
    return (dialect.newline.join(lines) + dialect.newline).encode(dialect.encoding)


def _heading(dialect: Dialect, column: Column) -> str:
    text = column.heading
    if column.unit and dialect.units_stand not in ("row", "no"):
        text = f"{text} {dialect.units_stand.format(column.unit)}"
    return f'"{text}"' if dialect.quoted else text


def _rows(dialect: Dialect, columns: tuple[Column, ...], seen: Mapping[str, Floats], started: datetime) -> list[str]:
    numbers = [seen[column.channel] * column.factor + column.offset for column in columns]
    formats = [f"%.{column.decimals}f" for column in columns]
    if dialect.clock:
        formats[0] = "%s"
        return [
            dialect.separator.join(formats) % (_clock(started, row[0]), *row[1:])
            for row in zip(*(values.tolist() for values in numbers), strict=True)
        ]
    table = np.column_stack(numbers) + 0.0  # no minus zero in a spreadsheet
    line = dialect.separator.join(formats)
    text = "\n".join([line] * len(table)) % tuple(table.ravel().tolist())
    return (text.replace(".", dialect.decimal) if dialect.decimal != "." else text).split("\n")


def _clock(started: datetime, second: float) -> str:
    whole = round((started.hour * 3600 + started.minute * 60 + started.second + second) * 1000) % 86_400_000
    return f"{whole // 3_600_000:02d}:{whole // 60_000 % 60:02d}:{whole // 1000 % 60:02d}.{whole % 1000:03d}"
