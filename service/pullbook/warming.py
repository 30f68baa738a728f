"""What is slow to load, loaded behind the first answers."""

import gc

from fastapi import FastAPI

from pullbook.late_routes import complete_all
from pullbook.shop.signing_in import nobodys_hash


def warm(app: FastAPI) -> None:
    """The API, all routes, the file reader's pandas, the chart library's smallest form, the hash for unknown names."""
    app.state.late_api.load()
    complete_all(list(app.routes))
    import pandas  # noqa: F401, PLC0415  half a second and 34 MB that the first page need not wait for

    gc.freeze()  # as in `serving`: what is loaded stays
    nobodys_hash()
    app.state.static.prepare("gz")
    app.state.static.prepare("br")
