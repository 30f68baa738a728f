"""A file answers one question and fits a screen or three; a function fits one."""

import ast

import pytest

from tests.house.source_files import HOUSE, files, shown, tree

LINES = 300
TEST_LINES = 400
SCRIPT_LINES = 200
BODY_LINES = 40
# carried to the cell's computer as one file, so it cannot be split
ONE_FILE = {HOUSE / "service" / "pullbook" / "sending" / "cell_sender.py": 450}
PYTHON = [path for path in files(".py") if HOUSE / "migrations" / "versions" not in path.parents]


def _limit(path):
    if path in ONE_FILE:
        return ONE_FILE[path]
    if path.suffix == ".js":
        return SCRIPT_LINES
    return TEST_LINES if HOUSE / "tests" in path.parents else LINES


@pytest.mark.parametrize("path", [*PYTHON, *files(".js", ".css", ".html", under=HOUSE / "web")], ids=shown)
def test_it_is_short_enough_to_be_read_whole(path):
    count = len(path.read_text(encoding="utf-8").splitlines())
    assert count <= _limit(path), f"{shown(path)} has {count} lines; {_limit(path)} would do. Split it by noun or verb"


@pytest.mark.parametrize("path", PYTHON, ids=shown)
def test_each_function_does_one_thing(path):
    for node in ast.walk(tree(path)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            count = body_lines(node)
            assert count <= BODY_LINES, f"{shown(path)}:{node.lineno} {node.name} has {count} lines of body"


def body_lines(function):
    """How many lines a function's body takes, its docstring apart."""
    body = function.body
    first = body[0]
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str):
        body = body[1:]
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


def test_a_docstring_is_not_counted_and_a_body_is():
    function = ast.parse('def f():\n    """One\n\n    two."""\n    a = 1\n\n    return a\n').body[0]
    assert body_lines(function) == 3
