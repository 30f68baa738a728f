"""What is slow to load, loaded behind the first answers."""

from collections.abc import Iterable

from starlette.routing import BaseRoute

from pullbook.late_routes import complete_all
from pullbook.shop.signing_in import nobodys_hash
from pullbook.static_files import StaticPart


def warm(routes: Iterable[BaseRoute], static: StaticPart) -> None:
    """Routes, the file reader's pandas, the chart library's smallest form, the hash for unknown names."""
    complete_all(routes)
    import pandas  # noqa: F401, PLC0415  half a second and 34 MB that the first page need not wait for

    nobodys_hash()
    static.prepare("gz")
    static.prepare("br")
