"""HTML for people: pages read, never write. Every change goes from the browser through the API."""

from pullbook.pages import (
    account_page,
    archive_page,
    audit_page,
    calibration_page,
    cell,
    charges_shown,
    check_page,
    desk,
    fuel_map_page,
    job_sheet,
    keeping_page,
    links_page,
    logo,
    month_page,
    new_ticket,
    owner,
    publish_page,
    reference_page,
    results,
    shop_pages,
    shop_texts,
    tray_page,
)
from pullbook.pages.check_kept import KeptChecks
from pullbook.pages.refusals import error_page
from pullbook.pages.results_kept import KeptPages

_PARTS = (
    desk,
    new_ticket,
    charges_shown,
    account_page,
    cell,
    fuel_map_page,
    job_sheet,
    owner,
    calibration_page,
    reference_page,
    shop_pages,
    shop_texts,
    month_page,
    tray_page,
    audit_page,
    keeping_page,
    archive_page,
    publish_page,
    links_page,
    logo,
    check_page,
    results,
)
ROUTERS = tuple(part.router for part in _PARTS)

__all__ = ["ROUTERS", "KeptChecks", "KeptPages", "error_page"]
