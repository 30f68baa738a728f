"""What the bench times as bare statements is what the work sends, with the same rows."""

import pytest
from sqlalchemy import func, select

from pullbook.db.connect import connect
from pullbook.db.found import FoundPull, FoundTicket
from pullbook.shop.archiving import look
from pullbook.shop.narrowing import LookedFor
from tests.bench.bare_statements import bare, statements_of
from tests.bench.filled import Sizes, fill


@pytest.fixture
def session(settings):
    database = connect(settings.database_url)
    fill(database, Sizes.of_pulls(60))
    with database.reading() as opened:
        yield opened
    database.close()


def test_every_statement_of_a_work_is_run_again_with_its_rows(session):
    def work():
        session.execute(select(FoundTicket.number).where(FoundTicket.number <= 5)).all()
        session.execute(select(func.count()).select_from(FoundPull)).scalar_one()

    sent = statements_of(session, work)
    assert len(sent) == 2
    assert bare(session, sent)() == 5 + 1


def test_a_search_sends_statements_and_these_find_its_pulls(session):
    line = session.scalar(select(FoundTicket.own_line).limit(1))
    looked = LookedFor(words=line.split()[1])  # a name
    sent = statements_of(session, lambda: look(session, looked, None, 50, count=False))
    assert sent
    assert bare(session, sent)() >= len(look(session, looked, None, 50, count=False).pull_ids) > 0


def test_nothing_is_noted_after_the_work(session):
    sent = statements_of(session, lambda: None)
    session.execute(select(FoundTicket.number)).all()
    assert sent == []
