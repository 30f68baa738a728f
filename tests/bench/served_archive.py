"""The service over a filled archive, in a process of its own, and somebody signed in."""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import select

from pullbook.db.connect import Database
from pullbook.db.tables import SignIn, Staff
from pullbook.shop.signing_in import fresh_token, hash_token
from tests.bench.served import HOUSE, Client, environment_for, free_port, wait_for


@contextmanager
def served_archive(database: Database) -> Iterator[Client]:
    """A client of its owner's, kept alive, and the service behind it for as long as the block runs."""
    now, token, port = datetime.now(UTC), fresh_token(), free_port()
    with database.writing() as session:
        owner = session.scalars(select(Staff.id).where(Staff.role == "owner").limit(1)).one()
        ends_at = now + timedelta(hours=1)
        session.add(SignIn(token_hash=hash_token(token), staff_id=owner, started_at=now, ends_at=ends_at))
    address = database.url.render_as_string(hide_password=False)
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "tests.bench.server"]
        process = subprocess.Popen(command, cwd=HOUSE, env=environment_for(address, Path(folder), port))
        try:
            wait_for(port)
            yield Client(port, f"pullbook={token}")
        finally:
            process.terminate()
            process.wait(20)
