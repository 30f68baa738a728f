"""The guide's worked examples and certified data sets, through the service's own propagation, lines and means.

Input data of H.1 to H.3: JCGM 100:2008, tables H.1, H.2 and H.6, from memory; H.2's and H.3's stand in the tests and
the documentation of a public library as well. The one-way analysis of variance that the same collections certify is
nothing that the service does.
"""

import csv
from math import cos, inf, sin, sqrt

import numpy as np
import pytest

from pullbook.measure.brakecheck import Step, check_brake
from pullbook.measure.contrast import contrast, plan_of
from pullbook.measure.controlchart import trend_of
from pullbook.measure.propagation import combined, effective_dof, propagated
from pullbook.measure.studentt import t_quantile, two_sided_95
from tests.published.published_rows import FOLDER, case, published

GUM = published("gum_examples")


def _rows(topic):
    return [row for row in GUM if row.inputs["topic"] == topic]


def _end_gauge():
    """Nanometres: the standard, the comparator's three parts, the difference of expansion, that of temperature."""
    comparator, dofs = (5.8, 3.9, 6.7), (24.0, 5.0, 8.0)
    length_nm, expansion = 50_000_623.0, 11.5e-6
    contributions = (25.0, combined(comparator), length_nm * 0.1 * 0.58e-6, length_nm * expansion * 0.029)
    known = (18.0, effective_dof(comparator, dofs), 50.0, 2.0)
    u, dof = combined(contributions), effective_dof(contributions, known)
    k99 = float(t_quantile(0.995, float(int(dof))))
    return {
        "value_mm": (length_nm + 215.0) * 1e-6,
        "u_d_nm": contributions[1],
        "dof_d": known[1],
        "contribution of d_theta, nm": contributions[3],
        "u_nm": u,
        "u_nm_unrounded": u,
        "dof": dof,
        "dof_truncated": int(dof),
        "k99": k99,
        "U99_nm": k99 * u,
    }


@pytest.mark.parametrize("row", _rows("GUM_H1"), ids=case)
def test_the_end_gauge_of_h1(row):
    found = _end_gauge()[row.inputs["inputs"]]
    if row.tolerance == "exact":
        assert found == int(row.expected)
    else:
        row.assert_near(found)


VOLTS = (5.007, 4.994, 5.005, 4.990, 4.999)
AMPERES = (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)
RADIANS = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


def _impedance():
    observed = np.column_stack([VOLTS, AMPERES, RADIANS])
    told = contrast(np.vstack([observed, observed]), plan_of(np.zeros(5), np.zeros(5)))
    (volts, ampere, phase), u = told.first, told.spreads[0] / sqrt(5.0)
    away = observed - told.first
    covariance = away.T @ away / (5.0 * 4.0)
    assert np.allclose(np.sqrt(np.diag(covariance)), u, rtol=1e-12)
    z = volts / ampere
    sensitivities = np.array(
        [
            [cos(phase) / ampere, -z * cos(phase) / ampere, -z * sin(phase)],
            [sin(phase) / ampere, -z * sin(phase) / ampere, z * cos(phase)],
            [1.0 / ampere, -z / ampere, 0.0],
        ]
    )
    made = propagated(sensitivities, covariance)
    found = {"V": volts, "I": ampere, "phi": phase, "u of V": u[0], "u of I": u[1], "u of phi": u[2]}
    names = ("R_ohm", "X_ohm", "Z_ohm")
    found |= dict(zip(names, (z * cos(phase), z * sin(phase), z), strict=True))
    for row, one in enumerate(names):
        found[f"u of {one}"] = sqrt(made[row, row])
        for column, other in enumerate(names[:row]):
            found[f"r of {other} {one}"] = made[row, column] / sqrt(made[row, row] * made[column, column])
    return found


@pytest.mark.parametrize("row", _rows("GUM_H2_correlated_inputs"), ids=case)
def test_the_resistance_and_reactance_of_h2(row):
    row.assert_near(float(_impedance()[row.inputs["inputs"]]))


def _line(x, y):
    """The line through a brake's weights, as reading on truth: y = start + slope·x, with standard uncertainties."""
    steps = [Step(mass, reading, True) for mass, reading in zip(x, y, strict=True)]
    fit = check_brake(steps, arm_m=1.0, arm_u_m=0.0, gravity_m_s2=1.0, gravity_u_m_s2=0.0)
    slope, few = 1.0 / fit.scale, float(two_sided_95(len(steps) - 2.0)) / 1.96  # few steps: wide enough for k = 2
    return {
        "slope": slope,
        "start": fit.zero_nm * slope,
        "u_slope": fit.scale_u / fit.scale * slope / few,
        "u_start": fit.zero_u_nm * slope / few,
        "resid_sd": fit.left_nm * slope,
    }


DEGREES = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def _thermometer():
    x = np.array(DEGREES) - 20.0
    found = _line(x, CORRECTIONS)
    # both uncertainties fix what slope and start share: the mean point is known independently of the slope
    shared = -float(x.mean()) * found["u_slope"] ** 2
    covariance = np.array([[found["u_slope"] ** 2, shared], [shared, found["u_start"] ** 2]])
    at_30 = np.array([[10.0, 1.0]])
    return {
        **found,
        "s": found["resid_sd"],
        "sum_sq_residuals": 9.0 * found["resid_sd"] ** 2,
        "at_30": found["start"] + 10.0 * found["slope"],
        "u_at_30": sqrt(propagated(at_30, covariance)[0, 0]),
    }


@pytest.mark.parametrize("row", _rows("GUM_H3_thermometer_line"), ids=case)
def test_the_thermometer_line_of_h3(row):
    row.assert_near(_thermometer()[row.inputs["inputs"]])


def _norris():
    with (FOLDER / "nist_norris_values.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    return [float(row["x"]) for row in rows], [float(row["y"]) for row in rows]


@pytest.mark.parametrize("row", published("nist_line"), ids=case)
def test_a_certified_line(row):
    row.assert_near(_line(*_norris())[row.inputs["inputs"]])


def test_a_drift_over_time_has_the_certified_slope():
    x, y = _norris()
    (slope,) = (row for row in published("nist_line") if row.inputs["inputs"] == "slope")
    slope.assert_near(trend_of(x, y).slope)


def _sample(name):
    with (FOLDER / "nist_univariate_values.csv").open(encoding="utf-8", newline="") as lines:
        (told,) = (row["values"] for row in csv.DictReader(lines) if row["data_set"] == name)
    first, _, again = told.partition(" then 500 times ")
    return np.array([float(value) for value in (*first.split(), *(again.split() * 500))])


@pytest.mark.parametrize("row", published("nist_univariate"), ids=case)
def test_a_certified_mean_and_deviation(row):
    values = _sample(row.inputs["data_set"])
    times = np.zeros(len(values))
    told = contrast(np.tile(values, 2)[:, None], plan_of(times, times))
    found = {"mean": told.later[0], "standard_deviation": told.spreads[1][0]}
    row.assert_near(float(found[row.inputs["quantity"]]))


def test_what_no_repetition_has_measured_has_no_end_of_degrees_of_freedom():
    assert effective_dof((3.0, 4.0), (inf, inf)) == inf
