"""The cell's pages: a ticket, a comparison, one pull, its channel map, the weather."""

from dataclasses import replace
from io import BytesIO
from typing import Annotated, Any

import segno
from fastapi import Body, Query, Request
from starlette.responses import Response

from pullbook.deps import Now, PagePerson, ReadSession, SettingsDep
from pullbook.errors import FieldProblem, Invalid, NotFound
from pullbook.late_routes import LateRouter
from pullbook.measure.correction import STANDARDS
from pullbook.pages.cell_shown import ChannelMapPage
from pullbook.pages.compare_page import Address, read_comparison
from pullbook.pages.comparison_csv import csv_of
from pullbook.pages.judging_asked import Typed, asked_of
from pullbook.pages.mixture_shown import lag_asked
from pullbook.pages.pull_page import read_pull_page
from pullbook.pages.render import around_person, draw, frame, shop_row, units_of
from pullbook.pages.ticket_page import read_ticket, saved_maps
from pullbook.pages.weather_page import read_weather
from pullbook.shop.comparing import compare
from pullbook.shop.reading import ReadSettings, read_pulls

router = LateRouter(include_in_schema=False)

PullIds = Annotated[list[str], Query(alias="pull_id", max_length=60)]
WindowText = Annotated[str, Query(alias="window_s", max_length=20)]
LagText = Annotated[str, Query(max_length=20)]
Step = Annotated[float, Query(ge=10, le=500)]
SpeedText = Annotated[str, Query(max_length=20)]
FALLBACK_STANDARD = "iso_1585"


def read_settings(
    shop: Any, settings: SettingsDep, standard: str | None = None, window: str = "", step_rpm: float = 50.0
) -> ReadSettings:
    """How the address wants pulls read; an empty window is chosen from the data. Invalid for what will not do."""
    wanted = standard or (shop.default_standard if shop else FALLBACK_STANDARD)
    if wanted not in STANDARDS:
        raise Invalid(f"There is no standard {wanted!r}.", FieldProblem("standard", wanted, ", ".join(STANDARDS)))
    try:
        window_s = float(window.replace(",", ".")) if window.strip() else None
    except ValueError:
        raise Invalid(
            "The window is no number; seconds, like 0.6, would do.",
            FieldProblem("window_s", window, "seconds, like 0.6"),
        ) from None
    if window_s is not None and not 0.01 <= window_s <= 20:
        raise Invalid(
            "The window is out of reach; 0.01 to 20 seconds would do.",
            FieldProblem("window_s", window, "0.01 to 20 seconds"),
        )
    return ReadSettings(wanted, window_s, step_rpm, settings.weather_stale_minutes)


@router.get("/tickets/{ticket_id}")
def ticket(
    request: Request, ticket_id: str, session: ReadSession, person: PagePerson, now: Now, settings: SettingsDep
) -> Response:
    """One job: customer and car, steps, setups, pulls, links."""
    shop = shop_row(session)
    page = read_ticket(session, ticket_id, now, read_settings(shop, settings), units_of(shop))
    return draw(frame(request, shop, person), page)


@router.get("/compare")
def comparison(
    request: Request,
    session: ReadSession,
    person: PagePerson,
    settings: SettingsDep,
    pull_id: PullIds = [],  # noqa: B006
    standard: str | None = None,
    window_s: WindowText = "",
    step_rpm: Step = 50.0,
    ticket_id: Annotated[str, Query(max_length=20)] = "",
    also: Annotated[str, Query(max_length=60)] = "",
    band_low_rpm: SpeedText = "",
    band_high_rpm: SpeedText = "",
    worth_pct: SpeedText = "",
) -> Response:
    """Chosen pulls over each other; the address holds the whole choice."""
    shop = shop_row(session)
    reading = read_settings(shop, settings, standard, window_s, step_rpm)
    address = Address(ticket_id, also, Typed(band_low_rpm, band_high_rpm, worth_pct))
    page = read_comparison(session, pull_id, reading, units_of(shop), address)
    return draw(frame(request, shop, person), page)


@router.get("/compare.csv")
def comparison_csv(
    session: ReadSession,
    person: PagePerson,
    settings: SettingsDep,
    pull_id: PullIds,
    standard: str | None = None,
    window_s: WindowText = "",
    step_rpm: Step = 50.0,
    band_low_rpm: SpeedText = "",
    band_high_rpm: SpeedText = "",
    worth_pct: SpeedText = "",
) -> Response:
    """The same comparison for a spreadsheet, in the shop's units."""
    shop = shop_row(session)
    reading = read_settings(shop, settings, standard, window_s, step_rpm)
    found = compare(session, pull_id, reading, asked_of(Typed(band_low_rpm, band_high_rpm, worth_pct)))
    name = f"ticket-{found.ticket.number}-{found.standard}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response("\ufeff" + csv_of(found, units_of(shop)), media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/pulls/{pull_id}")
def pull(
    request: Request,
    pull_id: str,
    session: ReadSession,
    person: PagePerson,
    settings: SettingsDep,
    standard: str | None = None,
    window_s: WindowText = "",
    lag_s: LagText = "",
) -> Response:
    """One pull in depth, flags first, with everything it was made from."""
    shop = shop_row(session)
    wanted = replace(read_settings(shop, settings, standard, window_s), lambda_lag_s=lag_asked(lag_s))
    page = read_pull_page(session, pull_id, wanted, units_of(shop))
    return draw(frame(request, shop, person), page)


@router.get("/pulls/{pull_id}/channel-map")
def channel_map(
    request: Request, pull_id: str, session: ReadSession, person: PagePerson, settings: SettingsDep
) -> Response:
    """Say which column of a file is what, and see at once what comes of it."""
    shop = shop_row(session)
    found = read_pulls(session, [pull_id], read_settings(shop, settings))[0]
    return draw(frame(request, shop, person), ChannelMapPage(pull=found, maps=saved_maps(session), joined=None))


@router.get("/pulls/{pull_id}/joined-files/{joined_id}/channel-map")
def joined_channel_map(
    request: Request, pull_id: str, joined_id: str, session: ReadSession, person: PagePerson, settings: SettingsDep
) -> Response:
    """Say which column of a joined file is what."""
    shop = shop_row(session)
    found = read_pulls(session, [pull_id], read_settings(shop, settings))[0]
    joined = next((one.facts for one in found.joined if one.facts.id == joined_id), None)
    if joined is None:
        raise NotFound(f"There is no joined file {joined_id} on this pull.")
    return draw(frame(request, shop, person), ChannelMapPage(pull=found, maps=saved_maps(session), joined=joined))


@router.get("/weather")
def weather(request: Request, session: ReadSession, person: PagePerson, now: Now) -> Response:
    """Every cell's air, and a new reading."""
    around = around_person(request, session, person, "weather")
    return draw(around, read_weather(session, now, around.time_zone, around.units))


@router.post("/qr")
def qr(person: PagePerson, settings: SettingsDep, text: Annotated[str, Body(embed=True, max_length=400)]) -> Response:
    """A results link as a QR code, to be held under a phone. Changes nothing; the link is in the body, so in no log."""
    if not text.startswith((f"{settings.public_url}/r/", "otpauth://totp/")):
        raise Invalid(
            "Only results links are drawn.", FieldProblem("text", "(not shown)", f"{settings.public_url}/r/…")
        )
    code = segno.make(text, error="m", micro=False)
    drawn = BytesIO()
    code.save(drawn, kind="svg", xmldecl=False, border=4, dark="#000", light="#fff", title="QR code", omitsize=True)
    return Response(drawn.getvalue(), media_type="image/svg+xml", headers={"Cache-Control": "no-store"})
