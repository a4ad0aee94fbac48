"""The clustered variance agrees with geepack, with definitions worked out in R, and with itself."""

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.regression import sandwich
from analyses.statistics.regression.firth import penalised_logistic

DATA_SETS = recorded("gee")


def fitted(case, penalty):
    x = np.column_stack([case["columns"][name] for name in case["columns"]])
    fit = penalised_logistic(x, np.array(case["y"], float), penalty=penalty)
    weight = fit.risk * (1 - fit.risk)
    return fit, sandwich.cluster_parts(x, weight, fit.y - fit.risk, np.array(case["cluster"]))


def errors(parts, power):
    scores = sandwich.adjusted_scores(parts, power)
    return np.sqrt(np.diag(sandwich.sandwich(parts, scores)))


@pytest.mark.parametrize("case", DATA_SETS, ids=lambda case: case["name"])
def test_without_the_penalty_it_is_the_ordinary_gee_of_r_geepack(case):
    fit, parts = fitted(case, 0.0)
    np.testing.assert_allclose(fit.coefficients, case["estimate"], rtol=1e-6)
    np.testing.assert_allclose(errors(parts, 0.0), case["robust"], rtol=1e-6)


@pytest.mark.parametrize("case", DATA_SETS, ids=lambda case: case["name"])
def test_leverage_corrections_agree_with_their_definitions_worked_out_in_r(case):
    _, parts = fitted(case, 0.0)
    np.testing.assert_allclose(errors(parts, 1.0), case["mancl_derouen"], rtol=1e-6)
    np.testing.assert_allclose(errors(parts, 0.5), case["kauermann_carroll"], rtol=1e-6)


@pytest.mark.parametrize("case", DATA_SETS, ids=lambda case: case["name"])
def test_ordinary_gee_agrees_with_statsmodels(case):
    import statsmodels.api as sm

    fit, parts = fitted(case, 0.0)
    x = fit.columns
    other = sm.GEE(case["y"], x, groups=case["cluster"], family=sm.families.Binomial()).fit()
    np.testing.assert_allclose(fit.coefficients, other.params, rtol=1e-6)
    np.testing.assert_allclose(errors(parts, 0.0), other.bse, rtol=1e-5)


def quadratic_form_df(x, weight, cluster, term):
    """Bell and McCaffrey's degrees of freedom from whole (rows x rows) matrices."""
    bread = np.linalg.inv((x * weight[:, None]).T @ x)
    hat = (x * weight[:, None]) @ bread @ x.T
    columns = []
    for patient in np.unique(cluster):
        rows = np.flatnonzero(cluster == patient)
        own = np.linalg.inv(np.eye(len(rows)) - hat[np.ix_(rows, rows)])
        reach = bread[term] @ x[rows].T @ own
        columns.append(reach @ (np.eye(len(x)) - hat)[rows])
    g = np.array(columns)
    middle = g @ np.diag(weight) @ g.T
    return np.trace(middle) ** 2 / np.trace(middle @ middle)


def test_satterthwaite_degrees_of_freedom_follow_the_definition():
    rng = np.random.default_rng(5)
    cluster = np.repeat(np.arange(25), rng.integers(1, 5, 25))
    x = np.column_stack([np.ones(len(cluster)), rng.normal(size=(len(cluster), 2))])
    weight = rng.uniform(0.05, 0.25, len(cluster))
    parts = sandwich.cluster_parts(x, weight, rng.normal(size=len(cluster)), cluster)
    found = sandwich.satterthwaite_df(parts)
    for term in range(3):
        assert found[term] == pytest.approx(quadratic_form_df(x, weight, cluster, term))


def test_order_of_rows_does_not_matter():
    case = DATA_SETS[2]
    fit, parts = fitted(case, 0.5)
    mixed = np.random.default_rng(1).permutation(len(fit.y))
    weight = fit.risk * (1 - fit.risk)
    again = sandwich.cluster_parts(
        fit.columns[mixed], weight[mixed], (fit.y - fit.risk)[mixed],
        np.array(case["cluster"])[mixed],
    )
    np.testing.assert_allclose(errors(again, 1.0), errors(parts, 1.0), rtol=1e-10)


def test_a_patient_who_alone_carries_a_term_leaves_the_variance_finite():
    cluster = np.repeat(np.arange(30), 2)
    x = np.column_stack([np.ones(60), (cluster == 7).astype(float)])
    y = np.zeros(60)
    y[::7] = 1
    fit = penalised_logistic(x, y)
    weight = fit.risk * (1 - fit.risk)
    parts = sandwich.cluster_parts(x, weight, y - fit.risk, cluster)
    assert np.isfinite(errors(parts, 1.0)).all()
    assert np.isfinite(sandwich.satterthwaite_df(parts)).all()


@pytest.mark.reference
def test_r_still_gives_the_recorded_values():
    assert_same(run_r("gee"), DATA_SETS, rel=1e-6)
