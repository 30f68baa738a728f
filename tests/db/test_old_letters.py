"""What was kept before letters with strokes and ligatures were looked for as plain ones is found the new way too."""

import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from pullbook.db.connect import connect, make_engine, read_address
from pullbook.db.migrating import migrate
from pullbook.db.tables import Customer, Vehicle
from pullbook.settings import MIGRATIONS
from pullbook.shop.archiving import look
from pullbook.shop.narrowing import LookedFor
from pullbook.shop.searching import UNADORNED, findable
from pullbook.shop.spotting import customers_with, vehicles_with
from tests.db.test_migrating import ask, empty_url, file_one_pull

__all__ = ["empty_url"]  # a fixture of that file
BEFORE = "2026_11_25_pinned_and_anchored"
NAME = "".join(UNADORNED) + " Łucja"
KEPT = (
    "UPDATE customer SET full_name = :name, found_by = :line",
    "UPDATE vehicle SET make = :name, found_by = :line",
    "INSERT INTO found_model (id, make_key, model_key, make, model) VALUES (7, :line, 'n', :name, 'N')",
    "INSERT INTO found_ticket (number, ticket_id, model_id, engine_key, family_key, own_line, line) "
    "SELECT number, id, 7, '', '', :line, :line FROM ticket",
    "DELETE FROM found_late",
)


def test_customers_cars_and_pulls_kept_with_such_letters_are_found_without_them(empty_url):
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["database_url"] = empty_url
    command.upgrade(config, BEFORE)
    pull_id = file_one_pull(empty_url)
    engine = make_engine(read_address(empty_url), writing=True)
    with engine.begin() as connection:
        for statement in KEPT:
            names = {name for name in ("name", "line") if f":{name}" in statement}
            told = {"name": NAME, "line": f"{NAME} {NAME.replace(' ', '')}".lower()}
            connection.execute(sa.text(statement), {name: told[name] for name in names})
    engine.dispose()
    migrate(empty_url, MIGRATIONS)
    assert ask(empty_url, "SELECT found_by FROM customer") == [(findable(NAME),)]
    records = connect(empty_url)
    with records.writing():
        pass  # whatever is written next: it takes the texts along
    with records.reading() as session:
        for kind, found in ((Customer, customers_with), (Vehicle, vehicles_with)):
            assert session.scalars(found(session, sa.select(kind.id), "lucja")).one(), kind
        (found_id,) = look(session, LookedFor(words="lucja"), None, 10).pull_ids
        assert look(session, LookedFor(make=NAME), None, 10).pull_ids == (found_id,)
    records.close()
    assert ask(empty_url, f"SELECT count(*) FROM pull WHERE id = {pull_id}") == [(1,)]
