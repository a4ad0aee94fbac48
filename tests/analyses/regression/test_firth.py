"""Firth's logistic regression agrees with R and with the published endometrial values."""

import numpy as np
import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.regression.firth import (
    penalised_logistic,
    profile_interval,
    profile_test,
)

DATA_SETS = recorded("firth")


def fitted(case):
    x = np.column_stack([case["columns"][name] for name in case["columns"]])
    return penalised_logistic(x, np.array(case["y"], float))


@pytest.mark.parametrize("case", DATA_SETS, ids=lambda case: case["name"])
def test_estimates_and_errors_agree_with_r_brglm2(case):
    fit = fitted(case)
    np.testing.assert_allclose(fit.coefficients, case["estimate"], rtol=1e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), case["se"], rtol=1e-6)


@pytest.mark.parametrize("case", DATA_SETS, ids=lambda case: case["name"])
def test_profile_intervals_and_tests_agree_with_a_profile_written_in_base_r(case):
    fit = fitted(case)
    low, high = profile_interval(fit)
    np.testing.assert_allclose(low, case["low"], rtol=1e-5)
    np.testing.assert_allclose(high, case["high"], rtol=1e-5)
    statistic, _ = profile_test(fit)
    np.testing.assert_allclose(statistic, case["likelihood_ratio"], rtol=1e-5)


def test_the_published_endometrial_intervals():
    # Heinze and Schemper 2002, Stat Med 21:2409; a neovascularisation of 1 separates the data.
    fit = fitted(DATA_SETS[0])
    low, high = profile_interval(fit)
    np.testing.assert_allclose(
        fit.coefficients, [3.774559, 2.929273, -0.034752, -2.604164], atol=6e-7
    )
    np.testing.assert_allclose(low[1:], [0.610, -0.124, -4.365], atol=6e-4)
    np.testing.assert_allclose(high[1:], [7.855, 0.040, -1.233], atol=6e-4)


@pytest.mark.parametrize("case", DATA_SETS, ids=lambda case: case["name"])
def test_estimates_agree_with_the_firthmodels_library(case):
    from firthmodels import FirthLogisticRegression

    x = np.column_stack([case["columns"][name] for name in case["columns"]])
    other = FirthLogisticRegression(
        backend="numpy", fit_intercept=False, gtol=1e-8, xtol=1e-8, max_iter=200
    ).fit(x, case["y"])
    np.testing.assert_allclose(fitted(case).coefficients, other.coef_, rtol=2e-6, atol=1e-8)


def test_weights_count_rows():
    case = DATA_SETS[1]
    x = np.column_stack([case["columns"][name] for name in case["columns"]])
    y = np.array(case["y"], float)
    counts = np.random.default_rng(3).integers(0, 3, len(y))
    repeated = penalised_logistic(np.repeat(x, counts, axis=0), np.repeat(y, counts))
    weighted = penalised_logistic(x, y, weights=counts)
    np.testing.assert_allclose(weighted.coefficients, repeated.coefficients, rtol=1e-7)


def test_no_penalty_is_maximum_likelihood():
    import statsmodels.api as sm

    case = DATA_SETS[3]
    x = np.column_stack([case["columns"][name] for name in case["columns"]])
    ours = penalised_logistic(x, np.array(case["y"]), penalty=0.0)
    theirs = sm.Logit(case["y"], x).fit(disp=0, tol=1e-12)
    np.testing.assert_allclose(ours.coefficients, theirs.params, rtol=1e-7)


def test_data_that_cannot_be_fitted_get_a_sentence():
    x = np.column_stack([np.ones(6), np.arange(6.0)])
    with pytest.raises(ValueError, match="outcome is the same in all 6 rows"):
        penalised_logistic(x, np.zeros(6))
    with pytest.raises(ValueError, match="combination of the others"):
        penalised_logistic(np.column_stack([x, x[:, 1]]), np.array([0, 1, 0, 1, 0, 1]))


@pytest.mark.reference
def test_r_still_gives_the_recorded_values():
    assert_same(run_r("firth"), DATA_SETS, rel=1e-6)
