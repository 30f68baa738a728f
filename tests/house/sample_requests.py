"""Requests made from the OpenAPI description alone: bodies that fit their shape, paths to nobody's record."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

UNKNOWN_ID = "0123456789abc"  # well formed, and nobody's
METHODS = ("get", "post", "put", "patch", "delete")
# Fields whose shape alone does not say what would do.
FITTING: dict[str, Any] = {
    "time_zone": "UTC",
    "standard": "iso_1585",
    "default_standard": "iso_1585",
    "quantity": "time_s",
    "unit": "s",
    "state": "checked_in",
    "password": "seven quiet rollers turn",
    "relative_humidity_pct": 50.0,
    "dew_point_c": None,
    "wet_bulb_c": None,
    "station_pressure_kpa": 99.0,
    "altimeter_setting_kpa": None,
    "air_temperature_c": 20.0,
    "mass_kg": 1300.0,
    "elapsed_s": 13.0,
}


@dataclass(frozen=True)
class Operation:
    """One method of one path, as the description tells it."""

    method: str
    path: str
    told: dict[str, Any]
    components: dict[str, Any]

    @property
    def name(self) -> str:
        return f"{self.method.upper()} {self.path}"

    @property
    def body_shape(self) -> dict[str, Any] | None:
        """The JSON body's schema; None where there is no body or it is a file."""
        content = self.told.get("requestBody", {}).get("content", {})
        return content.get("application/json", {}).get("schema")

    @property
    def takes_a_file(self) -> bool:
        """Whether the body is a file's own bytes."""
        return "requestBody" in self.told and self.body_shape is None

    @property
    def names_a_record(self) -> bool:
        """Whether the path holds an id."""
        return "{" in self.path.replace("{month}", "")  # a month is no record: none is ever missing

    def address(self, value: str = UNKNOWN_ID) -> str:
        """The path with that id, and every query parameter that must be there."""
        path = re.sub(r"\{\w+\}", value, self.path)
        asked = [one for one in self.told.get("parameters", []) if one["in"] == "query" and one.get("required")]
        words = "&".join(f"{one['name']}={self.fit(one['schema'], one['name'])}" for one in asked)
        return path + (f"?{words.replace('+', '%2B')}" if words else "")

    def sample_body(self) -> Any:
        """A body that fits the shape."""
        return None if self.body_shape is None else self.fit(self.body_shape)

    def fit(self, shape: dict[str, Any], name: str = "") -> Any:
        """A value that fits a schema."""
        if name in FITTING:
            return FITTING[name]
        if "$ref" in shape:
            return self.fit(self.components[shape["$ref"].rpartition("/")[2]], name)
        for kind in ("anyOf", "oneOf", "allOf"):
            if kind in shape:
                return self.fit(shape[kind][0], name)
        if "const" in shape or "enum" in shape:
            return shape.get("const", shape.get("enum", [None])[0])
        return self._fit_type(shape, name)

    def _fit_type(self, shape: dict[str, Any], name: str) -> Any:
        kind = shape.get("type")
        if kind == "object" or "properties" in shape:
            wanted = set(shape.get("required", [])) | (set(shape.get("properties", {})) & set(FITTING))
            return {key: self.fit(part, key) for key, part in shape.get("properties", {}).items() if key in wanted}
        if kind == "array":
            return [self.fit(shape["items"], name) for _ in range(max(1, shape.get("minItems", 0)))]
        if kind in ("number", "integer"):
            low = shape.get("minimum", shape.get("exclusiveMinimum", 0))
            return low + (1 if "exclusiveMinimum" in shape else 0) or (1 if shape.get("maximum", 1) >= 1 else 0)
        if kind == "boolean":
            return True
        return self._fit_text(shape, name)

    def _fit_text(self, shape: dict[str, Any], name: str) -> str:
        if shape.get("format") == "date-time":
            return "2026-03-10T09:00:00+01:00"
        if shape.get("format") == "date":
            return "2026-03-10"
        if name.endswith("_id") or name.endswith("_ids") or name == "id":
            return UNKNOWN_ID
        return "w" * max(4, shape.get("minLength", 0))


def operations(description: dict[str, Any]) -> Iterator[Operation]:
    """Every operation of an OpenAPI description."""
    components = description.get("components", {}).get("schemas", {})
    for path, methods in sorted(description["paths"].items()):
        for method in METHODS:
            if method in methods:
                yield Operation(method, path, methods[method], components)


def flat(routes: Iterable[Any]) -> Iterable[Any]:
    """Every route, those of included routers too."""
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from flat(inner.routes)
        else:
            yield route


def send(client: Any, operation: Operation, address: str, body: Any = None) -> Any:
    """Send it, with its body if it has one."""
    if operation.takes_a_file:
        return client.request(operation.method, address, content=b"time;x\n0;1\n", headers={"Content-Type": "text/csv"})
    return client.request(operation.method, address, **({"json": body} if body is not None else {}))
