"""Writing a fuel map down: one line for each cell, and in the head everything it was laid out by."""

import numpy as np

from pullbook.measure import METHOD_VERSION
from pullbook.shop.fuel_mapping import LOAD_AXES, MapSource, SetupMap
from pullbook.shop.taking_away import NamedColumn, TakenAway

LAG_WORDS = {
    "own": "found in this pull",
    "others": "from the setup's other pulls",
    "usual": "the usual figure, none was found",
    "given": "given by hand",
}


def table_of_map(found: SetupMap) -> TakenAway:
    """A map as a table, lowest load first. A map that no pull gave anything to has no lines."""
    title, unit = LOAD_AXES[found.load_axis]
    made, cells = found.made, found.cells
    speeds = np.array(cells.speed_edges_rpm if cells else (0.0,))
    loads = np.array(cells.load_edges if cells else (0.0,))
    many = (len(loads) - 1, len(speeds) - 1)
    places = {
        "engine_speed_from_rpm": ("engine speed from", "rev/min", np.tile(speeds[:-1], many[0])),
        "engine_speed_to_rpm": ("engine speed to", "rev/min", np.tile(speeds[1:], many[0])),
        f"from_{found.load_axis}": (f"from {title}", unit, np.repeat(loads[:-1], many[1])),
        f"to_{found.load_axis}": (f"to {title}", unit, np.repeat(loads[1:], many[1])),
    }
    nothing = np.zeros(0)
    values = {
        "time_s": ("time in cell", "s", nothing if made is None else made.time_s.ravel()),
        "multiplier": ("fuel multiplier", "", nothing if made is None else made.multiplier.ravel()),
        "multiplier_u": ("its standard error (k = 1)", "", nothing if made is None else made.multiplier_u.ravel()),
        "lambda_error": ("λ measured less wanted", "λ", nothing if made is None else made.lambda_error.ravel()),
        "lambda_measured": ("λ measured", "λ", nothing if made is None else made.lambda_measured.ravel()),
        "lambda_wanted": ("λ wanted", "λ", nothing if made is None else made.lambda_wanted.ravel()),
    }
    columns = tuple(NamedColumn(name, *told) for name, told in (places | values).items())
    return TakenAway(tuple(_told(found, title, unit)), columns)


def _told(found: SetupMap, title: str, unit: str) -> list[tuple[str, str]]:
    lines = []
    if found.ticket is not None and found.setup is not None:
        lines.append(("ticket", f"{found.ticket.number} {found.ticket.vehicle.title}"))
        lines.append(("setup", found.setup.name))
    lag = "found pull by pull" if found.lag_s is None else f"{found.lag_s:g} s for every pull"
    lines += [
        ("method", METHOD_VERSION),
        ("load axis", f"{title} in {unit}"),
        ("lag taken out of measured λ", lag),
        ("minimum time", f"{found.minimum_time_s:g} s; cells with less are blank"),
        ("edges", "a cell holds low ≤ x < high and the last one its upper edge too"),
        ("multiplier", "λ measured over λ wanted: what fuel would be multiplied by to close it"),
    ]
    if found.wanted:
        lines.append(("λ wanted without a command", " ".join(f"{one:g}" for one in found.wanted)))
    if found.made is not None:
        out = found.made.left_out
        gone = " ".join(f"{name.removesuffix('_s')} {getattr(out, name):.2f} s" for name in vars(out))
        lines.append(("time in no cell", f"{gone.replace('_', ' ')}; of {found.made.total_s:.1f} s"))
    lines += [("pull", _source(one)) for one in found.sources]
    return lines


def _source(one: MapSource) -> str:
    said = f"{one.facts.taken_at:%Y-%m-%d %H:%M:%S} UTC {one.facts.kind} {one.facts.file_name}"
    if one.left_out is not None or one.lag is None:
        return f"{said}; not in the map: {one.left_out}"
    return f"{said}; lag {one.lag.lag_s:.3f} s {LAG_WORDS[one.lag.by]}; wanted by {one.wanted_by}"
