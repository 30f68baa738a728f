"""The one table from exception to answer: a problem document of RFC 9457, or a page that says the same."""

import logging
from collections.abc import Awaitable, Callable
from html import escape
from http import HTTPStatus
from typing import Any, Protocol
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy import exc as sql
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from pullbook import errors
from pullbook.json_answers import to_json
from pullbook.measure.air import AirError
from pullbook.measure.curve import SweepError
from pullbook.runfile.channels import ChannelMapError
from pullbook.runfile.not_read import RefusedFile, RunFileError

log = logging.getLogger("pullbook")

STATUSES: dict[type[Exception], tuple[int, str]] = {
    errors.NotFound: (404, "not-found"),
    errors.Gone: (410, "gone"),
    errors.NotSignedIn: (401, "not-signed-in"),
    errors.NotAllowed: (403, "not-allowed"),
    errors.Invalid: (422, "invalid"),
    errors.Clash: (409, "clash"),
    errors.TooLarge: (413, "too-large"),
    errors.WrongKind: (415, "wrong-kind"),
    errors.TooMany: (429, "too-many"),
    errors.NotReady: (503, "not-ready"),
}
INNER_STATUSES: dict[type[Exception], tuple[int, str]] = {
    # what the numbers and the file reader refuse in their own words
    AirError: (422, "invalid"),
    SweepError: (422, "invalid"),
    ChannelMapError: (422, "invalid"),
    RunFileError: (422, "invalid"),
    RefusedFile: (415, "wrong-kind"),
}
SECRET_FIELDS = frozenset({"password", "present_password", "token", "code", "pin"})
LONGEST_VALUE_SHOWN = 200
MOST_PROBLEMS_TOLD = 50  # a megabyte of unknown fields, sent by anybody, is not answered with four
BEYOND = 2**63  # a whole number of more digits is repeated as text: JSON is written with 64 bits here
RETRY_AFTER_S = 5


class ErrorPage(Protocol):
    """What draws a refusal for a person: the pages set `app.state.error_page` to one."""

    def __call__(self, request: Request, status: int, title: str, detail: str) -> Response:
        """The page."""


def path_within(request: Request) -> str:
    """The path below the public address: /api/v1/… also when the service is reached under /pulls/api/v1/…."""
    root = request.scope.get("root_path", "")
    path: str = request.scope["path"]
    return path[len(root) :] if root and path.startswith(root) else path


def is_page(request: Request) -> bool:
    """Whether a person with a browser is to read the answer."""
    path = path_within(request)
    return not path.startswith(("/api/", "/static/", "/healthz", "/readyz"))


def answer(
    request: Request,
    status: int,
    code: str,
    detail: str,
    problems: list[dict[str, Any]] | None = None,
    headers: dict[str, str] | None = None,
    **more: Any,
) -> Response:
    """A refusal as a problem document, or as a page where a person is looking."""
    title = HTTPStatus(status).phrase
    if is_page(request):
        draw: ErrorPage = getattr(request.app.state, "error_page", None) or plain_page
        page = draw(request, status, title, detail)
        page.headers.update(headers or {})
        return page
    body = {
        "type": f"urn:pullbook:{code}",
        "title": title,
        "status": status,
        "detail": detail,
        "problems": problems or [],
        "request_id": request.scope.get("request_id", ""),
        **more,
    }
    content = to_json(body, default=str)
    return Response(content, status, headers=headers, media_type="application/problem+json")


def plain_page(request: Request, status: int, title: str, detail: str) -> Response:
    """The page of last resort, which needs no template."""
    return HTMLResponse(
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<h1>{escape(title)}</h1><p>{escape(detail)}</p></html>",
        status,
    )


def shown(field: str, value: Any) -> Any:
    """A value as it may be repeated in an answer: secrets never, long ones cut."""
    if field.rpartition(".")[2] in SECRET_FIELDS:
        return "(not shown)"
    if isinstance(value, (str, bytes)):
        # half a surrogate pair is a str in Python and no text in JSON
        text = (value.encode("utf-8", "replace") if isinstance(value, str) else value).decode("utf-8", "replace")
        return text if len(text) <= LONGEST_VALUE_SHOWN else text[:LONGEST_VALUE_SHOWN] + "…"
    if value is None or isinstance(value, (bool, float)) or (isinstance(value, int) and -BEYOND < value < BEYOND):
        return value
    text = str(value)
    if any(f"'{secret}'" in text for secret in SECRET_FIELDS):  # a key of it, however deep
        return "(not shown)"
    return text if len(text) <= LONGEST_VALUE_SHOWN else text[:LONGEST_VALUE_SHOWN] + "…"


def _shop_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, errors.ShopError)  # noqa: S101  registered for this kind alone
    status, code = next(STATUSES[kind] for kind in type(error).__mro__ if kind in STATUSES)
    if isinstance(error, errors.NotSignedIn) and is_page(request) and request.method in ("GET", "HEAD"):
        return to_sign_in(request)
    headers = {}
    if isinstance(error, errors.TooMany):
        headers["Retry-After"] = str(error.retry_after_s)
    if isinstance(error, errors.NotReady):
        headers["Retry-After"] = str(RETRY_AFTER_S)
    problems = [
        {"field": problem.field, "value": shown(problem.field, problem.value), "would_do": problem.would_do}
        for problem in error.problems
    ]
    return answer(request, status, code, error.message, problems, headers, **error.more)


def to_sign_in(request: Request) -> Response:
    """Send a person to the sign-in page and have it bring them back here."""
    here = path_within(request)
    if request.url.query:
        here += f"?{request.url.query}"
    return RedirectResponse(f"{request.scope.get('root_path', '')}/sign-in?next={quote(here, safe='/')}", 303)


def _measured_or_read(request: Request, error: Exception) -> Response:
    """What the numbers or the file reader refused: the message is theirs; the field too, where they name one."""
    field = getattr(error, "field", None)
    problems = []
    if field:
        value = shown(field, getattr(error, "value", None))
        problems.append({"field": field, "value": value, "would_do": getattr(error, "would_do", "")})
    place = {name: getattr(error, name) for name in ("line", "column") if getattr(error, name, None) is not None}
    status, code = INNER_STATUSES[type(error)]
    return answer(request, status, code, str(error), problems, **place)


def _badly_formed(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    faults, problems = error.errors(), []
    for fault in faults[:MOST_PROBLEMS_TOLD]:
        place = [str(part) for part in fault["loc"]]
        unread = fault["type"] == "json_invalid"  # its place is a character of the body and no field
        field = "body" if unread else shown("", ".".join(place[1:] if len(place) > 1 else place))
        untold = unread or place == ["body"] or fault["type"] == "missing"  # a whole body may hold a password
        value = None if untold else fault.get("input")
        problem = {"field": field, "value": shown(field, value), "would_do": would_do(fault)}
        if problem not in problems:  # what two parts of a route ask for is looked at twice
            problems.append(problem)
    detail = "; ".join(f"{problem['field']}: {problem['would_do']}" for problem in problems[:3])
    if len(faults) > MOST_PROBLEMS_TOLD:
        detail += f"; and so on, {len(faults)} in all"
    return answer(request, 422, "invalid", detail or "the request cannot be read", problems)


def would_do(fault: Any) -> str:
    """What would have been accepted, in plain words, from one of pydantic's findings."""
    context = fault.get("ctx", {})
    words = {
        "missing": "is needed",
        "extra_forbidden": "is not a field here; leave it out",
        "json_invalid": f"a JSON body would do; this one stops being JSON at its character {fault['loc'][-1]}",
        "string_too_short": f"at least {context.get('min_length')} characters would do",
        "string_too_long": f"at most {context.get('max_length')} characters would do",
        "greater_than_equal": f"{context.get('ge')} or more would do",
        "less_than_equal": f"{context.get('le')} or less would do",
        "greater_than": f"more than {context.get('gt')} would do",
        "less_than": f"less than {context.get('lt')} would do",
        "literal_error": f"one of {context.get('expected')} would do",
        "enum": f"one of {context.get('expected')} would do",
        "timezone_aware": "a time with its offset would do, like 2026-05-01T09:30:00+02:00",
        "float_parsing": "a number would do",
        "int_parsing": "a whole number would do",
        "finite_number": "a finite number would do",
        "model_attributes_type": "a JSON object would do, sent as application/json",
    }
    known = words.get(fault["type"])
    return known if known is not None else str(fault["msg"]).removeprefix("Value error, ")


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101
    named = {status: code for status, code in STATUSES.values()}
    code = named.get(error.status_code) or HTTPStatus(error.status_code).phrase.lower().replace(" ", "-")
    detail = error.detail
    if error.status_code == 404 and detail == "Not Found":
        detail = "there is nothing at this address"
    if error.status_code == 405:
        detail = f"{request.method} is not answered here"
    if error.status_code == 400 and str(detail).startswith("There was an error parsing the body"):
        problem = {"field": "body", "value": None, "would_do": "a JSON object would do"}
        return answer(request, 422, "invalid", "the body cannot be read as JSON", [problem])
    return answer(request, error.status_code, code, str(detail), headers=dict(error.headers or {}))


def _broken_rule(request: Request, error: Exception) -> Response:
    """The database itself said no: the last guard, when two people did the same at once."""
    log.warning("the database refused: %s", getattr(error, "orig", error))
    return answer(request, 409, "clash", "this breaks a rule with what is already on record; load it again and look")


def _unstorable(request: Request, error: Exception) -> Response:
    """A value that fits its field and no database: a text with a zero byte, a number beyond 64 bits."""
    log.warning("the database cannot hold: %s", getattr(error, "orig", error))
    return answer(request, 422, "invalid", "something in the request cannot be stored as it is; plain text would do")


def _database_away(request: Request, error: Exception) -> Response:
    told = str(getattr(error, "orig", error)).lower()
    log.error("the database cannot: %s", told)
    if "disk is full" in told or "no space left" in told or "could not extend file" in told:
        return answer(request, 507, "disk-full", "the disk is full; nothing was kept. Make room and send it again")
    return answer(
        request,
        503,
        "not-ready",
        "the records cannot be reached just now; nothing was kept. Try again shortly",
        headers={"Retry-After": str(RETRY_AFTER_S)},
    )


def unexpected(request: Request) -> Response:
    """Something nobody thought of: told without its inside, which is in the log under the request's id."""
    number = request.scope.get("request_id", "")
    return answer(request, 500, "fault", f"the service made a mistake; the log has it under {number}")


Handler = Callable[[Request, Exception], Response]


def _registered(handler: Handler) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def handle(request: Request, error: Exception) -> Response:
        return handler(request, error)

    return handle


def install(app: FastAPI) -> None:
    """Give an application every answer of the table."""
    app.add_exception_handler(errors.ShopError, _registered(_shop_error))
    for kind in INNER_STATUSES:
        app.add_exception_handler(kind, _registered(_measured_or_read))
    app.add_exception_handler(RequestValidationError, _registered(_badly_formed))
    app.add_exception_handler(HTTPException, _registered(_http))
    app.add_exception_handler(sql.DataError, _registered(_unstorable))
    app.add_exception_handler(sql.IntegrityError, _registered(_broken_rule))
    app.add_exception_handler(sql.OperationalError, _registered(_database_away))
    app.add_exception_handler(sql.InternalError, _registered(_database_away))  # PostgreSQL that only lets read
    app.add_exception_handler(sql.TimeoutError, _registered(_database_away))
