"""HTML for people: pages read, never write. Every change goes from the browser through the API."""

from pullbook.pages import account_page, audit_page, cell, desk, fuel_map_page, owner, results, shop_pages, tray_page
from pullbook.pages.refusals import error_page

ROUTERS = tuple(
    part.router for part in (desk, account_page, cell, fuel_map_page, owner, shop_pages, tray_page, audit_page, results)
)

__all__ = ["ROUTERS", "error_page"]
