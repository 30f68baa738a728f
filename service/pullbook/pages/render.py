"""Templates to pages: the Jinja environment, its few filters, the frame around a page, and the page of a refusal."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import quote, urlencode
from zoneinfo import ZoneInfo

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import HTMLResponse, Response

from pullbook.db.tables import Shop
from pullbook.measure import CHANNELS
from pullbook.measure.correction import STANDARDS
from pullbook.measure.units import UNITS
from pullbook.pages import words
from pullbook.pages.results_style import style_element
from pullbook.pages.results_voice import Voice
from pullbook.pages.told import Frame, Shown
from pullbook.panels import dash, letter, style
from pullbook.settings import HOUSE
from pullbook.shop.signing_in import Person
from pullbook.shown_units import ShownUnits, plain_number

WEB = HOUSE / "web"


@pass_context
def url(context: Context, path: str, **query: Any) -> str:
    """A path as browsers must ask for it, under the service's own path; lists repeat their name, None is left out."""
    pairs = [
        (name, one)
        for name, value in query.items()
        for one in (value if isinstance(value, list | tuple) else [value])
        if one is not None and one != ""
    ]
    root: str = context["frame"].root
    return root + quote(path, safe="/") + (f"?{urlencode(pairs)}" if pairs else "")


@pass_context
def asset(context: Context, path: str) -> str:
    """The address of a file of web/static, or of the chart library, that may be kept for ever."""
    return str(context["frame"].asset_of(path))


@pass_context
def when(context: Context, instant: datetime | None, shape: str = "%a %-d %b %Y, %H:%M") -> str:
    """An instant on the shop's clock: Tue 10 Mar 2026, 09:50."""
    return "" if instant is None else instant.astimezone(ZoneInfo(context["frame"].time_zone)).strftime(shape)


@pass_context
def field_time(context: Context, instant: datetime | None) -> str:
    """An instant as a date-and-time field holds it, on the shop's clock."""
    return when(context, instant, "%Y-%m-%dT%H:%M")


@pass_context
def power(context: Context, value_w: float, decimals: int | None = None) -> str:
    """Watts as the shop shows power, unit included."""
    return str(context["frame"].units.text(value_w, "power", decimals))


@pass_context
def torque(context: Context, value_nm: float, decimals: int | None = None) -> str:
    """Newton metres as the shop shows torque, unit included."""
    return str(context["frame"].units.text(value_nm, "torque", decimals))


@pass_context
def pressure(context: Context, value_kpa: float, decimals: int | None = None) -> str:
    """Kilopascals as the shop shows pressure, unit included."""
    return str(context["frame"].units.text(value_kpa, "pressure", decimals))


@pass_context
def temperature(context: Context, value_c: float, decimals: int | None = None) -> str:
    """Degrees Celsius as the shop shows temperature, unit included."""
    return str(context["frame"].units.text(value_c, "temperature", decimals))


def voice_of(around: Frame) -> Voice:
    """How a customer's page speaks: its language, its units and the shop's clock."""
    return Voice(around.language, around.units, around.time_zone)


@pass_context
def say(context: Context, key: str, **places: Any) -> str:
    """A string of the customer's pages, in the page's language."""
    return voice_of(context["frame"]).say(key, **places)


def standard_title(identifier: str) -> str:
    """A correction standard's title: SAE J1349 (2004) for sae_j1349."""
    return STANDARDS[identifier].title


def number(value: float, decimals: int = 0) -> str:
    """A number for people; the unit is the template's to write beside it."""
    return plain_number(value, decimals)


def age(minutes: float) -> str:
    """How long ago, in words: 12 minutes, 3 h 20 min, 2 days."""
    whole = round(minutes)
    if whole < 60:
        return f"{whole} minute{'' if whole == 1 else 's'}"
    if whole < 48 * 60:
        return f"{whole // 60} h {whole % 60} min"
    return f"{timedelta(minutes=whole).days} days"


def quantity(identifier: str) -> str:
    """A channel's name for people: engine speed for engine_speed_rpm."""
    return CHANNELS[identifier].title if identifier in CHANNELS else identifier


def unit_label(identifier: str) -> str:
    """A unit as people write it: rev/min for rev_min."""
    return UNITS[identifier].label if identifier in UNITS else identifier


def drawing(svg: str) -> Markup:
    """A drawing of our own into the page as it is: overlay_svg and weather_page escape every text they put in."""
    return Markup(svg)  # noqa: S704


def data(json_text: str) -> Markup:
    """JSON that `safe_json` made, inside an inert script element: no letter of it can end the element."""
    return Markup(json_text)  # noqa: S704


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(WEB / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        when=when,
        field_time=field_time,
        power=power,
        torque=torque,
        pressure=pressure,
        temperature=temperature,
        number=number,
        age=age,
        drawing=drawing,
        data=data,
        quantity=quantity,
        unit_label=unit_label,
    )
    made.globals.update(
        url=url, asset=asset, letter=letter, setup_style=style, setup_dash=dash,
        style_of_results=style_element, say=say, voice_of=voice_of, standard_title=standard_title,
        **{name: value for name, value in vars(words).items() if name.endswith("_WORDS")},
    )  # fmt: skip
    return made


TEMPLATES = _environment()


def shop_row(session: Session) -> Shop | None:
    """The shop, once it is set up."""
    return session.execute(select(Shop)).scalar_one_or_none()


def frame(request: Request, shop: Shop | None, person: Person | None, here: str = "") -> Frame:
    """What stands around a page for this person."""
    return Frame(
        root=request.app.state.settings.public_path,
        asset_of=request.app.state.asset,
        here=here,
        shop_name=shop.name if shop else "",
        logo=f"{request.app.state.settings.public_path}/r/logo/{shop.logo_sha256}" if shop and shop.logo_sha256 else "",
        public_origin=request.app.state.settings.public_origin,
        time_zone=shop.time_zone if shop else "UTC",
        units=units_of(shop),
        person_name=person.full_name if person else "",
        role=person.role if person else "",
    )


def units_of(shop: Shop | None) -> ShownUnits:
    """The units the shop shows numbers in."""
    if shop is None:
        return ShownUnits()
    later = (shop.temperature_unit or ShownUnits.temperature, shop.speed_unit or ShownUnits.speed)
    return ShownUnits(shop.power_unit, shop.torque_unit, shop.pressure_unit, *later)


def around_person(request: Request, session: Session, person: Person | None, here: str = "") -> Frame:
    """The frame for somebody, the shop looked up."""
    return frame(request, shop_row(session), person, here)


def draw(around: Frame, page: Shown, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """A page's record drawn by its template."""
    html = TEMPLATES.get_template(page.template).render(frame=around, page=page)
    return HTMLResponse(html, status, headers={"Cache-Control": "no-store", **(headers or {})})
