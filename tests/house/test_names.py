"""Names that say what is inside, no name twice, and no words that do not belong."""

import re
from collections import Counter

import pytest

from tests.house.source_files import HOUSE, NOT_OURS, PACKAGE, files, shown

SAYS_NOTHING = {"utils", "util", "helpers", "helper", "common", "core", "base", "misc", "lib", "manager", "stuff"}
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "service",
    "migrations",
    "web",
    "tests",
    "seed_demo",
    "docker-compose.yml",
}
TEXT = (".py", ".md", ".toml", ".yml", ".html", ".css", ".js", ".sql", ".txt", ".csv", ".mako")
# each is cut in two here, so that this file does not hold what it looks for
DOES_NOT_BELONG = [
    part.replace("|", "")
    for part in (
        "py|pi.org",
        "pythonhosted|.org",
        "npm|js.org",
        "proxy.golang|.org",
        "/|work/",
        "/|root/",
        "/|home/",
        "C:|\\Users",
        "language |model",
    )
]


def test_no_two_files_of_the_service_share_a_name():
    names = Counter(path.name for path in files(".py", under=PACKAGE) if path.name != "__init__.py")
    assert {name for name, count in names.items() if count > 1} == set()


def test_no_two_scripts_share_a_name():
    names = Counter(path.name for path in files(".js", under=HOUSE / "web"))
    assert {name for name, count in names.items() if count > 1} == set()


def test_no_file_or_folder_has_a_name_that_refuses_nothing():
    for top in ("service", "migrations", "web", "seed_demo", "tests"):
        for path in (HOUSE / top).rglob("*"):
            if not any(word in str(path) for word in NOT_OURS):
                assert path.stem.lower() not in SAYS_NOTHING, f"{shown(path)}: name it after what is inside"


def test_the_web_folder_holds_no_python():
    assert list(files(".py", under=HOUSE / "web")) == []


def test_no_module_hides_one_of_the_standard_library():
    import sys

    for path in files(".py", under=PACKAGE):
        clash = path.stem in sys.stdlib_module_names
        assert not clash or path.stem.startswith("__"), f"{shown(path)} has the name of a standard module"


def test_the_top_level_holds_what_it_should():
    here = {path.name for path in HOUSE.iterdir() if not path.name.startswith(".")}
    assert here - TOP_LEVEL == set()
    assert TOP_LEVEL - here == set()


def _texts():
    top = ("README.md", "DEVELOPERS.md", "pyproject.toml", "docker-compose.yml")
    return [*files(*TEXT), *(HOUSE / name for name in top)]


@pytest.mark.parametrize("path", [path for path in _texts() if path.exists()], ids=shown)
def test_it_holds_no_words_that_belong_to_one_machine(path):
    text = path.read_text(encoding="utf-8", errors="replace")
    for word in DOES_NOT_BELONG:
        assert word.lower() not in text.lower(), f"{shown(path)} says {word}"


def test_tests_are_named_as_rules():
    for path in files(".py", under=HOUSE / "tests"):
        for name in re.findall(r"^ *(?:async )?def (test_\w+)\(", path.read_text(encoding="utf-8"), re.MULTILINE):
            assert name.count("_") >= 3, f"{shown(path)}: {name} is not a sentence"
