"""Files of other kinds are told from their first bytes, at once."""

import bz2
import gzip
import io
import lzma
import subprocess
import sys
import zipfile

import pytest
import zstandard

from pullbook.runfile.delimited import RefusedFile, RunFileError, read_delimited, screen

HEADING = b"Time [s],Roller speed [rev/min]\n0.0,100\n0.1,101\n0.2,102\n"


def zipped() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("pull.csv", HEADING)
    return out.getvalue()


OTHER_KINDS = {
    "zip archive": zipped(),
    "gzip": gzip.compress(HEADING),
    "bzip2": bz2.compress(HEADING),
    "xz": lzma.compress(HEADING),
    "zstd": zstandard.compress(HEADING),
    "7z": b"7z\xbc\xaf\x27\x1c\x00\x04",
    "rar": b"Rar!\x1a\x07\x01\x00",
    "old spreadsheet": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(64),
    "PNG": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
    "JPEG": b"\xff\xd8\xff\xe0\x00\x10JFIF",
    "GIF": b"GIF89a\x01\x00",
    "WebP": b"RIFF\x00\x00\x00\x00WEBPVP8 ",
    "TIFF": b"II*\x00\x08\x00",
    "PDF": b"%PDF-1.7\n",
    "program": b"MZ\x90\x00\x03\x00",
    "script": b"#!/bin/sh\n1,2\n",
    "web page": b"\xef\xbb\xbf  <!doctype html><html>",
    "JSON": b'{"time": [1, 2]}',
    "UTF-32": HEADING.decode().encode("utf-32"),
    "database": b"SQLite format 3\x00",
    "binary data": b"Time,Speed\n1,\x00\x01\n",
    "blank space": b" \r\n\t \n",
    "empty": b"",
}


@pytest.mark.parametrize("kind", OTHER_KINDS)
def test_it_names_the_kind_of_a_file_that_is_no_table(kind: str) -> None:
    with pytest.raises(RefusedFile, match=kind):
        screen(OTHER_KINDS[kind], len(OTHER_KINDS[kind]))
    with pytest.raises(RefusedFile, match=kind):
        read_delimited(OTHER_KINDS[kind])


def test_it_takes_a_real_program_for_no_table() -> None:
    with open(sys.executable, "rb") as program, pytest.raises(RefusedFile):
        screen(program.read(4096))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("seen", [16, 64, 4096])
def test_it_lets_text_pass_however_little_is_seen(encoding: str, seen: int) -> None:
    data = HEADING.decode().encode(encoding)
    screen(data[:seen], len(data))
    screen(data[:seen])


@pytest.mark.parametrize("size", [20_000, 500_000, 10_000_000])
@pytest.mark.parametrize("mark", [b",", b";", b"\t", b",\n", b'",'])
def test_it_refuses_nothing_but_separators(size: int, mark: bytes) -> None:
    data = mark * (size // len(mark))
    with pytest.raises(RefusedFile):
        read_delimited(data)


@pytest.mark.parametrize("size", [20_000, 500_000, 10_000_000])
@pytest.mark.parametrize("rows", [0, 3, 400])
def test_it_refuses_a_line_of_commas_anywhere(size: int, rows: int) -> None:
    data = b"Time [s],Speed [km/h]\n" + b"0.5,100\n" * rows + b"," * size + b"\n"
    with pytest.raises((RefusedFile, RunFileError)):
        read_delimited(data)


def test_it_refuses_more_columns_rows_and_longer_cells_than_the_caps() -> None:
    wide = ",".join("a" for _ in range(513)) + "\n" + (",".join("1" for _ in range(513)) + "\n") * 3
    with pytest.raises(RefusedFile, match="513 or more columns"):
        read_delimited(wide.encode())
    with pytest.raises(RefusedFile, match="2000000 rows"):
        read_delimited(HEADING + b"1,1\n" * 2_000_001)
    with pytest.raises(RunFileError, match="longer than 4096"):
        read_delimited(HEADING + b"0.3," + b"1" * 4097 + b"\n")


def test_it_reads_as_many_columns_as_the_cap() -> None:
    names = ",".join(f"c{place}" for place in range(512))
    row = ",".join(str(place) for place in range(512))
    assert read_delimited(f"{names}\n{row}\n{row}\n".encode()).values.shape == (512, 2)


def test_it_loads_pandas_only_when_a_table_is_read() -> None:
    told = (
        "import sys; from pullbook.runfile.delimited import read_delimited, screen; screen(b'a,b'); "
        "before = 'pandas' in sys.modules; read_delimited(b'a,b\\n1,2\\n'); print(before, 'pandas' in sys.modules)"
    )
    answer = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert answer.stdout.split() == ["False", "True"]
