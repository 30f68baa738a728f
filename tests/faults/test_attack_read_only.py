"""Records that can be read and not written: said at the start and by /readyz, and no write is ever acknowledged."""

import pytest
from sqlalchemy import event, exc

from pullbook.cli import main
from pullbook.db import connect as connections
from pullbook.db.connect import connect
from tests.furnishing import CUSTOMER

WORDS = {"sqlite": "PRAGMA query_only = ON", "postgresql": "SET default_transaction_read_only = on"}


def refuse_writing(engine, dialect):
    """From here on each connection is given out as one that cannot write, as that of a read-only file or server is."""

    def only_read(connection, *_):
        cursor = connection.cursor()
        cursor.execute(WORDS[dialect])
        cursor.close()
        if dialect == "postgresql":
            connection.commit()

    event.listen(engine, "connect", only_read)
    engine.dispose()


def test_the_lock_of_the_writer_is_no_proof(settings, engine_name):
    records = connect(settings.database_url)
    records.prove_writable()
    refuse_writing(records.writer, engine_name)
    with pytest.raises((exc.OperationalError, exc.InternalError), match=r"read-?only"):
        records.prove_writable()
    records.close()


def test_it_refuses_to_start_in_one_sentence(settings, engine_name, monkeypatch, tmp_path, capsys):
    made = connections.make_engine

    def read_only(url, *, writing):
        engine = made(url, writing=writing)
        refuse_writing(engine, engine_name)
        return engine

    monkeypatch.setenv("PULLBOOK_DATABASE_URL", settings.database_url)
    monkeypatch.setenv("PULLBOOK_DATA_DIR", str(tmp_path))
    assert main(["check"]) == 0
    monkeypatch.setattr(connections, "make_engine", read_only)
    capsys.readouterr()
    for words in (["serve"], ["check"]):
        assert main(words) == 1
        complaint = capsys.readouterr().err
        assert complaint.startswith("pullbook: the database cannot be used: ")
        assert complaint.count("\n") == 1


def test_what_cannot_be_written_is_not_acknowledged_and_reading_goes_on(app, owner, house, engine_name):
    refuse_writing(app.state.database.writer, engine_name)
    assert owner.get("/readyz").status_code == 503
    answer = owner.post("/api/v1/customers", json=CUSTOMER)
    assert answer.status_code == 503
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["retry-after"]
    assert owner.get(f"/api/v1/tickets/{house.ticket_id}").status_code == 200
    assert owner.get("/").status_code == 200
