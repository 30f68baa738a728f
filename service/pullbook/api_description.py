"""The API told in OpenAPI, complete enough to make a client from: every refusal of every operation, in one shape."""

from typing import Any

from fastapi import FastAPI

PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "A refusal, as RFC 9457 has it.",
    "required": ["type", "title", "status", "detail", "problems", "request_id"],
    "properties": {
        "type": {"type": "string", "description": "What kind of refusal, as a name: urn:pullbook:not-found."},
        "title": {"type": "string", "description": "The status in words."},
        "status": {"type": "integer", "description": "The HTTP status."},
        "detail": {"type": "string", "description": "What happened, for a person."},
        "request_id": {"type": "string", "description": "Under which the log has it."},
        "problems": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["field", "value", "would_do"],
                "properties": {
                    "field": {"type": "string"},
                    "value": {"description": "What came; secrets are not repeated."},
                    "would_do": {"type": "string", "description": "What would be accepted."},
                },
            },
        },
        "on_record": {"type": "object", "description": "409 after somebody else's change: what is on record."},
        "given": {"type": "object", "description": "409 after somebody else's change: what was sent."},
        "line": {"type": "integer", "description": "The line of the file that cannot be read."},
        "column": {"type": "integer", "description": "Its column."},
    },
}
OPEN = {("post", "/api/v1/session"), ("post", "/api/v1/staff/first")}
WORDS = {
    "401": "Nobody is signed in.",
    "403": "This role may not, or the request came from another site.",
    "404": "There is no such record.",
    "409": "It clashes with what is on record.",
    "410": "It was here and has ended.",
    "413": "The body is larger than is taken.",
    "415": "A kind of file that is not read.",
    "422": "The request is not what would do; `problems` names the fields.",
    "429": "Too many tries; Retry-After says when to come back.",
    "503": "The records cannot be reached just now; nothing was kept.",
}


class DescribedApi(FastAPI):
    """An application that tells of its refusals as it really answers them."""

    def openapi(self) -> dict[str, Any]:
        """The whole description, made once."""
        if self.openapi_schema is None:
            self.state.late_api.load()
            told = super().openapi()
            shapes = told.setdefault("components", {}).setdefault("schemas", {})
            for unused in ("HTTPValidationError", "ValidationError"):
                shapes.pop(unused, None)
            shapes["Problem"] = PROBLEM
            for path, operations in told["paths"].items():
                for method, operation in operations.items():
                    _tell_refusals(method, path, operation)
        assert self.openapi_schema is not None  # noqa: S101  set by the call above
        return self.openapi_schema


def _tell_refusals(method: str, path: str, operation: dict[str, Any]) -> None:
    answers = operation["responses"]
    statuses = {"401", "429", "503"} if (method, path) in OPEN else {"401", "503"}
    if method != "get":
        statuses |= {"403", "409", "413"}
    if "{" in path:
        statuses.add("404")
    if operation.get("requestBody") or operation.get("parameters"):
        statuses.add("422")
    if path.endswith("/staff/first"):
        statuses |= {"404", "410"}
    if "application/json" not in operation.get("requestBody", {"content": {"application/json": 1}})["content"]:
        statuses.add("415")
    for status in sorted(statuses | {status for status in answers if status[0] in "45"}):
        content = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
        words = answers.get(status, {}).get("description", "")
        known = WORDS.get(status, "Refused.")
        words = known if words in ("", "Validation Error") else words
        answers[status] = {"description": words, "content": content}
