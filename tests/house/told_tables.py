"""What the two documents must tell in tables, as the code has it; `python -m tests.house.told_tables` prints them."""

import re
import sys
from argparse import ArgumentParser, _SubParsersAction
from pathlib import Path
from typing import Any

from starlette.routing import Mount, Route

from tests.house.sample_requests import flat, operations
from tests.house.source_files import HOUSE
from tests.house.who_may import WHO

README, DEVELOPERS = HOUSE / "README.md", HOUSE / "DEVELOPERS.md"
NOT_TOLD = {"/api/v1/openapi.json", "/api/docs", "/docs/oauth2-redirect", "/api/docs/oauth2-redirect"}


def rows_under(path: Any, heading: str) -> dict[str, list[str]]:
    """The rows of the table under one heading: its first cell, in back quotes, to the other cells."""
    lines = path.read_text(encoding="utf-8").splitlines()
    start = next((at for at, line in enumerate(lines) if re.fullmatch(rf"#+ {re.escape(heading)}", line)), None)
    assert start is not None, f"{path.name} has no heading {heading!r}"
    rows: dict[str, list[str]] = {}
    for line in lines[start + 1 :]:
        if line.startswith("#"):
            break
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("| `"):
            name = cells[0].strip("`")
            assert name not in rows, f"{path.name}: {name} stands twice under {heading}"
            rows[name] = cells[1:]
    return rows


def settings() -> dict[str, list[str]]:
    """Environment variable → default, help."""
    from pullbook.settings import Settings

    prefix = Settings.model_config["env_prefix"]
    return {
        f"{prefix}{name.upper()}": [f"`{field.default}`", str(field.description)]
        for name, field in Settings.model_fields.items()
    }


def routes(app: Any) -> dict[str, list[str]]:
    """Method and path of every operation → who may."""
    there = operations(app.openapi())
    return {one.name: [WHO.get(one.name, "?"), _first_sentence(one.told["description"])] for one in there}


def pages(app: Any) -> dict[str, list[str]]:
    """Every path that answers with something else than the API's JSON."""
    found = {}
    for route in flat(app.routes):
        if isinstance(route, Route) and not route.path.startswith("/api/v1/") and route.path not in NOT_TOLD:
            found[route.path] = [_first_sentence(route.endpoint.__doc__ or "")]
        elif isinstance(route, Mount):
            found[route.path] = ["what never changes while the service runs"]
    return found


def commands(parser: ArgumentParser, before: str = "") -> dict[str, list[str]]:
    """Every command of the command line → its help."""
    found: dict[str, list[str]] = {}
    for action in parser._actions:
        if isinstance(action, _SubParsersAction):
            helps = {choice.dest: choice.help or "" for choice in action._choices_actions}
            for name, inner in action.choices.items():
                deeper = commands(inner, f"{before}{name} ")
                found |= deeper or {f"pullbook {before}{name}": [helps.get(name, "")]}
    return found


def standards() -> dict[str, list[str]]:
    """Identifier → title, reference."""
    from pullbook.measure.correction import STANDARDS

    return {name: [one.title, one.reference] for name, one in STANDARDS.items()}


def quantities() -> dict[str, list[str]]:
    """Channel → title, unit inside."""
    from pullbook.measure import CHANNELS

    return {name: [one.title, f"`{one.inside_unit}`"] for name, one in CHANNELS.items()}


def _first_sentence(text: str) -> str:
    return re.split(r"(?<=[.:;])\s", " ".join(text.split()))[0].rstrip(".:;").replace("|", "or")


def as_rows(table: dict[str, list[str]]) -> str:
    """The table's rows, to be pasted."""
    return "\n".join(f"| `{name}` | {' | '.join(cells)} |" for name, cells in table.items())


def written(text: str, heading: str, table: dict[str, list[str]]) -> str:
    """The document with the rows under one heading renewed."""
    lines = text.split("\n")
    first = lines.index("| --- |" + " --- |" * len(next(iter(table.values()))), lines.index(f"## {heading}")) + 1
    last = first
    while lines[last].startswith("|"):
        last += 1
    return "\n".join([*lines[:first], as_rows(table), *lines[last:]])


def all_tables() -> list[tuple[Any, str, dict[str, list[str]]]]:
    """(document, heading, rows) of every table there must be."""
    import tempfile

    from pullbook.app import create_app
    from pullbook.cli import _parser
    from pullbook.settings import Settings

    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Settings(database_url=f"sqlite:///{folder}/x.sqlite3", data_dir=Path(folder)))
        return [
            (README, "Settings", settings()),
            (DEVELOPERS, "Routes", routes(app)),
            (DEVELOPERS, "Pages", pages(app)),
            (DEVELOPERS, "Commands", commands(_parser())),
            (DEVELOPERS, "Standards", standards()),
            (DEVELOPERS, "Quantities", quantities()),
        ]


if __name__ == "__main__":
    for document, heading, table in all_tables():
        if "--write" in sys.argv:
            document.write_text(written(document.read_text("utf-8"), heading, table), "utf-8")
        else:
            print(as_rows(table), end="\n\n")
