"""Bytes of any encoding that loggers write → the same text in UTF-8, with the encoding named."""

import codecs

from pullbook.runfile.not_read import RefusedFile, RunFileError
from pullbook.runfile.screening import looks_utf16


def as_utf8(data: bytes) -> tuple[bytes, str]:
    """The text in UTF-8 without byte order mark, its lines ending in LF or CR LF, and the name of what it was.

    UTF-8 where it is valid UTF-8; else Windows-1252, the one single-byte encoding that is expected; UTF-16 by its mark
    or its zeros. Raises `RefusedFile` for what is no text, `RunFileError` for UTF-16 that breaks off.
    """
    wide = looks_utf16(data)
    if wide is not None:
        return _some(_lines_mended(_from_utf16(data, wide))), wide.upper()
    if b"\x00" in data:
        line = data.count(b"\n", 0, data.index(b"\x00")) + 1
        raise RefusedFile(f"There is a zero byte in line {line}: this is binary data, or the file is damaged.")
    data = data.rstrip(b"\x1a")
    if data.startswith(codecs.BOM_UTF8):
        data, name = data[len(codecs.BOM_UTF8) :], "UTF-8 with byte order mark"
    else:
        name = "UTF-8"
    if not data.isascii():
        try:
            data.decode("utf-8")
        except UnicodeDecodeError:
            data, name = _from_cp1252(data), "Windows-1252"
    return _some(_lines_mended(data)), name


def _some(text: bytes) -> bytes:
    if not text.strip():
        raise RefusedFile("There is nothing in the file but blank space.")
    return text


def _from_utf16(data: bytes, wide: str) -> bytes:
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        data = data[2:]
    if len(data) % 2:
        raise RunFileError("The file is UTF-16 and breaks off in the middle of a character: send it again.")
    try:
        text = data.decode(wide)
    except UnicodeDecodeError:
        raise RefusedFile("The file begins as UTF-16 text and is not: it is damaged or of another kind.") from None
    if "\x00" in text:
        raise RefusedFile("There is a zero character in the text: this is binary data, or the file is damaged.")
    return text.encode("utf-8")


def _from_cp1252(data: bytes) -> bytes:
    try:
        return data.decode("cp1252").encode("utf-8")
    except UnicodeDecodeError:
        raise RefusedFile("This is neither UTF-8 nor Windows-1252 text: it is damaged or of another kind.") from None


def _lines_mended(data: bytes) -> bytes:
    """A lone CR, or CR CR LF, becomes LF; CR LF stays, because both readers take it as it is."""
    if b"\r" not in data or (data.count(b"\r") == data.count(b"\n") and b"\r\r" not in data):
        return data
    return data.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
