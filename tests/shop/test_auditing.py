"""The audit trail: no gaps, each entry bound to the one before, and any change to it is noticed."""

import threading

import pytest
import sqlalchemy as sa

from pullbook.db.connect import connect, make_engine
from pullbook.db.evidence import AuditDetail, AuditEntry
from pullbook.shop.auditing import FIRST_PREVIOUS, first_broken_entry, how_many, note


@pytest.fixture
def records(settings):
    opened = connect(settings.database_url)
    yield opened
    opened.close()


@pytest.fixture
def told(records, now):
    """Three entries in two transactions."""
    with records.writing() as session:
        note(session, now.value, None, "added", "cell", "1", after={"name": "Cell one", "altitude_m": 120.5})
    with records.writing() as session:
        note(session, now.value, None, "changed", "cell", "1", {"name": "Cell one"}, {"name": "Célula – λ"})
        note(session, now.value, None, "removed", "cell", "1", before={"at": now.value})
    return records


def broken(records):
    with records.reading() as session:
        return first_broken_entry(session)


def test_the_entries_are_numbered_without_gaps_and_follow_from_each_other(told):
    with told.reading() as session:
        entries = session.execute(sa.select(AuditEntry).order_by(AuditEntry.number)).scalars().all()
    assert [one.number for one in entries] == [1, 2, 3]
    assert [one.previous_hash for one in entries] == [FIRST_PREVIOUS, entries[0].hash, entries[1].hash]
    assert broken(told) is None


def test_nothing_is_entered_for_what_was_undone(told, now):
    def work():
        with told.writing() as session:
            note(session, now.value, None, "added", "cell", "2")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        work()
    with told.reading() as session:
        assert how_many(session) == 3
    assert broken(told) is None


def test_entries_made_at_once_still_form_one_chain(records, now):
    faults = []

    def work(name):
        try:
            for count in range(10):
                with records.writing() as session:
                    note(session, now.value, None, "counted", "cell", f"{name}-{count}", after={"count": count})
        except Exception as error:
            faults.append(error)

    threads = [threading.Thread(target=work, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert broken(records) is None
    with records.reading() as session:
        assert how_many(session) == 40


def without_guards(records, statement, **values):
    """Change evidence as somebody would who owns the machine."""
    engine = make_engine(records.url, writing=True)
    with engine.begin() as connection:
        if records.is_sqlite:
            names = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'audit_entry'"
            for name in connection.exec_driver_sql(names).scalars().all():
                connection.exec_driver_sql(f"DROP TRIGGER {name}")
            connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
        else:
            connection.exec_driver_sql("ALTER TABLE audit_entry DISABLE TRIGGER ALL")
        connection.execute(sa.text(statement), values)
    engine.dispose()


@pytest.mark.parametrize(
    ("statement", "number"),
    [
        ("UPDATE audit_entry SET action = 'something else' WHERE number = 2", 2),
        ("UPDATE audit_entry SET record_id = '9' WHERE number = 1", 1),
        ("UPDATE audit_entry SET hash = '" + "a" * 64 + "' WHERE number = 3", 3),
    ],
)
def test_an_entry_that_was_altered_is_named(told, statement, number):
    without_guards(told, statement)
    assert broken(told) == number


def test_an_entry_that_was_cut_off_the_end_is_noticed(told):
    without_guards(told, "DELETE FROM audit_detail WHERE number = 3")
    without_guards(told, "DELETE FROM audit_entry WHERE number = 3")
    assert broken(told) == 3


def test_a_detail_that_was_altered_is_named_and_one_that_was_erased_is_not(told):
    with told.writing() as session:
        session.execute(sa.delete(AuditDetail).where(AuditDetail.number == 1))
    assert broken(told) is None
    with told.writing() as session:
        session.execute(sa.update(AuditDetail).where(AuditDetail.number == 2).values(after={"name": "Cell two"}))
    assert broken(told) == 2


def test_the_same_detail_under_another_salt_looks_different(records, now):
    with records.writing() as session:
        for _ in range(2):
            note(session, now.value, None, "added", "customer", "1", after={"full_name": "Somebody"})
    with records.reading() as session:
        digests = session.execute(sa.select(AuditEntry.detail_digest)).scalars().all()
    assert len(set(digests)) == 2
