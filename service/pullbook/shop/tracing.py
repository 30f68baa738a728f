"""Tracing a curve back: what it was made from, in words and as one digest that changes whenever an input does."""

import hashlib
from collections.abc import Sequence
from dataclasses import fields
from operator import attrgetter
from typing import Any

import orjson

from pullbook.measure import METHOD_VERSION
from pullbook.measure.curve import Curve
from pullbook.shop.facts import CalibrationFacts
from pullbook.shop.joining import JoinedRead, joined_inputs
from pullbook.shop.loading import Loaded

# which parts of a calibration and a reading decide numbers; the rest is for showing
_CALIBRATION = tuple(field.name for field in fields(CalibrationFacts) if field.name not in ("id", "valid_from"))
_WEATHER = ("air_temperature_c", "station_pressure_kpa", "humidity_kind", "humidity_value")
_OF_CALIBRATION, _OF_WEATHER = attrgetter(*_CALIBRATION), attrgetter(*_WEATHER)


def digest_of(value: Any) -> str:
    """SHA-256 of a plain value or record, its keys sorted: the same value, the same digest, on any machine."""
    return hashlib.sha256(orjson.dumps(value, option=orjson.OPT_SORT_KEYS)).hexdigest()


def inputs_of(loaded: Loaded, standard: str, window_s: float | None, step_rpm: float) -> dict[str, Any]:
    """Everything that decides the numbers of a curve, part by part."""
    vehicle, setup = loaded.ticket.vehicle, loaded.setup
    return {
        "raw": [loaded.facts.sha256, loaded.columns.reader if loaded.columns else None],
        "state": [loaded.facts.state, loaded.facts.kind],
        "channel_map": None if loaded.channel_map is None else loaded.channel_map.columns,
        "calibration": None if loaded.calibration is None else _OF_CALIBRATION(loaded.calibration),
        "weather": None if loaded.weather is None else _OF_WEATHER(loaded.weather),
        "engine": [
            vehicle.ignition,
            vehicle.aspiration,
            vehicle.fuel_per_litre_cycle_mg,
            vehicle.holds_own_boost,
            setup.engine_turns_per_roller_turn or vehicle.engine_turns_per_roller_turn,
        ],
        "settings": [standard, window_s, step_rpm],
        "method": METHOD_VERSION,
        **({"joined": joined_inputs(loaded)} if loaded.joined else {}),
    }


def provenance_of(
    loaded: Loaded,
    curve: Curve | None,
    standard: str,
    step_rpm: float,
    digest: str,
    joined: Sequence[JoinedRead] = (),
) -> dict[str, Any]:
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
        "joined_files": [_joined_facts(one) for one in joined],
    }


def _joined_facts(one: JoinedRead) -> dict[str, Any]:
    """A joined file, where it lies on the pull's clock, and which channels are its."""
    found = one.found
    return {
        "id": one.facts.id,
        "sha256": one.facts.sha256,
        "file_name": one.facts.file_name,
        "reader": one.reader,
        "channels": list(one.gives),
        "offset_s": None if one.offset_s is None else round(one.offset_s, 6),
        "offset_by_hand": one.facts.offset_s is not None,
        "offset_u_s": None if found is None or found.u_s is None else round(found.u_s, 6),
        "residual_rpm": None if found is None or found.residual_rpm is None else round(found.residual_rpm, 3),
        "failure": one.failure,
    }
