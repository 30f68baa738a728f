"""HTML for people: pages read, never write. Every change goes from the browser through the API."""

from pullbook.pages import cell, desk, owner, results, shop_pages, tray_page
from pullbook.pages.refusals import error_page

ROUTERS = (desk.router, cell.router, owner.router, shop_pages.router, tray_page.router, results.router)

__all__ = ["ROUTERS", "error_page"]
