"""`python skeleton.py PORT`: the core alone – fastapi, sqlalchemy and numpy, eighty routes, nothing done."""

import sys

import numpy as np
import sqlalchemy as sa
import uvicorn
from fastapi import FastAPI
from pydantic import BaseModel

ROUTES = 80


class Thing(BaseModel):
    """What a route answers."""

    number: int
    words: str = ""


def make() -> FastAPI:
    """The application."""
    app = FastAPI()
    app.state.database = sa.create_engine("sqlite:///:memory:")
    app.state.sum = float(np.arange(10.0).sum())

    @app.get("/healthz")
    async def alive() -> str:
        return "alive"

    def add(number: int) -> None:
        @app.get(f"/things/{number}/{{thing_id}}")
        def one(thing_id: int, find: str | None = None) -> Thing:
            return Thing(number=thing_id, words=find or "")

    for number in range(ROUTES):
        add(number)
    return app


if __name__ == "__main__":
    uvicorn.run(make(), port=int(sys.argv[1]), loop="uvloop", http="httptools", log_level="warning")
