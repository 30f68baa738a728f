"""Keying: one secret beside the records, never in them, from which addresses and seals are made.

A link's address is the key's HMAC over the link's id, so whoever works in the shop can see it again, and a stolen
database holds no address. The key is its own and not the one that signs receipts: they are kept by different people
for different spans, and losing this one costs no more than a new link for those who have lost theirs.
"""

import hashlib
import hmac
import os
import secrets
import tempfile
from base64 import urlsafe_b64encode
from functools import cached_property
from pathlib import Path

KEY_BYTES = 32


class KeyFileError(RuntimeError):
    """The key's file is not what it should be; the message says which file and what would do."""


class LinkKey:
    """The key in its file, made when it is first asked for, readable by the service's own user alone."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @cached_property
    def _key(self) -> bytes:
        if not self.path.exists():
            _make(self.path)
        key = self.path.read_bytes()
        if len(key) != KEY_BYTES:
            raise KeyFileError(
                f"{self.path} holds {len(key)} bytes and not {KEY_BYTES}; put the right file back, or move it "
                "away: links that are out keep working, but their addresses cannot be shown again"
            )
        return key

    def token(self, link_id: str) -> str:
        """The 256 bits by which a customer opens this link, as 43 letters that fit an address."""
        return urlsafe_b64encode(self._seal("address", link_id)).rstrip(b"=").decode()

    def seal(self, purpose: str, text: str) -> str:
        """A seal over a text that nobody can make without the key: 64 hexadecimal digits, another for each purpose."""
        return self._seal(purpose, text).hex()

    def _seal(self, purpose: str, text: str) -> bytes:
        return hmac.new(self._key, f"{purpose}\n{text}".encode(), hashlib.sha256).digest()


def _make(path: Path) -> None:
    """Whole under another name first, then in place unless another process was faster."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".key-")  # 0600 from the start
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(KEY_BYTES))
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(name, path)
        except FileExistsError:
            return
    finally:
        Path(name).unlink()
