"""A curve's uncertainty budgets as answered: what each input brings, and what it comes to."""

from math import isfinite
from typing import Any, Literal

from pullbook.api.curve_shapes import EXAMPLE, CurveAnswer
from pullbook.api.shaping import Answer
from pullbook.measure.budget import Budget, BudgetRow, budget_of
from pullbook.measure.curve import Curve


class BudgetRowAnswer(Answer):
    """One input. `standard_uncertainty` is k = 1, in `unit`; `sensitivity_w` is W for each `unit`; `contribution_w` is
    k = 1 too; `share_pct` is of the variance. `evaluation` A: from the scatter of the samples. `shared_by`: pulls with
    the same calibration, or with the same weather reading, share this error, so that it cancels in a difference."""

    input: str
    estimate: float
    standard_uncertainty: float
    unit: str
    evaluation: Literal["A", "B"]
    distribution: Literal["normal", "rectangular"]
    degrees_of_freedom: float | None
    sensitivity_w: float
    contribution_w: float
    share_pct: float
    shared_by: Literal["calibration", "weather_reading", "none"]


class BudgetTotal(Answer):
    """What the rows come to; `degrees_of_freedom` are the effective ones (Welch–Satterthwaite), null: without limit."""

    value_w: float
    combined_w: float
    degrees_of_freedom: float | None
    coverage_factor: float
    expanded_w: float
    expanded_pct: float
    shared_pct: float


class BudgetedCurve(CurveAnswer):
    """A pull's curve with the uncertainty budgets (GUM) of peak power and of mean power over the band."""

    budget: list[BudgetRowAnswer]
    budget_total: BudgetTotal | None
    mean_budget: list[BudgetRowAnswer]
    mean_budget_total: BudgetTotal | None


def budget_facts(curve: Curve) -> dict[str, Any]:
    """Both budgets as answered; made here and nowhere on the way to a comparison."""
    peak, mean = budget_of(curve, "peak_power"), budget_of(curve, "mean_power")
    return {
        "budget": [] if peak is None else [_row(row) for row in peak.rows],
        "budget_total": None if peak is None else _total(peak),
        "mean_budget": [] if mean is None else [_row(row) for row in mean.rows],
        "mean_budget_total": None if mean is None else _total(mean),
    }


def _row(row: BudgetRow) -> dict[str, Any]:
    return {
        "input": row.name,
        "estimate": row.estimate,
        "standard_uncertainty": row.standard_uncertainty,
        "unit": row.unit,
        "evaluation": row.evaluation,
        "distribution": row.distribution,
        "degrees_of_freedom": _limited(row.degrees_of_freedom),
        "sensitivity_w": row.sensitivity,
        "contribution_w": round(row.contribution_w, 2),
        "share_pct": round(row.share_pct, 3),
        "shared_by": row.shared_by,
    }


def _total(budget: Budget) -> dict[str, Any]:
    return {
        "value_w": round(budget.value_w, 1),
        "combined_w": round(budget.combined_w, 2),
        "degrees_of_freedom": _limited(budget.degrees_of_freedom),
        "coverage_factor": round(budget.coverage_factor, 3),
        "expanded_w": round(budget.expanded_w, 2),
        "expanded_pct": round(budget.expanded_pct, 4),
        "shared_pct": round(budget.cancelling_pct, 3),
    }


def _limited(dof: float) -> float | None:
    """Degrees of freedom; beyond a million they limit nothing."""
    return round(dof, 1) if isfinite(dof) and dof < 1e6 else None


_ROW = BudgetRowAnswer(
    input="inertia",
    estimate=58.2,
    standard_uncertainty=0.25,
    unit="kg·m²",
    evaluation="B",
    distribution="normal",
    degrees_of_freedom=None,
    sensitivity_w=1034.5,
    contribution_w=258.6,
    share_pct=65.4,
    shared_by="calibration",
)
_SUM = BudgetTotal(
    value_w=63702.9,
    combined_w=320.06,
    degrees_of_freedom=None,
    coverage_factor=2.0,
    expanded_w=640.12,
    expanded_pct=1.0049,
    shared_pct=97.2,
)
BUDGETED_EXAMPLE = {
    **EXAMPLE,
    "budget": [_ROW.model_dump()],
    "budget_total": _SUM.model_dump(),
    "mean_budget": [_ROW.model_dump()],
    "mean_budget_total": _SUM.model_dump(),
}
