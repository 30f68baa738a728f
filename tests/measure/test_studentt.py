"""Student's t against printed values and against scipy, for whole and broken degrees of freedom."""

import numpy as np
import pytest
from scipy import stats

from pullbook.measure.studentt import t_cdf, t_quantile, two_sided_95
from tests.published.published_rows import case, published

DOFS = np.array([1.0, 1.02, 1.5, 2.0, 2.7, 3.0, 5.0, 9.9, 16.0, 40.0, 333.3, 1e4])


@pytest.mark.parametrize("row", published("student_t"), ids=case)
def test_a_quantile_is_the_published_one(row):
    words = dict(word.split("=") for word in row.inputs["inputs"].split())
    row.assert_near(float(t_quantile(0.5 + 0.5 * float(words["confidence"]), float(words["nu"]))))


@pytest.mark.parametrize("probability", [0.6, 0.75, 0.9, 0.95, 0.975, 0.995, 0.9995])
def test_quantiles_are_scipys_to_ten_digits(probability):
    np.testing.assert_allclose(t_quantile(probability, DOFS), stats.t.ppf(probability, DOFS), rtol=1e-10)


@pytest.mark.parametrize("dof", [0.5, *DOFS])
def test_the_distribution_function_is_scipys(dof):
    t = np.concatenate([np.linspace(-40.0, 40.0, 161), [-1e9, 1e9]])
    np.testing.assert_allclose(t_cdf(t, dof), stats.t.cdf(t, dof), atol=1e-10)


def test_the_table_is_good_to_a_millionth_between_its_knots_too():
    dof = 1.0 / np.random.default_rng(1).uniform(1e-6, 1.0, 4000)
    np.testing.assert_allclose(two_sided_95(dof), stats.t.ppf(0.975, dof), rtol=1e-6)
    assert float(two_sided_95(np.inf)) == pytest.approx(stats.norm.ppf(0.975), rel=1e-12)


@pytest.mark.parametrize(("probability", "dof"), [(0.4, 3.0), (1.0, 3.0), (0.975, 0.5), (0.975, np.nan)])
def test_what_it_cannot_do_it_refuses(probability, dof):
    with pytest.raises(ValueError, match="will not do"):
        t_quantile(probability, dof)
