"""A file given back, byte for byte as it came."""

from urllib.parse import quote

from fastapi import Response
from sqlalchemy.orm import Session

from pullbook.shop.filing import raw_bytes


def raw_answer(session: Session, sha256: str, file_name: str) -> Response:
    """The very bytes that were sent, under the name they had; NotFound where no such file is kept."""
    plain = "".join(letter if letter.isascii() and letter not in '"\\' else "_" for letter in file_name)
    headers = {
        "Content-Disposition": f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(file_name, safe='')}",
        "ETag": f'"{sha256}"',
        "SHA-256": sha256,
    }
    return Response(raw_bytes(session, sha256), headers=headers, media_type="application/octet-stream")
