"""The floor every test stands on: a database of its own on either engine, the app, people signed in, a clock.

A test that asks for `settings`, `app` or a client runs twice: on a SQLite file and on a real PostgreSQL. What it finds
there depends on what it asks for: `anonymous` alone meets an empty shop; `owner`, `tuner` and `desk` are staff of one
that is set up; `house` stands for a cell, a car and a ticket that are ready. Each is copied from a template made once.
"""

import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings as trials

from tests.furnishing import OWNER, PEOPLE, START, House, furnish, hire, sign_in

PUBLIC_URL = "http://pulls.example.test"
ENGINES = ("sqlite", "postgresql")

# A change is judged by the same examples every time, on a machine however slow. New ones are looked for on purpose:
# `pytest --hypothesis-profile wide`; what that finds becomes an @example.
trials.register_profile("same", derandomize=True, deadline=None)
trials.register_profile("wide", max_examples=20_000, deadline=None)
trials.load_profile("same")


@dataclass
class Clock:
    """The time the app is told. It stands still until a test moves it."""

    value: datetime = START

    def __call__(self) -> datetime:
        return self.value

    def advance(self, **by: float) -> datetime:
        """Forward by hours=, minutes=, days= …"""
        self.value += timedelta(**by)
        return self.value


@dataclass(frozen=True)
class Template:
    """A database that tests copy, and what is in it."""

    url: str
    name: str  # of the PostgreSQL database
    path: Path  # of the SQLite file
    cookies: dict[str, list[Any]] = field(default_factory=dict)  # what signed-in browsers hold, by role
    house: House | None = None


class Copies:
    """Makes and keeps the templates of one engine, and hands out copies of them."""

    def __init__(self, engine: str, folder: Path, postgres: Any) -> None:
        self.engine, self.folder, self.postgres = engine, folder, postgres
        self._kept: dict[str, Template] = {}
        self._failed: dict[str, BaseException] = {}
        self._count = 0

    def template(self, level: str) -> Template:
        """The template of one level: bare, staffed or furnished; each is the one before it and something more."""
        if level in self._failed:
            pytest.fail(f"the {level} template could not be made: {self._failed[level]}", pytrace=False)
        if level not in self._kept:
            try:
                self._kept[level] = getattr(self, f"_make_{level}")()
            except BaseException as fault:
                self._failed[level] = fault  # told again to every test that needs it, and not tried again
                raise
        return self._kept[level]

    @contextmanager
    def copy(self, level: str) -> Iterator[Template]:
        """A database of one's own, for as long as the block runs."""
        original = self.template(level)
        fresh = self._empty(original)
        try:
            yield Template(fresh.url, fresh.name, fresh.path, original.cookies, original.house)
        finally:
            if self.engine == "postgresql":
                self.postgres.drop(fresh.name)

    def _empty(self, original: Template | None = None) -> Template:
        if self.engine == "postgresql":
            name = self.postgres.create(original.name if original else "template0")
            return Template(self.postgres.url(name), name, Path())
        self._count += 1
        path = self.folder / f"pulls_{self._count}.sqlite3"
        if original:
            shutil.copyfile(original.path, path)
        return Template(f"sqlite:///{path}", "", path)

    def _make_bare(self) -> Template:
        fresh = self._empty()
        migrate_to_head(settings_for(fresh.url, self.folder))
        return fresh

    def _make_staffed(self) -> Template:
        fresh = self._empty(self.template("bare"))
        settings = settings_for(fresh.url, self.folder)
        token = first_owner_token(settings)
        with serving(settings, Clock()) as (_, first):
            hire(first, token)
            cookies = {}
            for person in PEOPLE:
                first.cookies.clear()
                sign_in(first, person)
                cookies[person.role] = list(first.cookies.jar)
        return Template(fresh.url, fresh.name, fresh.path, cookies)

    def _make_furnished(self) -> Template:
        staffed = self.template("staffed")
        fresh = self._empty(staffed)
        with serving(settings_for(fresh.url, self.folder), Clock()) as (_, first):
            hold(first, staffed.cookies[OWNER.role])
            house = furnish(first)
        return Template(fresh.url, fresh.name, fresh.path, staffed.cookies, house)


def settings_for(database_url: str, folder: Path, **changes: Any) -> Any:
    """Settings as the service would read them, for one database."""
    from pullbook.settings import Settings

    return Settings(**{"database_url": database_url, "public_url": PUBLIC_URL, "data_dir": folder, **changes})


def migrate_to_head(settings: Any) -> None:
    """Bring an empty database to today's schema by the very migrations that ship."""
    from pullbook.db.migrating import migrate
    from pullbook.settings import MIGRATIONS

    migrate(settings.database_url, MIGRATIONS)


def first_owner_token(settings: Any) -> str:
    """The one-time token that makes the first owner, as the command line hands it out."""
    from pullbook.db.connect import connect
    from pullbook.shop.signing_in import invite_first_owner

    records = connect(settings.database_url)
    with records.writing() as session:
        token = invite_first_owner(session, START)
    records.close()
    return token


@contextmanager
def serving(settings: Any, clock: Clock) -> Iterator[tuple[Any, Any]]:
    """The app with its start and stop, and a client of it that nobody is signed in on."""
    from pullbook.app import create_app

    app = create_app(settings)
    app.state.clock = clock
    with client_of(app, settings) as client:
        yield app, client


def client_of(app: Any, settings: Any, portal: Any = None) -> Any:
    """A client as a browser on our own pages is: it says where it comes from."""
    from starlette.testclient import TestClient

    client = TestClient(app, base_url=settings.public_url, headers={"Origin": PUBLIC_URL}, follow_redirects=False)
    client.portal = portal  # one event loop for all clients of an app
    return client


def hold(client: Any, cookies: list[Any]) -> None:
    """Put cookies into a client's jar as if the server had set them."""
    for cookie in cookies:
        client.cookies.jar.set_cookie(cookie)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Any]:
    """A real PostgreSQL, started when the first test asks for it."""
    from tests.postgres import postgres_server

    with postgres_server() as server:
        yield server


@pytest.fixture(scope="session")
def _copies(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Copies]:
    return {}


@pytest.fixture(params=ENGINES)
def engine_name(request: pytest.FixtureRequest) -> str:
    """Which database engine this turn of the test runs on."""
    return str(request.param)


@pytest.fixture
def level(request: pytest.FixtureRequest) -> str:
    """How much of a shop the test finds: by what it asks for."""
    asked = set(request.fixturenames)
    if "house" in asked:
        return "furnished"
    return "staffed" if asked & {"owner", "tuner", "desk"} else "bare"


@pytest.fixture
def database(
    request: pytest.FixtureRequest,
    engine_name: str,
    level: str,
    _copies: dict[str, Copies],
    tmp_path_factory: Any,
    tmp_path: Path,
) -> Iterator[Template]:
    """A database of this test's own, and beside it the key that its chain names as the shop's."""
    if engine_name not in _copies:
        server = request.getfixturevalue("postgres") if engine_name == "postgresql" else None
        _copies[engine_name] = Copies(engine_name, tmp_path_factory.mktemp(engine_name), server)
    with _copies[engine_name].copy(level) as copy:
        key = _copies[engine_name].folder / "signing_key.pem"
        if level == "furnished":
            shutil.copy(key, tmp_path / key.name)
        yield copy


@pytest.fixture
def settings(database: Template, tmp_path: Path) -> Any:
    """The service's settings, on this test's database."""
    return settings_for(database.url, tmp_path)


@pytest.fixture
def now() -> Clock:
    """The clock: `now.value` reads and sets it, `now.advance(hours=1)` moves it."""
    return Clock()


@pytest.fixture
def _served(settings: Any, now: Clock) -> Iterator[tuple[Any, Any]]:
    with serving(settings, now) as both:
        yield both


@pytest.fixture
def app(_served: tuple[Any, Any]) -> Any:
    """The service, started."""
    return _served[0]


@pytest.fixture
def anonymous(_served: tuple[Any, Any]) -> Any:
    """A client that nobody is signed in on."""
    return _served[1]


@pytest.fixture
def client_for(_served: tuple[Any, Any], settings: Any, database: Template) -> Iterator[Any]:
    """Makes a client of its own: `client_for("tuner")` is signed in, `client_for()` is not."""
    with ExitStack() as open_clients:

        def make(role: str | None = None) -> Any:
            client = client_of(_served[0], settings, _served[1].portal)
            hold(client, database.cookies[role] if role else [])
            open_clients.callback(client.close)
            return client

        yield make


@pytest.fixture
def owner(client_for: Any) -> Any:
    """The owner, signed in."""
    return client_for("owner")


@pytest.fixture
def tuner(client_for: Any) -> Any:
    """The tuner, signed in."""
    return client_for("tuner")


@pytest.fixture
def desk(client_for: Any) -> Any:
    """The front desk, signed in."""
    return client_for("front_desk")


@pytest.fixture
def house(database: Template) -> House:
    """What stands ready in the furnished shop, by id."""
    assert database.house is not None
    return database.house


# What may be left out, and why: printed every time. Anything else that is skipped fails the run.
MAY_BE_SKIPPED: dict[str, str] = {}
_skipped: dict[str, str] = {}


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Remember what was left out."""
    if report.skipped and not hasattr(report, "wasxfail"):
        _skipped[report.nodeid] = str(report.longrepr[-1] if isinstance(report.longrepr, tuple) else report.longrepr)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    """A whole file may be skipped too."""
    if report.skipped:
        _skipped[report.nodeid] = str(report.longrepr[-1] if isinstance(report.longrepr, tuple) else report.longrepr)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Nothing is skipped in silence."""
    if session.exitstatus == pytest.ExitCode.OK and set(_skipped) - set(MAY_BE_SKIPPED):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say what was left out, and which of it nobody allowed."""
    for nodeid, reason in sorted(_skipped.items()):
        allowed = MAY_BE_SKIPPED.get(nodeid)
        terminalreporter.write_line(f"left out{'' if allowed else ' WITHOUT LEAVE'}: {nodeid}: {allowed or reason}")
