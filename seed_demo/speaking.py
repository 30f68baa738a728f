"""Speaking with the running service over its own REST API, as somebody who works there."""

from collections.abc import Iterator, Mapping
from typing import Any

import httpx2

from seed_demo.folder import DemoError

Facts = dict[str, Any]


class Voice:
    """One signed-in person on one kept-alive connection."""

    def __init__(self, address: str) -> None:
        self._http = httpx2.Client(base_url=address, timeout=60.0)

    def close(self) -> None:
        """Hang up."""
        self._http.close()

    def sign_in(self, sign_in_name: str, password: str) -> bool:
        """Whether that is somebody here; the cookie stays with the connection."""
        answer = self._ask("post", "/api/v1/session", json={"sign_in_name": sign_in_name, "password": password})
        if answer.status_code == 401:
            return False
        self._checked(answer)
        return True

    def get(self, path: str, **query: Any) -> Facts:
        """One record, or one page of a list."""
        return self._checked(self._ask("get", f"/api/v1{path}", params=query))

    def every(self, path: str, **query: Any) -> Iterator[Facts]:
        """All of a list, page by page."""
        following: str | None = None
        while True:
            more = {"cursor": following} if following else {}
            page = self.get(path, limit=200, **query, **more)
            yield from page["items"]
            following = page["next"]
            if following is None:
                return

    def post(self, path: str, body: Mapping[str, Any]) -> Facts:
        """Make a record."""
        return self._checked(self._ask("post", f"/api/v1{path}", json=dict(body)))

    def put(self, path: str, body: Mapping[str, Any]) -> Facts:
        """Put a record in place of what was there."""
        return self._checked(self._ask("put", f"/api/v1{path}", json=dict(body)))

    def patch(self, path: str, body: Mapping[str, Any]) -> Facts:
        """Change a record."""
        return self._checked(self._ask("patch", f"/api/v1{path}", json=dict(body)))

    def delete(self, path: str) -> None:
        """Take back what can be taken back."""
        self._checked(self._ask("delete", f"/api/v1{path}"))

    def send_file(self, path: str, data: bytes, **query: Any) -> Facts:
        """The file itself as the body, the rest beside it."""
        headers = {"Content-Type": "application/octet-stream"}
        return self._checked(self._ask("post", f"/api/v1{path}", content=data, params=query, headers=headers))

    def page(self, path: str) -> httpx2.Response:
        """A page as a browser would ask for it."""
        return self._ask("get", path, headers={"Accept": "text/html"})

    def _ask(self, method: str, path: str, **more: Any) -> httpx2.Response:
        try:
            return self._http.request(method.upper(), path, **more)
        except httpx2.HTTPError as error:
            raise DemoError(f"The service stopped answering ({error}). Run it again; it goes on from here.") from error

    @staticmethod
    def _checked(answer: httpx2.Response) -> Facts:
        if answer.is_success:
            return answer.json() if answer.content else {}
        asked = f"{answer.request.method} {answer.request.url.path}"
        raise DemoError(f"The service refused {asked}: {answer.status_code} {answer.text[:600]}")
