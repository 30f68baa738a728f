"""Frozen dataclasses whose methods are written when the first of their kind is made.

The standard library writes and compiles six methods for each dataclass where it is declared. Some 350 of them would be
a sixth of the time that the service takes to start, and most processes never make a record of most kinds. So here a
class gets its fields and slots where it is declared, and its methods – the very ones of the standard library – when
one is first called. What cannot wait, and any class that has such a method of its own, is a plain dataclass.
"""

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

WRITTEN = ("__init__", "__repr__", "__eq__", "__hash__")
FROZEN = ("__setattr__", "__delattr__")
PACKED = ("__getstate__", "__setstate__")

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(
        kind: type | None = None, /, *, frozen: bool = False, slots: bool = False, **told: Any
    ) -> type | Callable[[type], type]:
        """As in the standard library; `frozen=True` and perhaps `slots=True` is what waits."""

        def declare(kind: type) -> type:
            has_its_own = not vars(kind).keys().isdisjoint((*WRITTEN, *FROZEN, *PACKED))
            if not frozen or told or has_its_own:
                return dataclasses.dataclass(kind, frozen=frozen, slots=slots, **told)
            return _declared(kind, slots=slots)

        return declare if kind is None else declare(kind)


def _declared(kind: type, *, slots: bool) -> type:
    """The class with its fields, and with methods that wait."""
    declared: type = dataclasses.dataclass(kind, init=False, repr=False, eq=False, slots=slots)
    for name in WRITTEN:
        setattr(declared, name, _waiting(declared, name))
    for name, method in zip(FROZEN, (_refuse_setting, _refuse_deleting), strict=True):
        setattr(declared, name, method)
    if slots:
        for name, method in zip(PACKED, (_values_of, _take_values), strict=True):
            setattr(declared, name, method)
    return declared


def _waiting(kind: type, name: str) -> Callable[..., Any]:
    """A method that has those of its class written, and is then called as what it became."""

    def method(self: Any, *given: Any, **named: Any) -> Any:
        _write(kind)
        return getattr(kind, name)(self, *given, **named)

    method.__name__, method.__qualname__ = name, f"{kind.__qualname__}.{name}"
    return method


def _write(kind: Any) -> None:
    """Take the methods of a plain dataclass with the same fields. Two threads at once write the same."""
    fields = [(field.name, field.type, field) for field in dataclasses.fields(kind)]
    said = {"__qualname__": kind.__qualname__}
    if hasattr(kind, "__post_init__"):
        said["__post_init__"] = kind.__post_init__
    plain = dataclasses.make_dataclass(kind.__name__, fields, frozen=True, namespace=said)
    for name in WRITTEN:
        setattr(kind, name, getattr(plain, name))


def _refuse_setting(self: Any, name: str, _value: Any) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_deleting(self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _values_of(self: Any) -> list[Any]:
    return [getattr(self, field.name) for field in dataclasses.fields(self)]


def _take_values(self: Any, values: list[Any]) -> None:
    for field, value in zip(dataclasses.fields(self), values, strict=True):
        object.__setattr__(self, field.name, value)
