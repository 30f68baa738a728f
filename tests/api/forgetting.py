"""Forgetting a customer by a request, and everything that a database says afterwards."""

import sqlalchemy as sa

from pullbook.db.connect import connect


def erase(owner, house, name="Imre Valdaquist"):
    asked = {"full_name": name, "reason": "asked by letter"}
    return owner.post(f"/api/v1/customers/{house.customer_id}/erase", json=asked)


def all_text(settings):
    """Every text in every table, as one."""
    records = connect(settings.database_url)
    with records.reading() as session:
        tables = sa.inspect(session.connection()).get_table_names()
        kept = []
        for name in tables:
            for row in session.execute(sa.text(f'SELECT * FROM "{name}"')):
                kept += [str(value) for value in row if isinstance(value, (str, dict, list, memoryview))]
    records.close()
    return "\n".join(kept)
