"""The project's own files, as the house tests look at them."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[2]
PACKAGE = HOUSE / "service" / "pullbook"
FOLDERS = ("service", "migrations", "web", "tests", "seed_demo")
NOT_OURS = ("__pycache__", "egg-info")


def files(*suffixes: str, under: Path = HOUSE) -> Iterator[Path]:
    """Our own files with these endings, below one folder or in the whole house."""
    tops = [HOUSE / name for name in FOLDERS] if under == HOUSE else [under]
    for top in tops:
        for path in sorted(top.rglob("*")):
            if path.is_file() and path.suffix in suffixes and not any(word in str(path) for word in NOT_OURS):
                yield path


def shown(path: Path) -> str:
    """A path as it is written in messages."""
    return path.relative_to(HOUSE).as_posix()


@cache
def tree(path: Path) -> ast.Module:
    """A Python file, parsed."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def module_name(path: Path) -> str:
    """pullbook.db.tables for service/pullbook/db/tables.py."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """(line, dotted name) of everything a file imports, wherever in it."""
    known = {module_name(other) for other in files(".py", under=PACKAGE)}
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield node.lineno, name.name
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            assert node.level == 0, f"{shown(path)}:{node.lineno}: relative imports hide where a name comes from"
            for name in node.names:
                whole = f"{base}.{name.name}"
                yield node.lineno, whole if whole in known else base
