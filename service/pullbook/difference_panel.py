"""The panel beneath power that shows what each later setup has more or less than the first, with its interval."""

from collections.abc import Iterable

import numpy as np

from pullbook.panels import Line, Panel, letter, panels_of, style
from pullbook.shop.comparing import Comparison
from pullbook.shown_units import ShownUnits

KEY = "difference"


def compared_panels(comparison: Comparison, units: ShownUnits, keys: Iterable[str] | None = None) -> tuple[Panel, ...]:
    """The comparison's panels, the difference beneath power where there is one to show."""
    wanted = None if keys is None else list(keys)
    panels = panels_of(comparison, units, None if wanted is None else [key for key in wanted if key != KEY])
    if not comparison.judged or (wanted is not None and KEY not in wanted):
        return panels
    made = difference_panel(comparison, units)
    below = 1 if panels and panels[0].key == "power" else 0
    return (*panels[:below], made, *panels[below:])


def difference_panel(comparison: Comparison, units: ShownUnits) -> Panel:
    """For each later setup the difference, and where its interval begins and ends (kinds low and high)."""
    places = {setup.setup_id: setup.place for setup in comparison.setups}
    first = letter(places[comparison.judged[0].first_id])
    lines = []
    for one in comparison.judged:
        place, points = places[one.later_id], one.verdict.pointwise
        called = f"{letter(place)} less {first}"
        for kind, label, values in (
            ("low", f"{called}, from", points.low_w),
            ("high", f"{called}, to", points.high_w),
            ("mean", called, points.difference_w),
        ):
            if np.isfinite(values).any():
                lines.append(Line(letter(place), style(place), kind, label, units.values(values, "power")))
    known = any(line.kind == "low" for line in lines)
    return Panel(
        KEY,
        f"Difference to {first}",
        units.label("power"),
        units.decimals("power") + 1,
        tuple(lines),
        note="tinted: 95 % interval" if known else "",
        axis=comparison.axis,
        has_zero=True,
    )
