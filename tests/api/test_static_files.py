"""Static files: kept for ever under an address that changes with them, and the chart library packed once."""

import gzip
import re

import brotli
import pytest
from starlette.datastructures import Headers

from pullbook.settings import HOUSE
from pullbook.static_files import StaticPart, plotly_bundle, plotly_version


def test_an_address_with_the_digest_is_kept_for_ever(app, anonymous):
    address = app.state.asset("css/tokens.css")
    assert re.fullmatch(r"/static/[0-9a-f]{12}/css/tokens\.css", address)
    answer = anonymous.get(address)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/css")
    assert "immutable" in answer.headers["cache-control"]
    assert answer.content == (HOUSE / "web/static/css/tokens.css").read_bytes()


def test_an_address_without_it_is_asked_for_again(anonymous):
    answer = anonymous.get("/static/css/tokens.css")
    assert answer.headers["cache-control"] == "no-cache"
    again = anonymous.get("/static/css/tokens.css", headers={"If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_one_changed_letter_is_a_new_address(settings, tmp_path):
    folder = tmp_path / "files"
    folder.mkdir()
    (folder / "a.js").write_text("one")
    before = StaticPart(settings, folder).asset("a.js")
    (folder / "a.js").write_text("two")
    assert StaticPart(settings, folder).asset("a.js") != before


@pytest.mark.parametrize(
    "path",
    ["../templates/frame.html", "..%2f..%2fpyproject.toml", "css/../../templates", "css", "", "none.css", "/etc/passwd",
     "plotly/../../x", "plotly/0.0.0/plotly.min.js", "plotly", "%00", "css/tokens.css/"],
)  # fmt: skip
def test_nothing_else_is_served(anonymous, path):
    assert anonymous.get(f"/static/{path}").status_code == 404


def test_a_link_out_of_the_folder_is_not_followed(settings, tmp_path):
    folder = tmp_path / "files"
    folder.mkdir()
    (tmp_path / "secret.txt").write_text("secret")
    (folder / "way-out.txt").symlink_to(tmp_path / "secret.txt")
    with pytest.raises(Exception, match="404"):
        StaticPart(settings, folder).find("way-out.txt", Headers())


def test_only_reading_is_answered(anonymous):
    assert anonymous.post("/static/css/tokens.css").status_code == 405


def test_the_chart_library_is_packed_as_the_browser_likes_and_once(app, anonymous):
    address = app.state.asset("plotly.min.js")
    assert plotly_version() in address
    original = plotly_bundle().read_bytes()
    with anonymous.stream("GET", address, headers={"Accept-Encoding": "gzip"}) as answer:
        packed = b"".join(answer.iter_raw())
    assert answer.headers["content-encoding"] == "gzip"
    assert "immutable" in answer.headers["cache-control"]
    assert answer.headers["content-type"].startswith("text/javascript")
    assert gzip.decompress(packed) == original
    made = app.state.static.prepare("gz")
    stamp = made.stat().st_mtime_ns
    assert app.state.static.prepare("gz").stat().st_mtime_ns == stamp
    (made.parent / made.name.replace(".gz", ".br")).write_bytes(brotli.compress(original, quality=1))
    with anonymous.stream("GET", address, headers={"Accept-Encoding": "gzip, br"}) as answer:
        packed = b"".join(answer.iter_raw())
    assert answer.headers["content-encoding"] == "br"
    assert brotli.decompress(packed) == original
    plain = anonymous.get(address, headers={"Accept-Encoding": "identity"})
    assert plain.content == original
