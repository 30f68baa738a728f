"""The application: engines, routers, what stands around them. Nothing here happens at import."""

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime

from fastapi import FastAPI
from fastapi.middleware import Middleware

from pullbook import __version__, error_answers, pages
from pullbook.api_description import DescribedApi
from pullbook.body_limit import BodyLimit
from pullbook.compression import Compression
from pullbook.db.connect import connect
from pullbook.head_requests import HeadAsGet
from pullbook.health import router as health_router
from pullbook.late_api import LateApi
from pullbook.public_address import KnownHost, PublicPath
from pullbook.request_log import RequestLog
from pullbook.same_origin import SameOrigin
from pullbook.security_headers import SecurityHeaders
from pullbook.settings import Settings
from pullbook.shop.keying import LinkKey
from pullbook.shop.opening import Guesses
from pullbook.static_files import StaticPart
from pullbook.warming import warm

WARM_AFTER_S = 2.0  # the first answers come first


def create_app(settings: Settings, *, warm_up: bool = False) -> FastAPI:
    """The whole service over these settings. With `warm_up`, slow parts load behind the first answers, else at once."""

    @asynccontextmanager
    async def run(app: FastAPI) -> AsyncIterator[None]:
        if warm_up:
            later = threading.Timer(WARM_AFTER_S, warm, [app])
            later.daemon = True  # stopping the service does not wait for it
            later.start()
        yield
        app.state.database.close()

    app = DescribedApi(
        title="Pullbook",
        version=__version__,
        lifespan=run,
        middleware=_around(settings),
        docs_url=None,  # the usual page of it loads scripts from other sites
        redoc_url=None,
        openapi_url="/api/v1/openapi.json" if settings.api_docs else None,
        redirect_slashes=False,
    )
    app.state.settings = settings
    app.state.database = connect(settings.database_url)
    app.state.clock = lambda: datetime.now(UTC)
    app.state.static = StaticPart(settings)
    app.state.asset = app.state.static.asset
    app.state.link_key = LinkKey(settings.link_key_path)
    app.state.guesses = Guesses()
    app.state.kept_results = pages.KeptPages()
    app.state.kept_checks = pages.KeptChecks()
    app.state.error_page = pages.error_page
    error_answers.install(app)
    app.mount("/r/static", app.state.static)  # the customer's pages and all they need lie below /r/
    app.state.late_api = LateApi(app.router.routes)
    app.router.routes.extend(health_router.routes)  # including a router would make each of its routes a second time
    app.router.routes.append(app.state.late_api)
    app.router.routes.extend(route for router in pages.ROUTERS for route in router.routes)
    app.mount("/static", app.state.static)
    if not warm_up:
        app.state.late_api.load()
    return app


def _around(settings: Settings) -> list[Middleware]:
    """What every request passes through, outermost first."""
    return [
        Middleware(PublicPath, settings=settings),
        Middleware(SecurityHeaders, settings=settings),
        Middleware(RequestLog),
        Middleware(KnownHost, settings=settings),
        Middleware(BodyLimit, settings=settings),
        Middleware(SameOrigin, settings=settings),
        Middleware(HeadAsGet),
        Middleware(Compression),
    ]
