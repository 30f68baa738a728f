"""The foot of a results page: where it stands in the chain, and where anybody can ask about it, by link or code."""

from functools import lru_cache

import segno
from sqlalchemy.orm import Session

from pullbook.late_methods import dataclass
from pullbook.pages.told import Frame
from pullbook.shop.fingerprinting import chain_line

CHECK_PATH = "/r/check"


@dataclass(frozen=True, slots=True)
class ChainFoot:
    """What the page and its paper say of their own entry."""

    entry_number: int
    short: str  # to be typed
    asked_at: str  # the page's address as people read it
    address: str  # that, with all of the fingerprint
    code_svg: str  # the address as a QR code, which paper alone shows


def address_to_ask(around: Frame, fingerprint: str = "") -> str:
    """Where anybody can ask, whole; with a fingerprint, it is asked at once."""
    return f"{around.public_origin}{around.root}{CHECK_PATH}" + (f"?f={fingerprint}" if fingerprint else "")


def chain_foot(session: Session, link_id: str, around: Frame) -> ChainFoot | None:
    """The foot of one link's page; None for what was published before there was a chain."""
    line = chain_line(session, link_id)
    if line is None:
        return None
    address = address_to_ask(around, line.head)
    shown = address_to_ask(around).partition("://")[2]
    return ChainFoot(line.entry_number, line.short, shown, address, _code(address))


@lru_cache(maxsize=512)  # drawing one takes some twenty milliseconds, and it never changes
def _code(address: str) -> str:
    # a reader needs four modules of white around it (ISO/IEC 18004), and paper gets creased: M mends 15 %
    made = segno.make(address, error="m", micro=False, boost_error=False)
    return made.svg_inline(border=4, dark="#000", light="#fff", omitsize=True, svgclass=None, lineclass=None)
