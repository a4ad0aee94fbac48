"""Risk ratios, proportional odds, log-linear and Cox models agree with R; so does Rubin's rule."""

import numpy as np
import pandas as pd
import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.rubin import pool

VALUES = recorded("regression_models")


def frame(name):
    return pd.DataFrame(VALUES[name]["data"])


def test_modified_poisson_agrees_with_r_sandwich():
    found = fit(frame("poisson"), "low", ["smoke", "ht", "age"], estimator="poisson").table
    np.testing.assert_allclose(found["estimate"], VALUES["poisson"]["estimate"], rtol=1e-7)
    np.testing.assert_allclose(found["se"], VALUES["poisson"]["robust"], rtol=1e-7)


def test_modified_poisson_by_patient_agrees_with_r_sandwich():
    found = fit(frame("poisson_clustered"), "y", ["active", "week"], cluster="id",
                estimator="poisson").table
    expected = VALUES["poisson_clustered"]
    np.testing.assert_allclose(found["estimate"], expected["estimate"], rtol=1e-7)
    np.testing.assert_allclose(found["se"], expected["robust"], rtol=1e-7)


def test_proportional_odds_agrees_with_r_polr():
    data = frame("ordinal")
    data["sat"] = pd.Categorical(data["sat"], ordered=True)
    found = fit(data, "sat", ["influence", "contact"])
    assert found.estimator == "ordinal"
    np.testing.assert_allclose(found.table["estimate"], VALUES["ordinal"]["estimate"], rtol=1e-6)
    np.testing.assert_allclose(found.table["se"], VALUES["ordinal"]["se"], rtol=1e-5)


def test_log_linear_agrees_with_cr2_worked_out_from_whole_matrices():
    found = fit(frame("cr2"), "weight", ["time", "vitamin"], cluster="pig")
    assert found.estimator == "log-linear"
    np.testing.assert_allclose(found.table["estimate"], VALUES["cr2"]["estimate"], rtol=1e-8)
    np.testing.assert_allclose(found.table["se"], VALUES["cr2"]["se"], rtol=1e-8)
    np.testing.assert_allclose(found.fitted.df, VALUES["cr2"]["df"], rtol=1e-8)


def test_firth_cox_agrees_with_the_penalised_likelihood_maximised_in_r():
    found = fit(frame("firth_cox"), "event", ["age", "rx", "ecog"], estimator="cox",
                duration="time").table
    for column in ("estimate", "low", "high"):
        np.testing.assert_allclose(found[column], VALUES["firth_cox"][column], rtol=1e-5)


def test_pooling_agrees_with_mice():
    case = VALUES["rubin"]
    found = pool(np.array(case["Q"])[:, None], np.array(case["U"])[:, None], case["n"] - case["k"])
    assert found.estimate[0] == pytest.approx(case["estimate"])
    assert found.se[0] ** 2 == pytest.approx(case["total"])
    assert found.df[0] == pytest.approx(case["df"])
    assert found.missing_information[0] == pytest.approx(case["fmi"])


@pytest.mark.parametrize("outcome, message", [
    ([0, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, 0], "no finite risk ratio for x"),
])
def test_a_risk_ratio_that_does_not_exist_is_refused_in_words(outcome, message):
    data = pd.DataFrame({"y": outcome, "x": [0, 0, 0, 0, 1, 1, 0, 1, 0, 1, 0, 0]})
    with pytest.raises(ValueError, match=message):
        fit(data, "y", ["x"], estimator="poisson")


@pytest.mark.reference
def test_r_still_gives_the_recorded_values():
    assert_same(run_r("regression_models"), VALUES, rel=1e-5)
