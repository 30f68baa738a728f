"""Several checks of one brake by known weights, taken together: every one counts, and how far they lie apart.

Arm, weights and gravity err alike in every check, so taking more of them makes the scale no surer than the checks are
by themselves. What is seen between checks – a zero that walks, an arm that was fitted anew – is added: their scatter as
that of their mean, with Student's factor, since a few checks know it badly.
"""

from collections.abc import Sequence

import numpy as np

from pullbook.late_methods import dataclass
from pullbook.measure.brakecheck import BrakeCheck
from pullbook.measure.studentt import two_sided_95

_APART = 2.0  # in terms of what each check is unsure of


@dataclass(frozen=True)
class BrakePool:
    """Scale and zero (N·m) of all checks together, their standard uncertainties (k = 1), and the scatter between the
    checks (standard deviation); None with one check. `words`: how they were taken together."""

    scale: float
    scale_u: float
    zero_nm: float
    zero_u_nm: float
    scale_scatter: float | None
    zero_scatter_nm: float | None
    checks: int
    words: tuple[str, ...]


def pool_checks(checks: Sequence[BrakeCheck]) -> BrakePool:
    """One check or more as one scale and zero. ValueError for none."""
    if not checks:
        raise ValueError("there is no check of the brake to take a scale from")
    scale, scale_u, scale_scatter = _together([one.scale for one in checks], [one.scale_u for one in checks])
    zero, zero_u, zero_scatter = _together([one.zero_nm for one in checks], [one.zero_u_nm for one in checks])
    words: tuple[str, ...] = ()
    if scale_scatter is not None and zero_scatter is not None:
        words = (
            f"Scale and zero are the mean of {len(checks)} checks by weights. From check to check the scale differs by "
            f"{100.0 * scale_scatter / scale:.2f} % and the zero by {zero_scatter:.2f} N·m (standard deviation); the "
            "uncertainty counts it in.",
        )
        away = max(abs(one.scale - scale) / max(one.scale_u, 1e-12) for one in checks)
        if away > _APART:
            words += (
                f"Look first: one check's scale is {away:.1f} of its own standard uncertainties from the mean. Was the "
                "arm, the load cell or its amplifier changed between? Then choose only the checks made since.",
            )
    return BrakePool(scale, scale_u, zero, zero_u, scale_scatter, zero_scatter, len(checks), words)


def _together(values: Sequence[float], u: Sequence[float]) -> tuple[float, float, float | None]:
    """Mean, its standard uncertainty, and the scatter between the values; what each is unsure of is common to all."""
    mean, common = float(np.mean(values)), float(np.sqrt(np.mean(np.square(u))))
    if len(values) < 2:
        return mean, common, None
    scatter = float(np.std(values, ddof=1))
    of_mean = scatter / len(values) ** 0.5 * float(two_sided_95(len(values) - 1.0)) / 1.96
    return mean, float(np.hypot(common, of_mean)), scatter
