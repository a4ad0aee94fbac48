"""Hazard ratios where patients repeat: lifelines' Cox model with patients clustered."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from analyses.statistics.regression.cox import score_residuals
from analyses.statistics.regression.fitting import fit


def repeated(patients: int = 40, seed: int = 3) -> pd.DataFrame:
    """One to three rows a patient, no two times alike; x is the patient's, z the row's."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(patients), rng.integers(1, 4, patients))
    frailty = rng.gamma(2.0, 0.5, patients)[patient]
    x = (rng.random(patients) < 0.4)[patient].astype(float)
    z = rng.normal(size=len(patient))
    event = rng.exponential(1 / (frailty * np.exp(0.6 * x + 0.3 * z)))
    censored = rng.exponential(1.0, len(patient))
    return pd.DataFrame({"x": x, "z": z, "years": np.minimum(event, censored),
                         "event": event <= censored, "patient_id": patient})


def cox(data: pd.DataFrame, terms: list[str], cluster: str | None = "patient_id"):
    return fit(data, "event", terms, cluster=cluster, estimator="cox", duration="years")


def weighted_coefficients(data: pd.DataFrame, weights: np.ndarray) -> np.ndarray:
    """Coefficients with a weight a row, by Newton's method on the partial likelihood."""
    order = np.argsort(-data["years"].to_numpy())
    x = data[["x", "z"]].to_numpy()[order]
    event, w = data["event"].to_numpy()[order].astype(float), weights[order]
    beta = np.zeros(2)
    for _ in range(60):
        score = w * np.exp(x @ beta)
        total = np.cumsum(score)
        mean = np.cumsum(score[:, None] * x, axis=0) / total[:, None]
        second = np.cumsum(score[:, None, None] * x[:, :, None] * x[:, None, :], axis=0)
        spread = second / total[:, None, None] - mean[:, :, None] * mean[:, None, :]
        own = w * event
        beta = beta + np.linalg.solve((own[:, None, None] * spread).sum(axis=0),
                                      (own[:, None] * (x - mean)).sum(axis=0))
    return beta


def by_patient(data: pd.DataFrame, coefficients: np.ndarray) -> np.ndarray:
    """The variance by patient alone, from the score residuals and lifelines' covariance."""
    from lifelines import CoxPHFitter

    plain = CoxPHFitter().fit(data.drop(columns="patient_id"), "years", "event")
    each = score_residuals(data[["x", "z"]].to_numpy(), data["years"].to_numpy(),
                           data["event"].to_numpy(), coefficients) @ plain.variance_matrix_
    total = each.groupby(data["patient_id"].to_numpy()).sum().to_numpy()
    return total.T @ total


def test_the_variance_is_the_infinitesimal_jackknife_of_patients() -> None:
    """Lin and Wei 1989: the derivative of the coefficients to the weight of each patient, squared
    and summed; here by numerical differentiation of a fit of our own."""
    data = repeated()
    base, step = np.ones(len(data)), 1e-4
    moved = []
    for patient in data["patient_id"].unique():
        own = (data["patient_id"] == patient).to_numpy() * step
        moved.append((weighted_coefficients(data, base + own)
                      - weighted_coefficients(data, base - own)) / (2 * step))
    expected = np.array(moved).T @ np.array(moved)
    found = cox(data, ["x", "z"])
    np.testing.assert_allclose(found.table["estimate"], weighted_coefficients(data, base),
                               rtol=1e-6)
    np.testing.assert_allclose(by_patient(data, found.table["estimate"].to_numpy()), expected,
                               rtol=1e-4)


def test_it_is_the_variance_by_patient_of_lifelines_where_no_times_tie() -> None:
    from lifelines import CoxPHFitter

    data = repeated()
    theirs = CoxPHFitter().fit(data, "years", "event", cluster_col="patient_id")
    ours = by_patient(data, theirs.params_.to_numpy())
    np.testing.assert_allclose(np.sqrt(np.diag(ours)), theirs.standard_errors_, rtol=1e-6)


def test_rows_of_one_time_add_the_same_whatever_their_order() -> None:
    data = repeated()
    data["years"] = np.ceil(3 * data["years"]) / 3
    mixed = data.sample(frac=1, random_state=1)
    first, again = cox(data, ["x", "z"]).table, cox(mixed, ["x", "z"]).table
    np.testing.assert_allclose(first, again, rtol=1e-6)


def test_score_residuals_sum_to_nothing_at_the_maximum() -> None:
    data = repeated()
    data["years"] = np.ceil(3 * data["years"]) / 3
    found = cox(data, ["x", "z"])
    total = score_residuals(data[["x", "z"]].to_numpy(), data["years"].to_numpy(),
                            data["event"].to_numpy(), found.table["estimate"].to_numpy())
    np.testing.assert_allclose(total.sum(axis=0), 0, atol=1e-6)


def test_no_interval_is_narrower_than_that_of_independent_rows() -> None:
    from lifelines import CoxPHFitter

    data = repeated()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        plain = CoxPHFitter().fit(data.drop(columns="patient_id"), "years", "event")
    found = cox(data, ["x", "z"]).table
    assert (found["se"].to_numpy() >= plain.standard_errors_.to_numpy() * (1 - 1e-9)).all()


def test_rows_of_one_patient_widen_the_interval_of_what_is_the_patients() -> None:
    """Every patient's rows again under the same code say nothing new."""
    data = repeated()
    again = pd.concat([data, data.assign(years=data["years"] * (1 + 1e-9))], ignore_index=True)
    once, twice = cox(data, ["x", "z"]).table, cox(again, ["x", "z"]).table
    assert twice.loc["x", "se"] == pytest.approx(once.loc["x", "se"], rel=0.1)
    apart = again.assign(patient_id=range(len(again)))
    assert cox(apart, ["x", "z"]).table.loc["x", "se"] < 0.85 * twice.loc["x", "se"]


def test_it_is_a_hazard_ratio_with_its_events_and_patients() -> None:
    found = cox(repeated(), ["x", "z"])
    one = found.estimate("x")
    assert one.kind == "hazard ratio" and one.clusters == 40 and one.events == found.events
    assert "variance by patient" in one.method


def test_a_side_without_an_event_is_refused_in_words() -> None:
    data = repeated()
    data.loc[data["x"] == 1, "event"] = False
    with pytest.raises(ValueError, match="no finite hazard ratio"):
        cox(data, ["x", "z"])


def test_a_term_of_one_patient_gets_no_number() -> None:
    data = repeated()
    data["z"] = (data["patient_id"] == data["patient_id"].mode()[0]).astype(float)
    data.loc[data["z"] == 1, "event"] = True
    found = cox(data, ["x", "z"])
    assert np.isnan(found.table.loc["z", "low"])
    assert any("only 1 patient has it" in words for words in found.warnings)
