"""The uncertainty of a pull's figures for its page: each input's share, and what another pull would share."""

from pullbook.late_methods import dataclass
from pullbook.measure.budget import Budget, BudgetRow, budget_of
from pullbook.shop.reading import ReadPull
from pullbook.shown_units import plain_number

INPUT_NAMES = {
    "inertia": "Inertia J of the rollers",
    "radius": "Roller radius",
    "speed": "Speed",
    "losses": "Roller losses",
    "brake scale": "Brake, scale of the load cell",
    "brake zero": "Brake, zero of the load cell",
    "brake arm": "Brake, length of the arm",
    "air temperature": "Air temperature",
    "air pressure": "Station pressure",
    "humidity": "Humidity",
    "method": "Method of reading",
    "noise": "Noise of the samples",
}
SHARED_NAMES = {
    "calibration": "same calibration",
    "weather_reading": "same weather reading",
    "none": "never",
}
_PLAIN_UNITS = {"1": "", "% RH": " % RH"}


@dataclass(frozen=True)
class BudgetLine:
    """An input: its value with unit, what it brings to peak power in W (k = 1), and its shares of the variance."""

    name: str
    value: str
    u: str
    kind: str
    sensitivity: str
    contribution_w: float
    share: str
    bar: float  # 0 to 100
    mean_share: str
    cancels: str
    is_shared: bool


@dataclass(frozen=True)
class BudgetShown:
    """The table of a pull's uncertainty, with what it comes to in each of the two figures."""

    lines: tuple[BudgetLine, ...]
    peak: Budget
    mean: Budget
    peak_k: str
    mean_k: str
    peak_dof: str
    shared_pct: float


def budget_shown(pull: ReadPull) -> BudgetShown | None:
    """What the page's table holds; None for a pull without a curve."""
    if pull.curve is None:
        return None
    peak, mean = budget_of(pull.curve, "peak_power"), budget_of(pull.curve, "mean_power")
    if peak is None or mean is None:
        return None
    beside = {row.name: row for row in mean.rows}
    return BudgetShown(
        lines=tuple(_line(row, beside.get(row.name)) for row in peak.rows),
        peak=peak,
        mean=mean,
        peak_k=_figures(peak.coverage_factor, 3),
        mean_k=_figures(mean.coverage_factor, 3),
        peak_dof=f"{peak.degrees_of_freedom:.0f}" if peak.degrees_of_freedom < 1e4 else "without limit",
        shared_pct=peak.cancelling_pct,
    )


def _line(row: BudgetRow, mean: BudgetRow | None) -> BudgetLine:
    unit = _PLAIN_UNITS.get(row.unit, f" {row.unit}")
    return BudgetLine(
        name=INPUT_NAMES[row.name],
        value=_figures(row.estimate, 5) + unit,
        u=_figures(row.standard_uncertainty, 2) + unit if row.standard_uncertainty else "none stated",
        kind=f"{row.evaluation}, {row.distribution}",
        sensitivity=_figures(row.sensitivity, 3) if row.sensitivity else "0",
        contribution_w=row.contribution_w,
        share=_share(row.share_pct),
        bar=round(row.share_pct, 1),
        mean_share="–" if mean is None else _share(mean.share_pct),
        cancels=SHARED_NAMES[row.shared_by],
        is_shared=row.shared_by != "none",
    )


def _share(pct: float) -> str:
    if pct == 0.0:
        return "0 %"
    return "below 0.1 %" if pct < 0.1 else f"{plain_number(pct, 1)} %"


def _figures(value: float, figures: int) -> str:
    """A number to so many significant figures, never in powers of ten where people would not write it so."""
    shown = f"{value:.{figures}g}"
    if "e" not in shown:
        return shown
    return f"{value:.0f}" if abs(value) >= 1.0 else f"{value:.8f}".rstrip("0")
