"""The shop's own picture: sent, drawn anew, shown to customers, and taken away."""

import hashlib
import io

from PIL import Image

from tests.api.pull_files import Steady, filed
from tests.furnishing import made


def letterhead(size=(1600, 400), kind="PNG", **told):
    kept = io.BytesIO()
    Image.new("RGBA" if kind == "PNG" else "RGB", size, (10, 60, 120)).save(kept, kind, **told)
    return kept.getvalue()


def set_logo(owner, data, kind="image/png"):
    return owner.post("/api/v1/shop/logo", content=data, headers={"Content-Type": kind})


def test_it_is_drawn_anew_and_small_enough_for_a_letterhead(owner, anonymous):
    exif = Image.Exif()
    exif[0x010E] = "taken at home"
    kept = made(set_logo(owner, letterhead(kind="JPEG", exif=exif), "image/jpeg"))
    assert (kept["width_px"], kept["height_px"]) == (640, 160)
    png = anonymous.get(f"/r/logo/{kept['sha256']}")
    assert png.headers["content-type"] == "image/png"
    assert hashlib.sha256(png.content).hexdigest() == kept["sha256"]
    assert b"taken at home" not in png.content
    assert Image.open(io.BytesIO(png.content)).size == (640, 160)


def test_customers_and_papers_show_it_until_it_is_taken_away(owner, house, anonymous):
    pull = filed(owner, house, Steady().csv())
    link = made(
        owner.post(
            f"/api/v1/tickets/{house.ticket_id}/results-links",
            json={"pull_ids": [pull["id"]], "standard": "iso_1585"},
        )
    )
    address = "/r/" + link["url"].rsplit("/r/", 1)[1]
    pages = (address, f"/tickets/{house.ticket_id}/job-sheet", f"/tickets/{house.ticket_id}/statement", "/shop")
    assert not any("/r/logo/" in owner.get(page).text for page in pages)
    kept = made(set_logo(owner, letterhead()))
    assert [page for page in pages if f"/r/logo/{kept['sha256']}" not in owner.get(page).text] == []
    assert owner.delete("/api/v1/shop/logo").status_code == 204
    assert not any("/r/logo/" in owner.get(page).text for page in pages)
    assert anonymous.get(f"/r/logo/{kept['sha256']}").status_code == 404


def test_what_is_no_picture_is_refused_and_the_old_one_stays(owner):
    kept = made(set_logo(owner, letterhead()))
    assert set_logo(owner, b"<svg xmlns='http://www.w3.org/2000/svg'/>", "image/svg+xml").status_code == 415
    assert set_logo(owner, letterhead()[:80]).status_code == 422
    assert kept["sha256"] in owner.get("/shop").text
