"""Is this a kind of file that is read here at all? Told from its first bytes."""

import codecs

from pullbook.runfile.not_read import RefusedFile

LARGEST_COLUMNS = 512
LOOKED_AT = 65_536  # bytes; more would tell nothing new
DELIMITERS = ",;\t|"

_SPREADSHEET = "save the sheet as CSV and send that"
_UNPACK = "unpack it and send the file inside"
# how files of other kinds begin: bytes, where they stand, what the file is, what would do
_KINDS: tuple[tuple[bytes, int, str, str], ...] = (
    (b"PK\x03\x04", 0, "a zip archive or a spreadsheet workbook", f"{_UNPACK}, or {_SPREADSHEET}"),
    (b"PK\x05\x06", 0, "an empty zip archive", _UNPACK),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", 0, "an old spreadsheet workbook or office document", _SPREADSHEET),
    (b"\x1f\x8b", 0, "a gzip archive", _UNPACK),
    (b"\x28\xb5\x2f\xfd", 0, "a zstd archive", _UNPACK),
    (b"\xfd7zXZ\x00", 0, "an xz archive", _UNPACK),
    (b"7z\xbc\xaf\x27\x1c", 0, "a 7z archive", _UNPACK),
    (b"Rar!\x1a\x07", 0, "a rar archive", _UNPACK),
    (b"1AY&SY", 4, "a bzip2 archive", _UNPACK),
    (b"\x04\x22\x4d\x18", 0, "an lz4 archive", _UNPACK),
    (b"ustar", 257, "a tar archive", _UNPACK),
    (b"\x89PNG", 0, "a picture (PNG)", ""),
    (b"\xff\xd8\xff", 0, "a picture (JPEG)", ""),
    (b"GIF87a", 0, "a picture (GIF)", ""),
    (b"GIF89a", 0, "a picture (GIF)", ""),
    (b"II*\x00", 0, "a picture (TIFF)", ""),
    (b"MM\x00*", 0, "a picture (TIFF)", ""),
    (b"WEBP", 8, "a picture (WebP)", ""),
    (b"ftyp", 4, "a video or a phone's picture", ""),
    (b"%PDF-", 0, "a PDF", "a printed sheet holds no samples"),
    (b"\x7fELF", 0, "a program", ""),
    (b"#!", 0, "a script", ""),
    (b"SQLite format 3\x00", 0, "a database", ""),
    (b"\x89HDF", 0, "a binary data file (HDF5)", ""),
    (b"PAR1", 0, "a binary data file (Parquet)", ""),
    (b"{\\rtf", 0, "a word-processor document", "save it as plain text"),
    (codecs.BOM_UTF32_LE, 0, "text in UTF-32", "save it as UTF-8"),
    (codecs.BOM_UTF32_BE, 0, "text in UTF-32", "save it as UTF-8"),
)
MEASUREMENT_MARKS = (b"MDF     ", b"UnFinMF ")  # the second: never closed by what wrote it
_PAGES = (b"<!doctype", b"<html", b"<?xml", b"<svg")
_SEPARATORS = b',;|" \t\r\n'
_ODD_CONTROLS = bytes(sorted(set(range(32)) - {9, 10, 11, 12, 13, 26, 27}))


def screen(first_bytes: bytes, size: int | None = None) -> None:
    """Return quietly if this may be text or ASAM MDF 4; raise `RefusedFile` with the reason if not.

    `first_bytes`: the start of the file, at best 4 kB or more (fewer will do); `size`: bytes in all, where known.
    Takes microseconds, so it can be asked before the rest of a body is read.
    """
    start = first_bytes[:LOOKED_AT]
    if size == 0 or not start:
        raise RefusedFile("The file is empty.")
    if start.startswith(MEASUREMENT_MARKS):
        _refuse_other_measurements(start)
        return
    _refuse_other_kinds(start)
    if looks_utf16(start) is None and b"\x00" in start:
        what = "a program" if start[:2] == b"MZ" else "binary data"
        raise RefusedFile(f"This is {what}, not delimited text.")
    text = start.replace(b"\x00", b"")
    part = text[:4096]
    if len(part) - len(part.translate(None, _ODD_CONTROLS)) > len(part) // 100:
        raise RefusedFile("This is binary data, not delimited text.")
    _refuse_empty_tables(text, whole=size is not None and size <= len(start))


def _refuse_other_measurements(start: bytes) -> None:
    """RefusedFile for an MDF file of another version than 4; quietly where too few bytes are there to tell."""
    version = start[8:16].decode("latin-1").strip(" \0")
    if len(start) >= 16 and not version.startswith("4."):
        shown = "".join(letter for letter in version if letter.isprintable()) or "no version"
        raise RefusedFile(
            f"This is an MDF file of {shown}; ASAM MDF 4 is read (4.00 and later), and text. Convert it to one of them."
        )


def looks_utf16(start: bytes) -> str | None:
    """'utf-16-le', 'utf-16-be', or None; by byte order mark, or by the zeros beside every plain letter."""
    if start[:4] in (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE):
        return None
    if start[:2] == codecs.BOM_UTF16_LE:
        return "utf-16-le"
    if start[:2] == codecs.BOM_UTF16_BE:
        return "utf-16-be"
    part = start[:4096]
    low, high = part[0::2], part[1::2]
    if len(part) >= 4 and high.count(0) > 0.7 * len(high) and low.count(0) == 0:
        return "utf-16-le"
    if len(part) >= 4 and low.count(0) > 0.7 * len(low) and high.count(0) == 0:
        return "utf-16-be"
    return None


def _refuse_other_kinds(start: bytes) -> None:
    for mark, at, what, would_do in _KINDS:
        if start[at : at + len(mark)] == mark:
            raise RefusedFile(f"This is {what}, not delimited text{': ' + would_do if would_do else ''}.")
    if start[:2] == b"BM" and start[6:10] == b"\x00\x00\x00\x00":
        raise RefusedFile("This is a picture (BMP), not delimited text.")
    text = start[:64].removeprefix(codecs.BOM_UTF8).lstrip().lower()
    if text.startswith(_PAGES):
        raise RefusedFile("This is a web page or XML, not delimited text.")
    if text.startswith((b'{"', b"[{", b"{\n", b"{\r")):
        raise RefusedFile("This is JSON, not delimited text.")


def _refuse_empty_tables(text: bytes, whole: bool) -> None:
    text = text.removeprefix(codecs.BOM_UTF8).removeprefix(codecs.BOM_UTF16_LE).removeprefix(codecs.BOM_UTF16_BE)
    if not text.strip():
        raise RefusedFile("There is nothing in the file but blank space.")
    if (
        not text[:256].translate(None, _SEPARATORS)
        and not text.translate(None, _SEPARATORS)
        and (whole or len(text) > 64)
    ):
        raise RefusedFile("There is nothing in the file but separators.")
    first_line = text.split(b"\n", 1)[0]
    columns = max(first_line.count(mark.encode()) for mark in DELIMITERS) + 1
    if columns > LARGEST_COLUMNS:
        raise RefusedFile(f"The first line has {columns} or more columns; at most {LARGEST_COLUMNS} are read.")
