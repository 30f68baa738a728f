"""The same numbers, written in any dialect, give the same bits."""

import csv
import io

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pullbook.runfile.delimited import read_delimited

NAMES = ("Time", "Roller speed", "Engine speed", "Brake torque", "Oil temperature", "Throttle")
UNITS = ("s", "rev/min", "rev/min", "Nm", "°C", "%")

figures = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.floats(-1e4, 1e4).map(lambda value: f"{value:.17g}"),
    st.floats(-1e4, 1e4).map(lambda value: f"{value:.2f}"),
    st.integers(-(10**15), 10**15).map(str),
    st.just(""),
    st.just("NaN"),
)
dialects = st.fixed_dictionaries(
    {
        "delimiter": st.sampled_from(",;\t|"),
        "decimal": st.sampled_from(".,"),
        "encoding": st.sampled_from(("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252")),
        "units": st.sampled_from(("square", "round", "slash", "row", "none")),
        "quoting": st.sampled_from((csv.QUOTE_MINIMAL, csv.QUOTE_ALL)),
        "ends": st.sampled_from(("\n", "\r\n", "\r")),
        "preamble": st.sampled_from(("", "# run 4, third gear\n", "Prüfstand Süd\n\n", "// a;b;c\n% d,e\n")),
        "trailing": st.booleans(),
        "blank_lines": st.booleans(),
        "last_end": st.booleans(),
    }
)


def written(rows: list[list[str]], dialect: dict) -> bytes:
    """The rows as a file of that dialect. A comma both ways has to be quoted, as spreadsheets do."""
    width = len(rows[0])
    place = {"square": "{} [{}]", "round": "{} ({})", "slash": "{}/{}"}.get(dialect["units"], "{}")
    table = [[place.format(name, unit) for name, unit in zip(NAMES[:width], UNITS[:width], strict=True)]]
    if dialect["units"] == "row":
        table.append(list(UNITS[:width]))
    table += [[cell.replace(".", dialect["decimal"]) for cell in row] for row in rows]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=dialect["delimiter"], quoting=dialect["quoting"], lineterminator="\n")
    for number, row in enumerate(table):
        writer.writerow([*row, ""] if dialect["trailing"] else row)
        if dialect["blank_lines"] and number % 5 == 4:
            out.write("\n")
    text = dialect["preamble"] + out.getvalue()
    if not dialect["last_end"]:
        text = text.rstrip("\n")
    return text.replace("\n", dialect["ends"]).encode(dialect["encoding"])


def bits(values: np.ndarray) -> list[list[int]]:
    return np.where(np.isnan(values), np.nan, values).view(np.uint64).tolist()


@settings(max_examples=300, deadline=None)
@given(data=st.data(), dialect=dialects, width=st.integers(2, 6), count=st.integers(3, 30))
def test_it_gives_the_same_bits_in_every_dialect(data: st.DataObject, dialect: dict, width: int, count: int) -> None:
    rows = [[f"{number / 200:.3f}", *data.draw(st.tuples(*[figures] * (width - 1)))] for number in range(count)]
    run = read_delimited(written(rows, dialect))
    wanted = np.array([[float(cell or "nan") for cell in row] for row in rows]).T
    assert run.values.shape == (width, count)
    assert bits(run.values) == bits(np.ascontiguousarray(wanted))
    assert run.found["decimal"] == (
        "comma" if dialect["decimal"] == "," and any("." in c for r in rows for c in r) else "point"
    )
    stated = UNITS[:width] if dialect["units"] != "none" else ("",) * width
    assert tuple(header.unit_text for header in run.headers) == stated


def test_it_keeps_hard_numbers_exact_at_length() -> None:
    random = np.random.default_rng(5)
    exact = random.integers(0, 2**64, size=6000, dtype=np.uint64).view(np.float64)
    exact = exact[np.isfinite(exact)]
    for decimal, delimiter in ((".", ","), (",", ";")):
        lines = (
            f"{place / 100:.2f}{delimiter}{value!r}".replace(".", decimal) for place, value in enumerate(exact.tolist())
        )
        run = read_delimited(f"Time [s]{delimiter}Value\n{chr(10).join(lines)}\n".encode())
        assert run.values[1].view(np.uint64).tolist() == exact.view(np.uint64).tolist()


def test_it_reads_twice_to_the_same_bits() -> None:
    text = "Time [s],Roller speed [rev/min]\n" + "".join(f"{n / 7!r},{n * 1.1!r}\n" for n in range(500))
    assert read_delimited(text.encode()).values.tobytes() == read_delimited(text.encode()).values.tobytes()
