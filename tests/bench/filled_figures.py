"""Figures that pulls are found by, drawn instead of read: a million curves would take an hour."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any, Protocol

from pullbook.db.found import FoundFlag, FoundPull
from pullbook.measure import METHOD_VERSION
from tests.bench.pouring import Pouring

FLAGS = (("wheel_slip", 0.03), ("weather_stale", 0.2), ("lean_under_load", 0.004), ("limit_passed", 0.0005))
NAMES = ("power_w", "torque_nm", "air_density_kg_m3", "flag_count", "standard", "method_version")


class HasPulls(Protocol):
    """Years as they were drawn."""

    chance: Any
    pulls: list[tuple[str, datetime, str, float]]


def drawn_figures(into: Pouring, years: HasPulls) -> None:
    """Every sweep's power near its car's usual one, and some flags; then nothing is due, and no text is late."""
    flags: list[tuple[str, datetime, str]] = []

    def rows() -> Iterator[tuple[Any, ...]]:
        draw = years.chance.random
        for pull_id, at, kind, usual_w in years.pulls:
            carried = [code for code, share in FLAGS if draw() < share]
            flags.extend((code, at, pull_id) for code in carried)
            power_w = usual_w * (0.85 + 0.3 * draw()) if kind == "sweep" else None
            torque_nm = None if power_w is None else power_w / (480.0 + 80.0 * draw())
            yield pull_id, power_w, torque_nm, 1.1 + 0.15 * draw(), len(carried), "iso_1585", METHOD_VERSION

    run = into.connection.exec_driver_sql
    number, real = ("INTEGER", "REAL") if into.is_sqlite else ("BIGINT", "DOUBLE PRECISION")
    columns = f"power_w {real}, torque_nm {real}, air_density_kg_m3 {real}, flag_count {number}"
    run(f"CREATE TEMPORARY TABLE drawn (pull_id {number} PRIMARY KEY, {columns}, standard TEXT, method_version TEXT)")
    into.rows_of(FoundPull.__table__, ["pull_id", *NAMES], rows(), named="drawn")
    if not into.is_sqlite:
        run("ANALYZE drawn")
    told = ", ".join(f"{name} = drawn.{name}" for name in NAMES)
    run(f"UPDATE found_pull SET {told} FROM drawn WHERE drawn.pull_id = found_pull.pull_id")
    run("DROP TABLE drawn")
    into.rows(FoundFlag, ["code", "taken_at", "pull_id"], flags)
    run("DELETE FROM found_due")
    run("DELETE FROM found_late")
