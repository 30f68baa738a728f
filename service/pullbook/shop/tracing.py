"""Tracing a curve back: what it was made from, in words and as one digest that changes whenever an input does."""

import hashlib
from dataclasses import asdict
from typing import Any

import orjson

from pullbook.measure import METHOD_VERSION
from pullbook.measure.curve import Curve
from pullbook.shop.loading import Loaded

_SHOWN_ONLY = frozenset({"id", "valid_from", "read_at", "source", "doubt", "age_minutes", "altimeter_setting_kpa"})


def digest_of(value: Any) -> str:
    """SHA-256 of a plain value, its keys sorted: the same value, the same digest, on any machine."""
    return hashlib.sha256(orjson.dumps(value, option=orjson.OPT_SORT_KEYS)).hexdigest()


def inputs_of(loaded: Loaded, standard: str, window_s: float | None, step_rpm: float) -> dict[str, Any]:
    """Everything that decides the numbers of a curve, part by part."""
    vehicle, setup = loaded.ticket.vehicle, loaded.setup
    return {
        "raw": [loaded.facts.sha256, loaded.columns.reader if loaded.columns else None],
        "state": [loaded.facts.state, loaded.facts.kind],
        "channel_map": None if loaded.channel_map is None else [dict(column) for column in loaded.channel_map.columns],
        "calibration": _values(loaded.calibration),
        "weather": _values(loaded.weather),
        "engine": [
            vehicle.ignition,
            vehicle.aspiration,
            vehicle.fuel_per_litre_cycle_mg,
            vehicle.holds_own_boost,
            setup.engine_turns_per_roller_turn or vehicle.engine_turns_per_roller_turn,
        ],
        "settings": [standard, window_s, step_rpm],
        "method": METHOD_VERSION,
    }


def _values(facts: Any) -> dict[str, Any] | None:
    if facts is None:
        return None
    return {name: value for name, value in asdict(facts).items() if name not in _SHOWN_ONLY}


def provenance_of(loaded: Loaded, curve: Curve | None, standard: str, step_rpm: float, digest: str) -> dict[str, Any]:
    """What a curve was made from, for a person to check: every part by name, id and date."""
    facts, calibration, weather, channel_map = loaded.facts, loaded.calibration, loaded.weather, loaded.channel_map
    return {
        "sha256": facts.sha256,
        "file_name": facts.file_name,
        "size_bytes": facts.size_bytes,
        "reader": loaded.columns.reader if loaded.columns else None,
        "channel_map": channel_map
        and {"id": channel_map.id, "name": channel_map.name, "recognised": channel_map.recognised},
        "calibration": calibration and {"id": calibration.id, "valid_from": calibration.valid_from},
        "weather": weather
        and {
            "id": weather.id,
            "read_at": weather.read_at,
            "age_minutes": round(weather.age_minutes, 1),
            "source": weather.source,
            "doubt": weather.doubt,
        },
        "cell": {"id": loaded.cell.id, "name": loaded.cell.name, "altitude_m": loaded.cell.altitude_m},
        "standard": curve.standard if curve else standard,
        "factor": curve.factor if curve else None,
        "window_s": curve.window_s if curve else None,
        "window_chosen": curve.window_chosen if curve else None,
        "step_rpm": step_rpm,
        "method_version": METHOD_VERSION,
        "inputs_digest": digest,
    }
