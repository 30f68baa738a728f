"""The API's modules, loaded by the first request for one of its addresses or behind the first answers.

Pages read by themselves; every write of theirs goes through the API a while after they were drawn. Its shapes and nouns
would be a tenth of the time to the first answer, so they are the one part of the service that is not there at once.
Whether the service is ready (/readyz) is not said before they are.
"""

import gc
import threading
from importlib import import_module

from fastapi.concurrency import run_in_threadpool
from starlette._utils import get_route_path
from starlette.routing import BaseRoute, Match
from starlette.types import Receive, Scope, Send

BELOW = "/api/v1/"


class LateApi(BaseRoute):
    """Stands among an application's routes where the API's belong, until they take its place."""

    def __init__(self, routes: list[BaseRoute]) -> None:
        """`routes` are those that it stands among."""
        self._routes = routes
        self._lock = threading.Lock()

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Everything below the API's address."""
        is_below = scope["type"] == "http" and get_route_path(scope).startswith(BELOW)
        return (Match.FULL, {}) if is_below else (Match.NONE, {})

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Load what is asked for, and hand the request to the routes once more."""
        await run_in_threadpool(self.load)
        await scope["app"].router(scope, receive, send)

    def load(self) -> None:
        """Put the API's routes in place; whoever comes while another does waits, and whoever comes later goes on."""
        with self._lock:
            if self not in self._routes:
                return
            was_on = gc.isenabled()
            gc.disable()  # nothing is garbage while modules load
            try:
                routers = import_module("pullbook.api").ROUTERS
            finally:
                if was_on:
                    gc.enable()
            here = self._routes.index(self)
            self._routes[here : here + 1] = [route for router in routers for route in router.routes]
