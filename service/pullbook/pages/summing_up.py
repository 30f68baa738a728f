"""A comparison in headline figures and in a table: what stands above and beneath its chart."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import orjson

from pullbook.pages.cell_shown import DataColumn, SetupSummary
from pullbook.panels import Panel
from pullbook.shop.comparing import Comparison, SetupRead
from pullbook.shop.facts import Floats
from pullbook.shop.heading import peak_of, setup_peaks
from pullbook.shown_units import plain_number


def summaries(comparison: Comparison) -> tuple[SetupSummary, ...]:
    """Each setup's figures, in the comparison's order."""
    return tuple(_summary(setup, comparison.engine_speed_rpm) for setup in comparison.setups)


def _summary(setup: SetupRead, grid: Floats) -> SetupSummary:
    heads = [pull.curve.headline for pull in setup.counting if pull.curve is not None]
    factors = [pull.curve.factor for pull in setup.counting if pull.curve is not None and pull.curve.factor is not None]
    powers = [head.peak_power_w.value for head in heads]
    torques = [head.peak_torque_nm.value for head in heads]
    peaks = setup_peaks(setup, grid)
    observed, observed_rpm = _observed(setup, peaks.power_rpm, grid)
    return SetupSummary(
        setup_id=setup.setup_id,
        name=setup.called,
        changed=setup.changed,
        position=setup.place,
        made=len(setup.pulls),
        counted=setup.counted,
        set_aside=sum(pull.facts.set_aside_at is not None for pull in setup.pulls),
        peak_power_w=peaks.power_w,
        peak_power_rpm=peaks.power_rpm,
        low_power_w=min(powers, default=None),
        high_power_w=max(powers, default=None),
        power_u_w=max((head.peak_power_w.expanded_uncertainty for head in heads), default=None),
        observed_power_w=observed,
        observed_power_rpm=observed_rpm,
        peak_torque_nm=peaks.torque_nm,
        peak_torque_rpm=peaks.torque_rpm,
        low_torque_nm=min(torques, default=None),
        high_torque_nm=max(torques, default=None),
        torque_u_nm=max((head.peak_torque_nm.expanded_uncertainty for head in heads), default=None),
        factor_low=min(factors, default=None),
        factor_high=max(factors, default=None),
        cell_names=tuple(dict.fromkeys(pull.facts.cell_name for pull in setup.pulls)),
    )


def _observed(setup: SetupRead, power_rpm: float | None, grid: Floats) -> tuple[float | None, float | None]:
    """Peak power before the factor and its engine speed, where a factor of its pulls counts the air twice."""
    peaks = [pull.observed_peak_w for pull in setup.counting if pull.observed_peak_w is not None]
    if not peaks or setup.mean is None:
        return None, None
    if setup.counted == 1:  # the factor is the same at every speed, so the peak stays where it is
        return peaks[0], power_rpm
    return peak_of(setup.mean.observed_power_w, grid)


def table_of(panels: Sequence[Panel], grid: Floats) -> tuple[tuple[str, ...], tuple[DataColumn, ...]]:
    """The numbers behind the bold and commanded lines, as printed: engine speeds, and a column for each line."""
    columns = []
    for panel in panels:
        for line in panel.lines:
            if line.kind == "single":
                continue
            values = tuple(plain_number(v, panel.decimals) if np.isfinite(v) else "" for v in map(float, line.values))
            columns.append(DataColumn(f"{panel.title.split(',')[0]}, {panel.unit}: {line.label}", values))
    return tuple(plain_number(float(speed)) for speed in grid), tuple(columns)


def safe_json(value: Any) -> str:
    """JSON that may stand inside a `<script type="application/json">`: nothing in it can end the element."""
    text = orjson.dumps(value).decode()
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
