"""How uncertainty travels from inputs to a result: JCGM 100:2008 (GUM) 5.1.2, 5.2.2, 6.3.3 and annex G.

The tests hold it to the guide's own worked examples H.1 and H.2.
"""

from collections.abc import Sequence
from math import inf, sqrt

import numpy as np

from pullbook.measure.curveparts import Array
from pullbook.measure.studentt import two_sided_95

COVERAGE = 2.0  # k: about 95 %
_MANY_DOF = 60.0  # from here on Student's factor for 95 % is 2 or less


def combined(contributions: Sequence[float]) -> float:
    """Combined standard uncertainty of independent contributions, all in one unit: the root of their squares' sum."""
    return sqrt(sum(part * part for part in contributions))


def effective_dof(contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Degrees of freedom of the combined uncertainty (Welch and Satterthwaite; GUM G.4.1); infinity where all are.

    `dofs`: those of each contribution, above 0; infinity for one that no repetition has measured (type B).
    """
    total = sum(part * part for part in contributions)
    spent = sum(part**4 / dof for part, dof in zip(contributions, dofs, strict=True) if dof != inf)
    return total * total / spent if spent > 0.0 else inf


def coverage_factor(dof: float) -> float:
    """k for about 95 %: 2, or Student's factor where so few degrees of freedom make that larger; `dof` 1 or more."""
    return COVERAGE if dof >= _MANY_DOF else max(COVERAGE, float(two_sided_95(max(dof, 1.0))))


def propagated(sensitivities: Array, covariance: Array) -> Array:
    """Covariance of results from that of inputs that may depend on each other (GUM 5.2.2).

    `sensitivities`: one row a result, one column an input; `covariance`: inputs by inputs. Results by results is given.
    """
    made: Array = np.asarray(sensitivities @ covariance @ sensitivities.T, np.float64)
    return made
