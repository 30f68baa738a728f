"""A drawing on its own: the server's SVG with its colours and letters inside it, for paper or a dark screen."""

import re
from functools import cache
from html import escape

from pullbook.settings import HOUSE

SHEETS = ("light", "dark")
SVG_TYPE = "image/svg+xml"
# It may style itself and do nothing else, wherever it is opened.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox; frame-ancestors 'none'"
_CSS = HOUSE / "web" / "static" / "css"
_STYLED_BY = ("chart.css", "compare.css")
_TOKEN = re.compile(r"(--[\w-]+):\s*([^;]+);")
_RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")
_SIMPLE = re.compile(r"(text|rect|path|circle)?((?:\.[\w-]+)*)")
_OPENING = re.compile(r'<svg viewBox="0 0 (\d+) (\d+)" width="\d+" height="\d+"')
_FOOT = 24


def alone(svg: str, foot: str, sheet: str = "light") -> str:
    """The drawing on its sheet with one `<style>`, and beneath it a line of what it shows and by which standard.

    `svg`: as `overlay_svg` makes it; an empty string stays one. `sheet`: light or dark.
    """
    if not svg:
        return ""
    found = _OPENING.match(svg)
    if found is None:
        raise ValueError("this is no drawing of ours")
    width, height = int(found.group(1)), int(found.group(2))
    opening = f'<svg viewBox="0 0 {width} {height + _FOOT}" width="{width}" height="{height + _FOOT}"'
    inside = svg[found.end() :].removesuffix("</svg>")
    at = inside.index(">") + 1
    classes = frozenset(word for words in re.findall(r'class="([^"]*)"', svg) for word in words.split())
    style = f"<style>{drawing_css(sheet, classes | {'tick-label'})}</style>"
    paper = '<rect width="100%" height="100%" class="sheet"/>'
    said = f'<text class="tick-label" x="8" y="{height + 14}">{escape(foot)}</text>'
    return f"{opening}{inside[:at]}{style}{paper}{inside[at:]}{said}</svg>"


@cache
def drawing_css(sheet: str, classes: frozenset[str]) -> str:
    """The rules that speak of these classes inside a drawing, every colour and size written out."""
    tokens = _tokens("tokens.css") | (_tokens("tokens-dark.css") if sheet == "dark" else {})
    found = [f".sheet{{fill:{tokens['--sheet']}}}"]
    for name in _STYLED_BY:
        for selectors, rules in _RULE.findall(_bare(name).split("@media")[0]):
            wanted = [one.strip().removeprefix(".chart ").strip() for one in selectors.split(",")]
            if chosen := ",".join(one for one in wanted if _speaks_of(one, classes)):
                found.append(f"{chosen}{{{_filled(rules.strip(), tokens)}}}")
    return "".join(found)


def _speaks_of(selector: str, classes: frozenset[str]) -> bool:
    simple = _SIMPLE.fullmatch(selector)
    return bool(selector) and simple is not None and set(simple.group(2).split(".")[1:]) <= classes


def _bare(name: str) -> str:
    return re.sub(r"/\*.*?\*/", "", (_CSS / name).read_text(encoding="utf-8"), flags=re.DOTALL)


def _tokens(name: str) -> dict[str, str]:
    return {token: value.strip() for token, value in _TOKEN.findall(_bare(name))}


def _filled(rules: str, tokens: dict[str, str]) -> str:
    return re.sub(r"var\((--[\w-]+)\)", lambda found: tokens[found.group(1)], rules)
