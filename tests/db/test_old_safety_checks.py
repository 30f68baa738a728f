"""Safety checks of before they were signings: each stays, readable and kept as it was written, and still counts."""

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from pullbook.db.connect import connect, make_engine, read_address
from pullbook.db.evidence import Pull
from pullbook.db.migrating import migrate
from pullbook.db.tables import SafetySigning
from pullbook.settings import MIGRATIONS
from pullbook.shop.signing_off import is_signed_for
from tests.db.test_migrating import ask, empty_url, file_one_pull

__all__ = ["empty_url"]  # a fixture of that file
BEFORE = "2026_11_25_what_it_costs"
CHECKED = (
    "UPDATE ticket SET safety_checked_by = (SELECT id FROM staff), safety_checked_at = '2026-11-24T08:30:00.000000Z'"
)


def test_a_check_of_before_is_a_signing_now_and_covers_the_pull_after_it(empty_url):
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["database_url"] = empty_url
    command.upgrade(config, BEFORE)
    file_one_pull(empty_url)
    engine = make_engine(read_address(empty_url), writing=True)
    with engine.begin() as connection:
        connection.execute(sa.text(CHECKED))
    migrate(empty_url, MIGRATIONS)
    records = connect(empty_url)
    with records.reading() as session:
        signing, pull = session.scalars(sa.select(SafetySigning)).one(), session.scalars(sa.select(Pull)).one()
        assert (signing.ticket_id, signing.cell_id, signing.points) == (pull.ticket_id, None, [])
        assert signing.signed_at.isoformat() == "2026-11-24T08:30:00+00:00"
        assert is_signed_for(session, pull.ticket_id, pull.cell_id, pull.taken_at)
    records.close()
    assert ask(empty_url, "SELECT count(*) FROM ticket") == [(1,)]
    with pytest.raises(sa.exc.DBAPIError, match="is kept as it was written"), engine.begin() as connection:
        connection.execute(sa.text("DELETE FROM safety_signing"))
    engine.dispose()
