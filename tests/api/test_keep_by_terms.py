"""What is due by the shop's own terms: customers long away, photos past their time, pictures that nobody shows."""

import hashlib
import io

import sqlalchemy as sa
from PIL import Image

from pullbook.db.arrival import Picture
from pullbook.db.connect import connect
from pullbook.shop.erasing import drop_pictures_of_nobody
from tests.api.forgetting import all_text, erase
from tests.furnishing import CUSTOMER, OWNER, START, made, sign_in


def test_nobody_is_due_before_the_shop_sets_a_term(owner, house):
    told = owner.get("/api/v1/keeping").json()
    assert told == {
        "keep_customers_months": None,
        "keep_photos_months": None,
        "customers": [],
        "more_customers": False,
        "photos": 0,
    }


def test_those_longer_away_than_the_term_are_due(owner, house, now):
    shop = owner.get("/api/v1/shop").json()
    assert owner.put("/api/v1/shop", json={**shop, "keep_customers_months": 24}).status_code == 200
    made(owner.post("/api/v1/customers", json={**CUSTOMER, "full_name": "Never Came"}))
    assert owner.get("/api/v1/keeping").json()["customers"] == []
    now.advance(days=31 * 24)
    sign_in(owner, OWNER)
    found = owner.get("/api/v1/keeping").json()["customers"]
    assert {one["full_name"] for one in found} == {CUSTOMER["full_name"], "Never Came"}
    assert erase(owner, house, CUSTOMER["full_name"]).status_code == 200
    assert [one["full_name"] for one in owner.get("/api/v1/keeping").json()["customers"]] == ["Never Came"]


def test_photos_past_their_term_go_and_younger_ones_stay(owner, house, now):
    shop = owner.get("/api/v1/shop").json()
    assert owner.put("/api/v1/shop", json={**shop, "keep_photos_months": 6}).status_code == 200
    address = f"/api/v1/tickets/{house.ticket_id}/photos?file_name=car.png"
    made(owner.post(address, content=drawing("teal"), headers={"Content-Type": "image/png"}))
    now.advance(days=31 * 6)
    sign_in(owner, OWNER)
    young = made(owner.post(address, content=drawing("navy"), headers={"Content-Type": "image/png"}))
    assert owner.get("/api/v1/keeping").json()["photos"] == 1
    assert owner.delete("/api/v1/keeping/photos").json() == {"photos": 1}
    left = owner.get(f"/api/v1/tickets/{house.ticket_id}/photos").json()["items"]
    assert [one["id"] for one in left] == [young["id"]]


def test_what_was_said_of_a_photo_goes_with_it(owner, house, now, settings):
    shop = owner.get("/api/v1/shop").json()
    assert owner.put("/api/v1/shop", json={**shop, "keep_photos_months": 6}).status_code == 200
    address = f"/api/v1/tickets/{house.ticket_id}/photos?file_name=car.png&caption=Valdaquist beside it"
    made(owner.post(address, content=drawing("teal"), headers={"Content-Type": "image/png"}))
    now.advance(days=31 * 6 + 1)
    sign_in(owner, OWNER)
    assert owner.delete("/api/v1/keeping/photos").json() == {"photos": 1}
    assert "Valdaquist" not in all_text(settings)


def test_pictures_go_however_many_there_are(settings):
    records = connect(settings.database_url)
    # more than the 65 535 values that one statement of PostgreSQL takes (its protocol counts them in 16 bits)
    hashes = {hashlib.sha256(number.to_bytes(4)).hexdigest() for number in range(66_000)}
    kept = next(iter(hashes))
    sides = {"width_px": 1, "height_px": 1, "jpeg": b"x", "thumbnail": b"x"}
    with records.writing() as session:
        session.add(Picture(sha256=kept, made_at=START, **sides))
        session.flush()
        drop_pictures_of_nobody(session, hashes)
        assert session.scalars(sa.select(Picture.sha256)).all() == []
    records.close()


def drawing(colour):
    """A small picture all of one colour, as PNG."""
    kept = io.BytesIO()
    Image.new("RGB", (64, 48), colour).save(kept, "PNG")
    return kept.getvalue()
