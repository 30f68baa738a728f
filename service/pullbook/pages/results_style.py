"""The customer's stylesheet, written into the page itself: one answer paints it, nothing else is waited for.

It is put together from the same files that the other pages link, so a colour changes in one place. The content policy
of that one answer names it by its digest; nothing else on the page may bring styles of its own.
"""

import hashlib
import re
from base64 import b64encode
from functools import cache

from markupsafe import Markup

from pullbook.settings import HOUSE

CSS = HOUSE / "web" / "static" / "css"
# file → the medium its rules are for; in the order in which the other pages link them
PARTS = (
    ("tokens.css", ""),
    ("tokens-dark.css", "screen and (prefers-color-scheme:dark)"),
    ("sheet.css", ""),
    ("chart.css", ""),
    ("results.css", ""),
    ("print.css", "print"),
)
# Narrower than the book's: nothing on this page is typed, framed or fetched but its own icon, script and its count.
POLICY = (
    "default-src 'none'; style-src {style}; script-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action {forms}; frame-ancestors 'none'"
)


def packed(css: str) -> str:
    """The same rules without comments and without white space that says nothing."""
    bare = re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)
    return re.sub(r" ?([{};,]) ?", r"\1", re.sub(r"\s+", " ", bare)).strip().replace(";}", "}")


@cache
def results_css() -> str:
    """Every rule of the customer's page, for its screen and its paper."""
    found = []
    for name, medium in PARTS:
        rules = packed((CSS / name).read_text(encoding="utf-8"))
        found.append(f"@media {medium}{{{rules}}}" if medium else rules)
    return "".join(found)


def style_element() -> Markup:
    """`<style>` for the page's head. Its text is our own files' and holds no `<`, which a test sees to."""
    return Markup(f"<style>{results_css()}</style>")  # noqa: S704


@cache
def customer_headers(forms: bool = False) -> dict[str, str]:
    """What goes with every page of a customer: no search engine, no referrer, and this one stylesheet by its digest.

    `forms`: whether the page has a form, which is sent to this service alone. Where nothing may be told of the page a
    form came from, browsers give its origin as "null", and it could not be told from another site's: so such a page
    lets itself be named to this service, and to no other.
    """
    digest = b64encode(hashlib.sha256(results_css().encode()).digest()).decode()
    return {
        "X-Robots-Tag": "noindex, nofollow, noarchive",
        "Referrer-Policy": "same-origin" if forms else "no-referrer",
        # Keeping apart from an opener makes the browser start a process first, 60 to 100 ms; nothing here is signed in.
        "Cross-Origin-Opener-Policy": "unsafe-none",
        "Content-Security-Policy": POLICY.format(style=f"'sha256-{digest}'", forms="'self'" if forms else "'none'"),
    }
