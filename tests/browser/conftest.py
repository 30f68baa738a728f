"""A real headless Chromium against the served pages: one browser for the session, a fresh profile for each test.

Pages are tested on SQLite alone: which engine lies underneath is the API's business, and its tests run on both.
"""

import os
import shutil
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.conftest import settings_for

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
LONGEST_WAIT_MS = 10_000
# The browser complains of each answer like these, and a page may well be meant to get one.
REFUSALS = ("401", "403", "409", "410", "413", "415", "422")


@pytest.fixture
def engine_name() -> str:
    """Pages are looked at on one engine."""
    return "sqlite"


@pytest.fixture
def level() -> str:
    """Whoever looks at pages finds a shop that is set up."""
    return "furnished"


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium, started once."""
    from playwright.sync_api import sync_playwright

    named = os.environ.get("CHROMIUM") or next((path for name in BROWSERS if (path := shutil.which(name))), None)
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0
    with sync_playwright() as playwright:
        # without a name, Playwright's own
        chromium = playwright.chromium.launch(executable_path=named, args=["--no-sandbox"] if as_root else [])
        yield chromium
        chromium.close()


@pytest.fixture
def address(database: Any, tmp_path: Any, now: Any) -> Iterator[str]:
    """The service on a free port of this machine, over this test's database and clock; its address."""
    import uvicorn

    from pullbook.app import create_app
    from pullbook.serving import listen

    listening = listen("127.0.0.1", 0)
    url = f"http://127.0.0.1:{listening.getsockname()[1]}"
    app = create_app(settings_for(database.url, tmp_path, public_url=url))
    app.state.clock = now
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, access_log=False, ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.005)
    yield url
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def open_context(browser: Any, address: str, database: Any) -> Iterator[Any]:
    """Makes a fresh profile: `open_context("tuner", viewport={"width": 390, "height": 844})`, signed in or not."""
    contexts = []

    def make(role: str | None = None, **options: Any) -> Any:
        context = browser.new_context(base_url=address, **options)
        context.set_default_timeout(LONGEST_WAIT_MS)
        if role:
            held = [{"name": one.name, "value": one.value, "url": address} for one in database.cookies[role]]
            context.add_cookies(held)
        contexts.append(context)
        return context

    yield make
    for context in contexts:
        context.close()


@pytest.fixture
def page_as(open_context: Any) -> Iterator[Any]:
    """Makes a page somebody looks at: `page_as("tuner")`. What it says against its own scripts fails the test."""
    said: list[str] = []

    def listen(line: Any) -> None:
        refused = line.text.startswith("Failed to load resource") and any(code in line.text for code in REFUSALS)
        if line.type == "error" and not refused:
            said.append(line.text)

    def make(role: str | None = None, **options: Any) -> Any:
        page = open_context(role, **options).new_page()
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("console", listen)
        page.complaints = said
        return page

    yield make
    assert said == [], said
