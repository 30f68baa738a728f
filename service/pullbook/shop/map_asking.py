"""Asking for a fuel map in an address: figures as text, with commas between, read or refused by their field."""

from collections.abc import Sequence
from math import isfinite

from pullbook.errors import FieldProblem, Invalid
from pullbook.shop.fuel_mapping import MapAsked


def asked_of(
    *,
    setup_id: str,
    pull_ids: Sequence[str],
    layout_id: str,
    speed_edges: str,
    load_edges: str,
    load_axis: str,
    minimum_time_s: float | None,
    lag_s: float | None,
    wanted: str,
) -> MapAsked:
    """What an address asks for. Invalid, by field, for figures that are none."""
    return MapAsked(
        setup_id=setup_id,
        pull_ids=tuple(dict.fromkeys(pull_ids)),
        layout_id=layout_id,
        speed_edges_rpm=figures_of("speed_edges", speed_edges, "1000, 1500, 2000"),
        load_edges=figures_of("load_edges", load_edges, "40, 60, 80, 100"),
        load_axis=load_axis,
        minimum_time_s=minimum_time_s,
        lag_s=lag_s,
        wanted=figures_of("wanted", wanted, "0.88, or one figure for each load"),
    )


def figures_of(field: str, text: str, example: str) -> tuple[float, ...]:
    """Figures with commas, semicolons or spaces between; none for an empty text."""
    words = text.replace(",", " ").replace(";", " ").split()
    try:
        made = tuple(float(word) for word in words)
    except ValueError:
        made = (float("nan"),)
    if not all(isfinite(one) for one in made):
        raise Invalid(f"{field} holds something that is no figure.", FieldProblem(field, text[:80], f"like {example}"))
    return made


def one_figure(field: str, text: str, low: float, high: float) -> float | None:
    """One figure of a form, comma or point; None for an empty text. Invalid outside its reach."""
    if not text.strip():
        return None
    would_do = f"{low:g} to {high:g}"
    try:
        made = float(text.strip().replace(",", "."))
    except ValueError:
        raise Invalid(f"{field} is no figure.", FieldProblem(field, text[:40], would_do)) from None
    if not low <= made <= high:
        raise Invalid(f"{field} is out of reach.", FieldProblem(field, text[:40], would_do))
    return made
