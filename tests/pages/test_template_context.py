"""What a template is given is a record whose every field says what it holds; templates use all of it and no more."""

import dataclasses
import importlib
import importlib.util
import pkgutil
import re
from pathlib import Path

import pytest
from jinja2 import nodes

from pullbook import pages
from pullbook.pages.render import TEMPLATES, WEB
from pullbook.pages.told import Frame, Shown

for module in pkgutil.iter_modules(pages.__path__, "pullbook.pages."):
    importlib.import_module(module.name)
PAGES = sorted(Shown.__subclasses__(), key=lambda kind: kind.__name__)


def _parsed(template: str) -> nodes.Template:
    return TEMPLATES.parse((WEB / "templates" / template).read_text(encoding="utf-8"))


def _with_parts(template: str) -> set[str]:
    """A template and every part that it includes, or that those include."""
    included = [one.template.value for one in _parsed(template).find_all(nodes.Include)]  # type: ignore[attr-defined]
    return {template}.union(*(_with_parts(part) for part in included))


def _used(template: str, name: str) -> set[str]:
    """Fields that a template, and the parts it includes, ask of `page` or `frame`."""
    found = set()
    for file in _with_parts(template):
        for asked in _parsed(file).find_all(nodes.Getattr):
            if isinstance(asked.node, nodes.Name) and asked.node.name == name:
                found.add(asked.attr)
    return found


@pytest.mark.parametrize("kind", PAGES, ids=lambda kind: kind.__name__)
def test_a_template_uses_the_fields_of_its_record_all_of_them_and_no_other(kind: type[Shown]) -> None:
    assert _used(kind.template, "page") == {field.name for field in dataclasses.fields(kind)}


@pytest.mark.parametrize("kind", [*PAGES, Frame], ids=lambda kind: kind.__name__)
def test_every_field_has_a_line_of_help_and_none_can_be_changed(kind: type) -> None:
    for field in dataclasses.fields(kind):
        help_text = field.metadata.get("help", "")
        assert help_text.endswith("."), f"{kind.__name__}.{field.name} says nothing of itself"
    assert kind.__setattr__ is not object.__setattr__, "frozen"


def test_every_template_is_drawn_by_a_record_or_is_part_of_one_that_is() -> None:
    files = {path.relative_to(WEB / "templates").as_posix() for path in (WEB / "templates").rglob("*.html")}
    drawn = set().union(*(_with_parts(kind.template) for kind in PAGES))
    assert files - drawn == {"frame.html", "marks.html", "archive_marks.html"}


def test_the_frame_knows_what_templates_ask_of_it() -> None:
    known = {field.name for field in dataclasses.fields(Frame)} | {"may_tune", "may_own", "may_write"}
    asked = set().union(
        *(_used(path.relative_to(WEB / "templates").as_posix(), "frame") for path in WEB.rglob("*.html"))
    )
    assert asked <= known


@pytest.mark.parametrize("path", sorted((WEB / "templates").rglob("*.html")), ids=lambda path: path.name)
def test_no_template_switches_escaping_off_or_holds_script_or_style(path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "|safe" not in text.replace(" ", "")
    assert "autoescape" not in text
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text)
    for attributes, inside in re.findall(r"<script([^>]*)>(.*?)</script>", text, flags=re.DOTALL):
        assert "src=" in attributes or 'type="application/json"' in attributes, inside


@pytest.mark.parametrize("path", sorted((WEB / "static" / "js").rglob("*.js")), ids=lambda path: path.name)
def test_a_script_is_a_small_module_that_reads_no_markup_from_values(path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 200
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function", text)


def test_scripts_and_styles_that_pages_name_exist() -> None:
    for path in (WEB / "templates").rglob("*.html"):
        for name in re.findall(r"asset\('([^']+)'\)", path.read_text(encoding="utf-8")):
            assert name == "plotly.min.js" or (WEB / "static" / name).is_file(), f"{path.name} names {name}"


def test_the_chart_librarys_styles_are_those_of_the_installed_version() -> None:
    told = (WEB / "static" / "css" / "plotly.css").read_text(encoding="utf-8").split("\n")[0]
    library = Path(importlib.util.find_spec("plotly").origin).parent / "package_data" / "plotly.min.js"
    with library.open(encoding="utf-8") as file:
        installed = re.search(r"plotly\.js v([\d.]+)", file.read(400)).group(1)
    assert f"plotly.js {installed} " in told, "run tests/browser/dump_chart_styles.py again"
