"""What is taken away of a pull or a comparison: its numbers in inside units, and everything they were made from."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime

from pullbook.measure import CHANNELS, GLOSSARY, METHOD_VERSION
from pullbook.measure.correction import STANDARDS
from pullbook.measure.curve import Curve, Figure
from pullbook.measure.units import UNITS
from pullbook.panels import drawn_pulls, letter, not_drawn
from pullbook.shop.channelling import own_channels
from pullbook.shop.comparing import Comparison
from pullbook.shop.facts import Floats, OnGrid
from pullbook.shop.joining import read_joined, with_joined
from pullbook.shop.loading import Loaded
from pullbook.shop.reading import ReadPull
from pullbook.shop.taking_away import NamedColumn, TakenAway
from pullbook.shown_units import ShownUnits
from pullbook.verdict_words import verdict_text

Told = tuple[str, str]
_AXES = {"engine_speed": ("engine_speed_rpm", "engine speed"), "roller_speed": ("roller_speed_rpm", "roller speed")}
_FIGURES = {  # of every curve: identifier → title here, word of the glossary for its unit
    "power_w": ("power at the wheels", "power"),
    "observed_power_w": ("observed power at the wheels", "observed power"),
    "torque_nm": ("torque", "torque"),
    "spread_w": ("spread of power", "spread"),
}


def curve_table(pull: ReadPull, curve: Curve) -> TakenAway:
    """A pull's curve: one row for each step of speed, W and N·m, and every channel on the same grid."""
    name, title = _AXES[curve.axis]
    columns = [NamedColumn(name, title, "rev/min", curve.engine_speed_rpm)]
    columns += [_figure(one, getattr(curve, one)) for one in _FIGURES]
    columns += [_channel(one, values) for one, values in curve.channels.items()]
    told = (("what", "curve of one pull"), *_of_pull(pull), *_of_curve(pull, curve))
    return TakenAway(told, tuple(columns))


def channel_table(loaded: Loaded) -> TakenAway:
    """Every sample of every channel that the map names, in inside units, on the pull's own stamps: nothing repaired.

    LookupError and ChannelMapError where the file cannot be read yet.
    """
    own = own_channels(loaded)
    joined = read_joined(loaded, own)
    channels = with_joined(own, joined)
    told = [("what", "every sample of one pull, as recorded"), *_of_pull(loaded)]
    for one in joined:
        lies = (
            "gives nothing here" if one.offset_s is None else f"offset {one.offset_s:.4f} s gives {' '.join(one.gives)}"
        )
        told.append((f"joined file {one.facts.file_name}", f"sha256 {one.facts.sha256} {lies}"))
    told += [("correction", "none: samples are observed"), ("method", METHOD_VERSION)]
    return TakenAway(tuple(told), tuple(_channel(name, values) for name, values in channels.items()))


def comparison_table(comparison: Comparison, units: ShownUnits) -> TakenAway:
    """Means of setups and single pulls on one grid, W and N·m; differences with their interval. `units`: of words."""
    name, title = _AXES[comparison.axis]
    columns = [NamedColumn(name, title, "rev/min", comparison.engine_speed_rpm)]
    for setup in comparison.setups:
        mark = letter(setup.place)
        if setup.mean is not None:
            columns += _on_grid(f"{mark}_mean", f"{mark} mean", setup.mean)
        for called, pull in drawn_pulls(comparison, setup):
            columns += _on_grid(called, called, pull.on_grid(comparison.engine_speed_rpm))
    marks = {setup.setup_id: letter(setup.place) for setup in comparison.setups}
    for one in comparison.judged:
        pair = marks[one.later_id], marks[one.first_id]
        for part in ("difference_w", "low_w", "high_w"):
            words = {"difference_w": "", "low_w": ", low end (95 %)", "high_w": ", high end (95 %)"}[part]
            values = getattr(one.verdict.pointwise, part)
            columns.append(
                NamedColumn(f"{pair[0]}_less_{pair[1]}_{part}", f"{pair[0]} less {pair[1]}{words}", "W", values)
            )
    return TakenAway(tuple(_of_comparison(comparison, units, marks)), tuple(columns))


def _on_grid(name: str, title: str, curve: OnGrid) -> list[NamedColumn]:
    figures = [(one, _figure(one, getattr(curve, one))) for one in _FIGURES]
    channels = [(one, _channel(one, values)) for one, values in curve.channels.items()]
    return [
        NamedColumn(f"{name}_{one}", f"{title} {column.title}", column.unit, column.values)
        for one, column in (*figures, *channels)
    ]


def _figure(name: str, values: Floats) -> NamedColumn:
    title, term = _FIGURES[name]
    return NamedColumn(name, title, GLOSSARY[term].unit, values)


def _channel(name: str, values: Floats) -> NamedColumn:
    known = CHANNELS.get(name)
    if known is None:
        return NamedColumn(name, name.replace("_", " "), "", values)
    return NamedColumn(name, known.title, UNITS[known.inside_unit].label, values)


def _of_pull(pull: ReadPull | Loaded) -> Iterator[Told]:
    facts = pull.facts
    yield "pull", facts.id
    yield "ticket", str(facts.ticket_number)
    yield "car", pull.ticket.vehicle.title
    yield "setup", f"{letter(facts.setup_position)} {facts.setup_name}"
    yield "kind", facts.kind
    yield "cell", facts.cell_name
    yield "taken at", _instant(facts.taken_at)
    yield "file", facts.file_name
    yield "sha256", facts.sha256
    if pull.channel_map is not None:
        yield "channel map", pull.channel_map.name
    if facts.set_aside_at is not None:
        yield "set aside", facts.set_aside_reason or ""


def _of_curve(pull: ReadPull, curve: Curve) -> Iterator[Told]:
    yield "standard", _standard(curve.standard)
    yield "factor", _factor(curve)
    if curve.air is not None:
        yield (
            "air",
            (
                f"{curve.air.temperature_c:.2f} °C; station pressure {curve.air.pressure_kpa:.3f} kPa; "
                f"vapour pressure {curve.air.vapour_pressure_kpa:.4f} kPa"
            ),
        )
    yield "window", f"{curve.window_s:.4g} s{' chosen from the data' if curve.window_chosen else ' as asked'}"
    yield "grid step", f"{curve.step_rpm:g} rev/min"
    if pull.calibration is not None:
        one = pull.calibration
        yield "calibration", f"in force since {_instant(one.valid_from)}; inertia {one.inertia_kg_m2:g} kg·m²"
    for name, figure, unit in (
        ("peak power", curve.headline.peak_power_w, "W"),
        ("peak torque", curve.headline.peak_torque_nm, "N·m"),
        ("mean power", curve.headline.mean_power_w, "W"),
    ):
        yield name, _headline(figure, unit, curve.headline.band_rpm if name == "mean power" else None)
    if pull.flags:
        yield "flags", " ".join(flag.code for flag in pull.flags)
    yield "power", "at the wheels"
    yield "method", curve.method_version
    yield "inputs digest", pull.digest


def _headline(figure: Figure, unit: str, band: tuple[float, float] | None) -> str:
    where = (
        f"at {figure.at_engine_speed_rpm:.0f} rev/min"
        if band is None
        else f"from {band[0]:.0f} to {band[1]:.0f} rev/min"
    )
    return f"{figure.value:.6g} ± {figure.expanded_uncertainty:.3g} {unit} (k = 2) {where} rev/min"


def _factor(curve: Curve) -> str:
    if curve.factor is None:
        return "none"
    return f"{curve.factor:.6f}{'' if curve.factor_valid else ' outside the limits of the standard'}"


def _standard(identifier: str) -> str:
    return f"{STANDARDS[identifier].title} ({identifier})"


def _instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _of_comparison(comparison: Comparison, units: ShownUnits, marks: Mapping[str, str]) -> Iterator[Told]:
    yield "what", "comparison of setups"
    for ticket in comparison.tickets:
        yield f"ticket {ticket.number}", ticket.vehicle.title
    yield "standard", _standard(comparison.standard)
    chosen = comparison.window_s is None
    yield "window", "chosen from the data of each pull" if chosen else f"{comparison.window_s:g} s as asked"
    yield "grid step", f"{comparison.step_rpm:g} rev/min"
    for setup in comparison.setups:
        yield f"setup {marks[setup.setup_id]}", f"{setup.called}; mean of {setup.counted}"
        names = {pull.facts.id: name for name, pull in drawn_pulls(comparison, setup)}
        for pull in setup.pulls:
            name = names.get(pull.facts.id, f"{marks[setup.setup_id]} not shown")
            yield f"pull {name}", _pull_words(pull)
    for one in comparison.judged:
        pair = f"{marks[one.later_id]} less {marks[one.first_id]}"
        yield pair, verdict_text(one.verdict, units, comparison.standard_title)
    for condition in comparison.conditions:
        said = "; ".join(f"{marks[setup_id]} {value}" for setup_id, value in condition.values.items())
        yield f"differs: {condition.name}", said
    if left := not_drawn(comparison):
        yield "not drawn", left
    if comparison.flags:
        yield "flags", " ".join(flag.code for flag in comparison.flags)
    yield "power", "at the wheels"
    yield "method", comparison.method_version
    yield "inputs digest", comparison.digest


def _pull_words(pull: ReadPull) -> str:
    facts, curve = pull.facts, pull.curve
    said = [f"{facts.id}; taken {_instant(facts.taken_at)}; file {facts.file_name}; sha256 {facts.sha256}"]
    if facts.set_aside_at is not None:
        said.append(f"set aside {facts.set_aside_reason}")
    said.append("no curve" if curve is None else f"factor {_factor(curve)}; window {curve.window_s:.4g} s")
    return "; ".join(said)
