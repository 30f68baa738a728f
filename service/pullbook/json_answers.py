"""JSON answers straight to bytes: ten times cheaper than walking every value through a model first."""

from collections.abc import Callable
from typing import Any

import orjson
from starlette.responses import Response


class Json(Response):
    """An answer whose content is plain values or numpy arrays, written by orjson in one go. NaN becomes null."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        """The bytes of the body."""
        return to_json(content)


def to_json(content: Any, default: Callable[[Any], Any] | None = None) -> bytes:
    """Plain values, dataclasses, datetimes and numpy arrays as JSON bytes."""
    return orjson.dumps(content, default=default, option=orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS)
