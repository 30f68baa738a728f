"""Imports go one way, so that every part can be read without those that use it."""

import ast
import sys

import pytest

from tests.house.source_files import HOUSE, PACKAGE, files, imported, module_name, shown, tree

# From the outside in. A part may import what stands in a later row; parts in one set never import each other.
ORDER = (
    {"cli"},
    {"app"},
    {"api", "pages"},
    {"deps"},
    {"error_answers"},
    {"charts"},
    {"shop"},
    {"runfile", "db"},
    {"measure"},
)
# Single files that belong to a part without lying in a folder of its name.
BELONGS_TO = {
    "__main__": "cli",
    "serving": "cli",
    "forgetting_commands": "cli",
    "chain_commands": "cli",
    "bounded_heads": "cli",
    "month_commands": "cli",
    "results_commands": "cli",
    "archive_commands": "cli",
    "backup_commands": "cli",
    **dict.fromkeys(("body_limit", "health", "public_address", "request_log", "head_requests"), "app"),
    **dict.fromkeys(("api_description", "late_api", "same_origin", "security_headers", "static_files"), "app"),
    "warming": "app",
    "compression": "deps",  # pages keep some of theirs packed
    "late_routes": "deps",
    "axis_ticks": "charts",
    "control_chart_svg": "charts",
    "difference_panel": "charts",
    "drawn_alone": "charts",
    "fuel_map_svg": "charts",
    "hold_svg": "charts",
    "month_svg": "charts",
    "overlay_svg": "charts",
    "panels": "charts",
    "sheet": "charts",
    "shown_units": "charts",
    "taken_tables": "charts",
    "verdict_words": "charts",
    "json_answers": "error_answers",
}
ALONE = {"sending"}  # runs on another computer: imports nothing of ours, and nothing of ours imports it
BENEATH = {"late_methods"}  # the language itself: standard library alone; anybody may import it
FREE = {"errors", "settings"}  # import nothing of ours; anybody but the innermost parts may import them
INNERMOST = {"runfile", "db", "measure"}
RANK = {part: rank for rank, parts in enumerate(ORDER) for part in parts}

# What a part may not know of, whatever it is called there.
MAY_NOT_IMPORT = {
    "measure": {"fastapi", "starlette", "sqlalchemy", "pydantic", "pandas", "orjson", "jinja2", "plotly", "uvicorn"},
    "runfile": {"fastapi", "starlette", "sqlalchemy", "pydantic", "jinja2", "plotly", "uvicorn"},
    "db": {"fastapi", "starlette", "jinja2", "plotly", "pandas", "scipy", "uvicorn"},
    "shop": {"fastapi", "starlette", "jinja2", "plotly", "uvicorn"},
    "charts": {"fastapi", "starlette", "sqlalchemy", "plotly"},
    "api": {"jinja2", "plotly"},
}
# Heavy, and not every process needs them: loaded where they are used.
LOADED_WHEN_NEEDED = {
    "pandas": "0.3 s and 34 MiB; the first file that arrives loads its reader",
    "fastparquet": "0.3 s, and pandas with it; only what is taken away as Parquet needs it",
    "scipy": "0.7 s and 95 MiB; only rare statistics need it",
    "asammdf": "0.5 s and 90 MiB; only the process that decodes an MDF file needs it",
    "PIL": "14 MB; only a photo of a car needs it",
    "resource": "not every system has it",
    "alembic": "0.2 s; only the migrate command needs it",
    "plotly": "its Python side is 110 MiB; we serve its browser bundle as a file",
    "uvicorn": "only the serve command needs it",
    "psycopg": "only an installation on PostgreSQL has it",
    "venv": "some systems' Python comes without it, and a sentence then says what mends that",
}

SERVICE_FILES = list(files(".py", under=PACKAGE))


def part_of(module: str) -> str:
    """The part a module of ours belongs to."""
    words = module.split(".")
    name = words[1] if len(words) > 1 else ""
    return BELONGS_TO.get(name, name)


@pytest.mark.parametrize("path", SERVICE_FILES, ids=shown)
def test_it_imports_only_what_stands_further_in(path):
    here = part_of(module_name(path))
    if here == "":
        # os, since numpy's threads can be told of before it is loaded, and no later
        assert {name for _, name in imported(path)} <= {"os"}, "the package itself imports nothing more"
        return
    if here in ALONE | BENEATH:
        assert {name.split(".")[0] for _, name in imported(path)} <= set(sys.stdlib_module_names)
        return
    assert here in RANK or here in FREE, f"{shown(path)} belongs to no part: say in ORDER or BELONGS_TO where it stands"
    for line, name in imported(path):
        if name.split(".")[0] != "pullbook" or name == "pullbook":
            continue
        there = part_of(name)
        if there in BENEATH:
            continue
        where = f"{shown(path)}:{line} imports {name}"
        if here in FREE:
            pytest.fail(f"{where}: {here} imports nothing of ours")
        if there in FREE:
            assert here not in INNERMOST, f"{where}: {here} raises kinds of its own"
        elif there != here:
            assert RANK[there] > RANK[here], f"{where}: {there} does not stand further in than {here}"


@pytest.mark.parametrize("path", SERVICE_FILES, ids=shown)
def test_it_does_not_know_of_what_is_not_its_business(path):
    for line, name in imported(path):
        top = name.split(".")[0]
        forbidden = MAY_NOT_IMPORT.get(part_of(module_name(path)), set())
        assert top not in forbidden, f"{shown(path)}:{line}: this part does not know of {top}"


@pytest.mark.parametrize("path", SERVICE_FILES, ids=shown)
def test_its_dataclasses_are_those_whose_methods_wait(path):
    if part_of(module_name(path)) in ALONE | BENEATH:
        return
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.ImportFrom) and node.module == "dataclasses":
            plain = "dataclass" in [name.name for name in node.names]
            assert not plain, f"{shown(path)}:{node.lineno}: the one of pullbook.late_methods starts sooner"


def test_measuring_needs_numpy_and_nothing_else():
    allowed = {"numpy", "pullbook", "scipy"} | set(sys.stdlib_module_names)
    for path in files(".py", under=PACKAGE / "measure"):
        for line, name in imported(path):
            assert name.split(".")[0] in allowed, f"{shown(path)}:{line}: {name}"
            assert name.split(".")[0] not in {"os", "pathlib", "time", "socket", "io"}, f"{shown(path)}:{line}: {name}"


@pytest.mark.parametrize("path", [*SERVICE_FILES, *files(".py", under=HOUSE / "seed_demo")], ids=shown)
def test_it_imports_at_the_top_except_what_is_heavy(path):
    for function in ast.walk(tree(path)):
        if not isinstance(function, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)):
            continue
        for node in ast.walk(function):
            if isinstance(node, (ast.Import, ast.ImportFrom)):
                names = [node.module] if isinstance(node, ast.ImportFrom) else [name.name for name in node.names]
                for name in names:
                    where = f"{shown(path)}:{node.lineno}"
                    assert name.split(".")[0] in LOADED_WHEN_NEEDED, f"{where}: {name} inside a function"


@pytest.mark.parametrize("path", SERVICE_FILES, ids=shown)
def test_it_loads_heavy_packages_only_when_they_are_needed(path):
    for node in ast.walk(tree(path)):
        if not isinstance(node, (ast.Import, ast.ImportFrom)) or node.col_offset:
            continue
        names = [node.module] if isinstance(node, ast.ImportFrom) else [name.name for name in node.names]
        for name in names:
            top = (name or "").split(".")[0]
            assert top not in LOADED_WHEN_NEEDED, f"{shown(path)}:{node.lineno}: {top}: {LOADED_WHEN_NEEDED[top]}"


def test_the_demo_speaks_to_the_service_over_http_alone():
    for path in files(".py", under=HOUSE / "seed_demo"):
        for line, name in imported(path):
            assert name.split(".")[0] != "pullbook", f"{shown(path)}:{line} imports {name}"


def test_a_planted_import_against_the_order_would_be_seen():
    assert RANK["measure"] > RANK["db"] > RANK["shop"] > RANK["api"] == RANK["pages"] > RANK["app"] > RANK["cli"]
    assert part_of("pullbook.shop.filing") == "shop"
    assert part_of("pullbook.overlay_svg") == "charts"
