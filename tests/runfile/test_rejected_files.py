"""Every file of tests/data/reject is turned away with the reason, line and column that the sheet beside it says."""

import json
from pathlib import Path

import pytest

from pullbook.runfile.delimited import RefusedFile, RunFileError, read_delimited

FOLDER = Path(__file__).parents[1] / "data" / "reject"
FILES = sorted(path for path in FOLDER.iterdir() if path.suffix in (".csv", ".txt"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_it_says_why_and_where(path: Path) -> None:
    told = json.loads(path.with_name(path.name + ".expected.json").read_text(encoding="utf-8"))
    kind = RefusedFile if told["kind"] == "refused" else RunFileError
    with pytest.raises(kind) as caught:
        read_delimited(path.read_bytes())
    assert told["reason"] in caught.value.reason
    if kind is RunFileError:
        assert (caught.value.line, caught.value.column) == (told["line"], told["column"])


def test_it_has_a_sheet_for_each_file_and_a_file_for_each_sheet() -> None:
    sheets = {path.name.removesuffix(".expected.json") for path in FOLDER.glob("*.expected.json")}
    assert sheets == {path.name for path in FILES}
    assert len(FILES) >= 20
