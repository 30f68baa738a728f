"""Photos of a car as it came: only what can be seen is kept, and what is no picture never gets in."""

import hashlib
import io
import struct
import zlib
from typing import Any

import pytest
from PIL import Image

GPS, ORIENTATION = 0x8825, 0x0112
HOME = {1: "N", 2: (48.0, 12.0, 30.0), 3: "E", 4: (16.0, 22.0, 12.0)}


def picture(kind: str = "JPEG", size: tuple[int, int] = (640, 400), turn: int | None = None, **more: Any) -> bytes:
    """A picture whose left half is red and whose right half is blue, with the place it was taken at written in."""
    drawn = Image.new("RGB", size, (210, 30, 30))
    drawn.paste((30, 30, 210), (size[0] // 2, 0, *size))
    exif = Image.Exif()
    exif[0x010F] = "A camera of some make"
    exif.get_ifd(GPS).update(HOME)
    if turn is not None:
        exif[ORIENTATION] = turn
    file = io.BytesIO()
    drawn.save(file, kind, exif=exif, **more)
    return file.getvalue()


def send(client: Any, house: Any, data: bytes, name: str = "front left.jpg", **more: Any) -> Any:
    address = f"/api/v1/tickets/{house.ticket_id}/photos"
    told = {"Content-Type": "image/jpeg"}
    return client.post(address, params={"file_name": name, **more}, content=data, headers=told)


def shown(client: Any, photo: dict[str, Any], what: str = "picture") -> Image.Image:
    answer = client.get(f"/api/v1/photos/{photo['id']}/{what}")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    return Image.open(io.BytesIO(answer.content))


def png_header(width: int, height: int) -> bytes:
    """A PNG (ISO/IEC 15948) that says how large it is, and then hardly holds anything."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    packed = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_kept_without_the_place_it_was_taken_at(desk: Any, house: Any, kind: str) -> None:
    data = picture(kind)
    assert Image.open(io.BytesIO(data)).getexif().get_ifd(GPS)[1] == "N"
    answer = send(desk, house, data, caption="front left, before")
    assert answer.status_code == 201, answer.text
    photo = answer.json()
    assert photo["caption"] == "front left, before"
    assert photo["sent_sha256"] == hashlib.sha256(data).hexdigest()
    for what in ("picture", "thumbnail"):
        kept = shown(desk, photo, what)
        assert kept.format == "JPEG"
        assert dict(kept.getexif()) == {}
        assert set(kept.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}
        raw = desk.get(f"/api/v1/photos/{photo['id']}/{what}").content
        assert b"Exif" not in raw
        assert b"camera" not in raw
    whole = desk.get(f"/api/v1/photos/{photo['id']}/picture").content
    assert hashlib.sha256(whole).hexdigest() == photo["sha256"]


# CIPA DC-008 (Exif 2.32), table "Orientation": 6 is turned a quarter, 3 upside down, 2 mirrored
@pytest.mark.parametrize(("turn", "size", "red_at"), [
    (1, (640, 400), (0.1, 0.5)),
    (2, (640, 400), (0.9, 0.5)),
    (3, (640, 400), (0.9, 0.5)),
    (6, (400, 640), (0.5, 0.1)),
    (8, (400, 640), (0.5, 0.9)),
])  # fmt: skip
def test_a_turned_photo_is_kept_upright(desk: Any, house: Any, turn: int, size: Any, red_at: Any) -> None:
    kept = shown(desk, send(desk, house, picture(turn=turn)).json())
    assert kept.size == size
    red, _green, blue = kept.getpixel((int(size[0] * red_at[0]), int(size[1] * red_at[1])))
    assert red > 180
    assert blue < 80


def test_what_a_camera_wrote_oddly_beside_the_turn_does_no_harm(desk: Any, house: Any) -> None:
    # TIFF 6.0, section 2: the width of an image (tag 256) is a whole number, and here it is a text
    sound = picture(turn=6)
    odd = sound.replace(b"\x0f\x01\x02\x00", b"\x00\x01\x02\x00").replace(b"\x01\x0f\x00\x02", b"\x01\x00\x00\x02")
    assert Image.open(io.BytesIO(odd)).getexif()[0x0100] == "A camera of some make"
    answer = send(desk, house, odd)
    assert answer.status_code == 201, answer.text
    assert shown(desk, answer.json()).size == (400, 640)


def test_a_large_photo_is_kept_as_large_as_a_screen_needs_and_as_a_thumbnail(desk: Any, house: Any) -> None:
    photo = send(desk, house, picture(size=(4000, 3000))).json()
    assert (photo["width_px"], photo["height_px"]) == (2400, 1800)
    assert shown(desk, photo).size == (2400, 1800)
    assert shown(desk, photo, "thumbnail").size == (360, 270)


def test_what_can_be_seen_through_is_laid_on_white(desk: Any, house: Any) -> None:
    file = io.BytesIO()
    Image.new("RGBA", (50, 50), (0, 0, 0, 0)).save(file, "PNG")
    kept = shown(desk, send(desk, house, file.getvalue()).json())
    assert min(kept.getpixel((25, 25))) > 250


def test_sixteen_bits_of_grey_keep_their_shades(desk: Any, house: Any) -> None:
    for level in (0, 64, 128, 255):
        file = io.BytesIO()
        Image.new("I;16", (60, 40), level * 257).save(file, "PNG")
        kept = shown(desk, send(desk, house, file.getvalue()).json())
        assert all(abs(part - level) <= 2 for part in kept.getpixel((30, 20))), level


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "CMYK", "YCbCr", "RGBA"])
def test_every_mode_of_a_picture_keeps_what_is_seen(desk: Any, house: Any, mode: str) -> None:
    file = io.BytesIO()
    drawn = Image.new("RGB", (60, 40), "white")
    drawn.paste("black", (0, 0, 30, 40))
    drawn.convert(mode).save(file, "JPEG" if mode in ("CMYK", "YCbCr") else "PNG")
    kept = shown(desk, send(desk, house, file.getvalue()).json())
    assert max(kept.getpixel((10, 20))) < 20
    assert min(kept.getpixel((50, 20))) > 235


@pytest.mark.parametrize(("width", "height"), [(50_000, 50_000), (10_000, 8_000), (12_000, 12_000), (2**31 - 1, 1),
                                              (1, 64_000_000), (40_000, 1000)])  # fmt: skip
def test_a_picture_of_too_many_pixels_is_refused_before_it_is_unpacked(
    desk: Any, house: Any, width: int, height: int
) -> None:
    answer = send(desk, house, png_header(width, height))
    assert answer.status_code == 422, answer.text
    assert answer.json()["problems"][0]["field"] == "body"
    assert "pixels" in answer.json()["problems"][0]["would_do"]


TRUNCATED = picture()[: len(picture()) // 2]
REFUSED = {
    "a drawing with a script": (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', 415),
    "a page": (b"<!doctype html><script>alert(1)</script>" + bytes(5000), 415),
    "an animation": (b"GIF89a" + bytes(50), 415),
    "a telephone's own format": (b"\0\0\0\x18ftypheic" + bytes(50), 415),
    "a run file": (b"time;speed\n0;1\n", 415),
    "a program": (b"MZ" + bytes(5000), 415),
    "a cut-off picture": (TRUNCATED, 422),
    "only a beginning": (b"\xff\xd8\xff\xe0", 422),
    "a page that begins like a picture": (b"\xff\xd8\xff<html><script>alert(1)</script>", 422),
    "a damaged PNG": (png_header(640, 400), 422),
    "half a WebP": (picture("WEBP")[:60], 422),
    "nothing": (b"", 422),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_whole_picture_is_refused_in_words_and_nothing_is_kept(desk: Any, house: Any, name: str) -> None:
    data, status = REFUSED[name]
    answer = send(desk, house, data)
    assert answer.status_code == status, answer.text
    assert answer.json()["problems"][0]["would_do"]
    assert desk.get(f"/api/v1/tickets/{house.ticket_id}/photos").json()["items"] == []


def test_what_hides_behind_a_picture_is_not_kept(desk: Any, house: Any) -> None:
    photo = send(desk, house, picture(comment=b"<script>1</script>") + b"PK\x03\x04<script>alert(1)</script>").json()
    for what in ("picture", "thumbnail"):
        assert b"script" not in desk.get(f"/api/v1/photos/{photo['id']}/{what}").content


def test_more_bytes_than_a_photo_has_are_refused(desk: Any, house: Any) -> None:
    answer = send(desk, house, picture() + bytes(32 * 1024 * 1024))
    assert answer.status_code == 413


def test_the_same_picture_is_on_a_ticket_once(desk: Any, house: Any) -> None:
    first, second = send(desk, house, picture()), send(desk, house, picture(), name="again.jpg")
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()


def test_a_photo_set_aside_stays_with_its_reason_and_can_come_back(owner: Any, house: Any, now: Any) -> None:
    photo = send(owner, house, picture()).json()
    address = f"/api/v1/photos/{photo['id']}/set-aside"
    aside = owner.post(address, json={"reason": "another customer's car"})
    assert aside.status_code == 201, aside.text
    assert aside.json()["set_aside_reason"] == "another customer's car"
    assert aside.json()["set_aside_at"] == now.value.isoformat()
    assert owner.post(address, json={"reason": "again"}).status_code == 409
    assert shown(owner, photo).size == (640, 400)
    assert owner.delete(address).json()["set_aside_at"] is None
    entries = owner.get("/api/v1/audit", params={"record": "photo"}).json()["items"]
    assert [entry["action"] for entry in entries if entry["record"] == "photo"] == ["take_back", "set_aside", "add"]


def test_nobody_who_only_reads_adds_a_photo_and_a_stranger_sees_none(client_for: Any, desk: Any, house: Any) -> None:
    reader, stranger = client_for("read_only"), client_for()
    photo = send(desk, house, picture()).json()
    assert send(reader, house, picture()).status_code == 403
    assert reader.get(f"/api/v1/photos/{photo['id']}/thumbnail").status_code == 200
    assert stranger.get(f"/api/v1/photos/{photo['id']}/thumbnail").status_code == 401
