"""Drawings as pictures: what is saved from a page needs nothing beside it and is no blank sheet."""

import struct
import zlib
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

SVG = "{http://www.w3.org/2000/svg}"
RUN = {"ran_at": "2026-03-09T15:20:00+01:00", "mass_kg": 1340.0, "distance_m": 402.336, "elapsed_s": 15.9}


@pytest.fixture
def ticket(page_as: Any, tuner: Any, house: Any) -> Any:
    """A ticket's page with one timed run, and so one drawing."""
    told = {"setup_id": house.setup_id, **RUN}
    assert tuner.post(f"/api/v1/tickets/{house.ticket_id}/track-runs", json=told).status_code == 201
    page = page_as("tuner")
    page.goto(f"/tickets/{house.ticket_id}")
    return page


def _saved(page: Any, kind: str) -> Path:
    with page.expect_download() as waited:
        page.get_by_role("button", name=kind, exact=False).first.click()
    return Path(waited.value.path())


def test_a_drawing_saved_as_svg_carries_its_own_styles(ticket: Any) -> None:
    drawn = ElementTree.parse(_saved(ticket, "SVG: rated power")).getroot()
    texts = [one for one in drawn.iter(f"{SVG}text")]
    assert {one.text for one in texts} >= {"A", "runs, by the rule"}
    assert all(one.get("font-family") and one.get("fill").startswith("rgb") for one in texts)
    assert not [one for one in drawn.iter() if one.get("class") or one.get("style")]
    assert any(one.get("width") == "100%" for one in drawn.iter(f"{SVG}rect"))


def test_a_drawing_saved_as_png_is_twice_its_size_and_not_blank(ticket: Any) -> None:
    width, height, colours = _png(_saved(ticket, "PNG: rated power").read_bytes())
    box = ticket.locator("#track-heading ~ figure svg").get_attribute("viewBox").split()
    assert (width, height) == (2 * int(box[2]), 2 * int(box[3]))
    assert len(colours) > 20  # paper, lines, and letters with soft edges


def _png(data: bytes) -> tuple[int, int, set[bytes]]:
    """Width, height and the colours of a PNG of eight bits a channel, unfiltered by hand."""
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    at, packed, head = 8, b"", b""
    while at < len(data):
        (size,), kind = struct.unpack(">I", data[at : at + 4]), data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + size]
        head, packed = (body if kind == b"IHDR" else head), packed + (body if kind == b"IDAT" else b"")
        at += 12 + size
    width, height, depth, colour = struct.unpack(">IIBB", head[:10])
    assert (depth, colour in (2, 6)) == (8, True)
    step = 3 if colour == 2 else 4
    rows, line = zlib.decompress(packed), width * step
    before, colours = bytearray(line), set()
    for number in range(height):
        row = bytearray(rows[number * (line + 1) + 1 : (number + 1) * (line + 1)])
        _unfilter(rows[number * (line + 1)], row, before, step)
        colours |= {bytes(row[place : place + 3]) for place in range(0, line, step)}
        before = row
    return width, height, colours


def _unfilter(kind: int, row: bytearray, above: bytearray, step: int) -> None:
    """One row as it was before the filter of the PNG standard (ISO/IEC 15948, 9.2)."""
    for place in range(len(row)):
        left = row[place - step] if place >= step else 0
        corner = above[place - step] if place >= step else 0
        up = above[place]
        if kind == 4:
            near = min(
                (abs(up - corner), 0, left), (abs(left - corner), 1, up), (abs(left + up - 2 * corner), 2, corner)
            )
            row[place] = (row[place] + near[2]) & 255
        else:
            row[place] = (row[place] + (0, left, up, (left + up) // 2)[kind]) & 255
