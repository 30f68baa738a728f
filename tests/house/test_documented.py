"""What the documents tell is what the code has: nothing left out, and nothing that is gone."""

import re

import pytest

from tests.house.source_files import HOUSE
from tests.house.told_tables import (
    DEVELOPERS,
    README,
    as_rows,
    commands,
    pages,
    quantities,
    routes,
    rows_under,
    settings,
    standards,
)


def _compare(told, there):
    missing = {name: cells for name, cells in there.items() if name not in told}
    assert not missing, f"not told:\n{as_rows(missing)}"
    gone = {name: cells for name, cells in told.items() if name not in there}
    assert not gone, f"told, and not there:\n{as_rows(gone)}"


def test_every_setting_is_told_with_its_default_and_its_line_of_help():
    told, there = rows_under(README, "Settings"), settings()
    _compare(told, there)
    for name, (default, words) in there.items():
        assert told[name] == [default, words], f"as the code has it:\n{as_rows({name: [default, words]})}"


def test_every_route_is_told_with_who_may(app):
    told, there = rows_under(DEVELOPERS, "Routes"), routes(app)
    _compare(told, there)
    for name, cells in there.items():
        assert told[name][0] == cells[0], f"as the code has it:\n{as_rows({name: cells})}"


def test_every_page_is_told(app):
    _compare(rows_under(DEVELOPERS, "Pages"), pages(app))


def test_every_command_is_told():
    from pullbook.cli import _parser

    _compare(rows_under(DEVELOPERS, "Commands"), commands(_parser()))


def test_every_standard_is_told():
    told, there = rows_under(DEVELOPERS, "Standards"), standards()
    _compare(told, there)
    for name, cells in there.items():
        assert told[name][0] == cells[0], f"as the code has it:\n{as_rows({name: cells})}"


def test_every_quantity_is_told():
    told, there = rows_under(DEVELOPERS, "Quantities"), quantities()
    _compare(told, there)
    for name, cells in there.items():
        assert told[name][1] == cells[1], f"as the code has it:\n{as_rows({name: cells})}"


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_file_that_is_named_is_there(document):
    text = document.read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:service|migrations|web|tests|seed_demo|\.ci)/[\w./-]*)`", text))
    named |= {path for path in re.findall(r"\]\(([^)#:]+)\)", text)}
    assert len(named) >= 5
    for path in named:
        assert (HOUSE / path).exists(), f"{document.name} names {path}"


def test_the_job_comes_first_then_a_picture_then_the_two_commands():
    text = README.read_text(encoding="utf-8")
    title, job, *rest = re.split(r"\n\n+", text)
    assert title.startswith("# ")
    assert 40 <= len(job.split()) <= 160
    assert not job.startswith(("#", "!", "```"))
    picture, first, second = (text.index(mark) for mark in ("![", "python3 seed_demo/run.py", "python3 tests/run.py"))
    assert len(title) + len(job) < picture < first < second
    assert rest[0].startswith("!")
