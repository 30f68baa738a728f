"""A comparison for a spreadsheet: how each pull was read in comment lines, then numbers alone, in the shop's units."""

import re

from pullbook.difference_panel import compared_panels
from pullbook.panels import AXIS_WORDS, drawn_pulls, letter, not_drawn
from pullbook.shop.comparing import Comparison, SetupRead
from pullbook.shop.reading import ReadPull
from pullbook.shown_units import ShownUnits
from pullbook.verdict_words import verdict_text


def csv_of(comparison: Comparison, units: ShownUnits) -> str:
    """Comment lines, a heading, one line for each step of speed; an empty cell where a curve has no point."""
    panels = compared_panels(comparison, units)
    lines = [(panel, line) for panel in panels for line in panel.lines]
    names = [f"{panel.key} {line.label} ({line.kind}) [{panel.unit}]" for panel, line in lines]
    rows = _head(comparison, units)
    rows.append(",".join(_cell(name) for name in (f"{AXIS_WORDS[comparison.axis]} [rev/min]", *names)))
    for place, speed in enumerate(comparison.engine_speed_rpm):
        values = (float(line.values[place]) for _, line in lines)
        rows.append(",".join([f"{speed:g}", *("" if value != value else f"{value:.6g}" for value in values)]))
    return "\r\n".join(rows) + "\r\n"


def _head(comparison: Comparison, units: ShownUnits) -> list[str]:
    """Standard, factor, units, window and method, then every pull by the name its column has."""
    factors = sorted({f"{curve.factor:.4f}" for pull in comparison.pulls if (curve := pull.curve) and curve.factor})
    span = f"factor {factors[0]}" + (f" to {factors[-1]}" if len(factors) > 1 else "") if factors else "no factor"
    window = "chosen from each pull's data" if comparison.window_s is None else f"{comparison.window_s:g} s"
    rows = [
        f"# {_plain(comparison.standard_title)}; {span}; method {comparison.method_version}",
        f"# local fit {window}; grid {comparison.step_rpm:g} rev/min; power and torque at the wheels",
        f"# power in {units.label('power')}; torque in {units.label('torque')}; pressure in {units.label('pressure')}",
    ]
    if comparison.axis == "roller_speed":
        rows.append("# no engine speed is known: speed and torque are the rollers' own")
    if left := not_drawn(comparison):
        rows.append(f"# {_plain(left)}")
    rows += [f"# ticket {ticket.number}: {_plain(ticket.vehicle.title)}" for ticket in comparison.tickets]
    for setup in comparison.setups:
        rows.append(f"# {letter(setup.place)}: {_plain(setup.called)}; mean of {setup.counted}")
        rows += [f"# {name}: {_read(pull)}" for name, pull in _named(comparison, setup)]
    marks = {setup.setup_id: letter(setup.place) for setup in comparison.setups}
    for one in comparison.judged:
        said = verdict_text(one.verdict, units, comparison.standard_title)
        rows.append(f"# {marks[one.later_id]} less {marks[one.first_id]}: {_plain(said)}")
    return rows


def _named(comparison: Comparison, setup: SetupRead) -> list[tuple[str, ReadPull]]:
    """Drawn pulls by the names of their columns, then the others."""
    drawn = drawn_pulls(comparison, setup)
    shown = {pull.facts.id for _, pull in drawn}
    others = [pull for pull in setup.pulls if pull.facts.id not in shown]
    return [*drawn, *((f"{letter(setup.place)} not shown", pull) for pull in others)]


def _read(pull: ReadPull) -> str:
    said = [f"taken {pull.facts.taken_at:%Y-%m-%d %H:%M:%S} UTC", f"file {_plain(pull.facts.file_name)}"]
    said += [f"cell {_plain(pull.facts.cell_name)}", f"pull {pull.facts.id}", f"sha256 {pull.facts.sha256}"]
    if pull.facts.set_aside_at is not None:
        said.append(f"set aside: {_plain(pull.facts.set_aside_reason or '')}")
    if pull.curve is None:
        return "; ".join([*said, "no curve"])
    factor = "no factor" if pull.curve.factor is None else f"factor {pull.curve.factor:.4f}"
    return "; ".join([*said, factor, f"local fit {pull.curve.window_s:.3g} s"])


def _plain(text: str) -> str:
    """What people typed, inside a comment: nothing in it ends a cell or a line."""
    return re.sub(r"[\x00-\x1f,;\"]+", " ", text).strip()


def _cell(text: str) -> str:
    """A heading as a CSV cell: what a spreadsheet would take for a formula begins with an apostrophe."""
    safe = "'" + text if text[:1] in "=+-@\t\r" else text
    return '"' + safe.replace('"', '""') + '"'
