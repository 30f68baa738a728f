"""Routes that are worked out when somebody first asks for them, or behind the first answers.

What a route asks for and answers is looked through once, a millisecond for each. Some two hundred of them before the
first answer would be a quarter of the time that the service takes to start, so only what a request is matched by is
there at once. A route that cannot be worked out is a mistake of ours; whatever makes the API's description finds it.
"""

import threading
import warnings
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from fastapi import APIRouter
from fastapi._compat import ModelField
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute
from pydantic.warnings import UnsupportedFieldAttributeWarning
from starlette.routing import BaseRoute, compile_path


class LateRoute(APIRoute):
    """A route with its path and methods; everything else is there once it is asked for."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **told: Any) -> None:
        self._told = told
        self._lock = threading.RLock()  # the loop's thread and the one behind it may ask at once
        self._is_begun = False
        self.path = path
        self.endpoint = endpoint
        self.name = told.get("name") or endpoint.__name__
        self.methods = {method.upper() for method in told.get("methods") or ("GET",)}
        self.include_in_schema = bool(told.get("include_in_schema", True))
        self.path_regex, self.path_format, self.param_convertors = compile_path(path)

    def __getattr__(self, name: str) -> Any:
        """What is not there yet."""
        if "_is_begun" in self.__dict__:
            self.complete()
        if name in self.__dict__:
            return self.__dict__[name]
        raise AttributeError(f"{type(self).__name__} has no {name}")

    def complete(self) -> None:
        """Work out everything that is told of the route, once."""
        with self._lock:
            if self._is_begun:
                return
            self._is_begun = True
            try:
                super().__init__(self.path, self.endpoint, **self._told)
                self._build_shapes()
            except BaseException:
                self._is_begun = False  # whoever asks next is told the reason too
                raise

    def _build_shapes(self) -> None:
        """Have the shapes of what is asked for and answered built, which wait for their route (`defer_build`).

        Otherwise the first request to use one would build it, and outside of the framework's own care: the name of what
        holds a shape is an alias to pydantic, which warns that nothing heeds it. The framework silences that.
        """
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UnsupportedFieldAttributeWarning)
            for field in self.fields():
                field._type_adapter.rebuild()  # there is no other way to ask for it

    def fields(self) -> Iterator[ModelField]:
        """Everything that is asked for and answered."""
        around = (self.body_field, self.response_field, self.stream_item_field, *self.response_fields.values())
        yield from (field for field in around if field is not None)
        yield from _asked_by(self.dependant)


def _asked_by(dependant: Dependant) -> Iterator[ModelField]:
    for place in ("path", "query", "header", "cookie", "body"):
        yield from getattr(dependant, f"{place}_params")
    for inner in dependant.dependencies:
        yield from _asked_by(inner)


class LateRouter(APIRouter):
    """A router whose routes are late ones."""

    def __init__(self, prefix: str = "", *, tags: list[str] | None = None, include_in_schema: bool = True) -> None:
        super().__init__(
            prefix=prefix, tags=[*(tags or ())], include_in_schema=include_in_schema, route_class=LateRoute
        )


def complete_all(routes: Iterable[BaseRoute]) -> None:
    """Work out those that nobody asked for yet."""
    for route in routes:
        if isinstance(route, LateRoute):
            route.complete()
