"""A page anybody may ask: whether this shop published what has this fingerprint, when, and whether it was amended."""

from typing import ClassVar

from fastapi import Request
from starlette.responses import Response

from pullbook.deps import Now, ReadSession, SettingsDep, client_address
from pullbook.errors import TooMany
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.chain_foot import CHECK_PATH
from pullbook.pages.check_kept import KeptChecks
from pullbook.pages.render import draw, shop_row
from pullbook.pages.results_door import customer_frame
from pullbook.pages.results_style import customer_headers
from pullbook.pages.told import Shown, told
from pullbook.shop.fingerprinting import Checked, checked, link_behind, read_fingerprint

router = LateRouter(include_in_schema=False)
LONGEST = 200


@dataclass(frozen=True)
class CheckPage(Shown):
    """A fingerprint is asked for, or answered."""

    template: ClassVar[str] = "results/check.html"
    typed: str = told("What was typed, to be seen again.")
    state: str = told("empty, mistyped, wait, unknown, as_published, amended or replaced.")
    found: Checked | None = told("When it was published; None where it was not.")


@router.get(CHECK_PATH)
def check(
    request: Request,
    session: ReadSession,
    settings: SettingsDep,
    now: Now,
    f: str = "",
) -> Response:
    """Whether it was published here, when, and whether it was amended since; nothing else of it.

    Each fingerprint that was typed whole costs its address one try, whatever the answer.
    """
    typed, found = f.strip()[:LONGEST], None
    state = "empty" if not typed else "mistyped" if read_fingerprint(typed) is None else "unknown"
    headers = {**customer_headers(forms=True), "Referrer-Policy": "no-referrer"}
    if state == "unknown":
        try:
            request.app.state.guesses.miss(client_address(request), now)
        except TooMany as error:
            state, headers["Retry-After"] = "wait", str(error.retry_after_s)
        else:
            link_id = link_behind(session, typed)
            if link_id is not None:
                kept: KeptChecks = request.app.state.kept_checks
                found = kept.found(session, link_id, lambda: checked(session, link_id, settings.weather_stale_minutes))
            state = _state(found)
    page = CheckPage(typed=typed, state=state, found=found)
    return draw(customer_frame(request, shop_row(session)), page, 429 if state == "wait" else 200, headers)


def _state(found: Checked | None) -> str:
    if found is None:
        return "unknown"
    if found.replaced_at is not None:
        return "replaced"
    return "amended" if found.amended else "as_published"
