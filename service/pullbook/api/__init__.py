"""JSON under /api/v1, the only way anything is written: one file per noun."""

from fastapi import APIRouter

from pullbook.api import session, shop, staff

ROUTERS: list[APIRouter] = [session.router, staff.router, shop.router]
