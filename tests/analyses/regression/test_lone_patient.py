"""A coefficient that rests on one patient gets no number; on two or more, one that covers."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analyses.models.model_wording import ratio_sentence
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.imputed_fit import fit_imputed
from analyses.statistics.regression.lone_patient import SOLE_SHARE
from analyses.statistics.regression.penalised_gee import penalised_gee
from analyses.statistics.regression.sandwich import (
    adjusted_scores,
    cluster_parts,
    largest_share,
    sandwich,
    satterthwaite_df,
)
from analyses.statistics.regression.terms import Term

SESSIONS = (0.35, 0.30, 0.20, 0.10, 0.05)
NUMBERS = ["estimate", "se", "low", "high", "p"]


def patients(holders=1, rows_each=2, seed=3, count=60):
    """Sessions of `count` patients, `holders` of whom have the route "venous"."""
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(count), rows_each)
    route = np.where(patient % 3 == 0, "b", "a").astype(object)
    route[np.isin(patient, 3 * np.arange(holders) + 7)] = "venous"
    n = len(patient)
    event = rng.random(n) < 0.3
    event[route == "venous"] = np.arange((route == "venous").sum()) % 2 == 0
    return pd.DataFrame({
        "patient": [f"P-{code}" for code in patient], "route": route, "grade": rng.normal(size=n),
        "blood_loss_ml": np.exp(rng.normal(6, 0.6, size=n)), "event": event.astype(int),
        "mrs": rng.integers(0, 4, size=n)})


def model(data, estimator, reference="a"):
    outcome = {"log-linear": "blood_loss_ml", "ordinal": "mrs"}.get(estimator, "event")
    return fit(data, outcome, [Term(("route",), "factor", reference=reference), "grade"],
               cluster="patient", estimator=estimator)


@pytest.mark.parametrize("estimator", ["log-linear", "poisson", "gee", "ordinal"])
def test_a_level_of_one_patient_has_no_number_and_is_named(estimator):
    found = model(patients(), estimator)
    assert found.table.loc["route [venous]", NUMBERS].isna().all()
    one = found.estimate("route [venous]", "session")
    assert one.value is one.low is one.high is None
    assert sum("route [venous]: only 1 patient has it (in 2 rows)" in w
               for w in found.warnings) == 1
    assert not any("Very few patients" in w for w in found.warnings)
    assert ratio_sentence(one, "blood loss").startswith("route [venous]: these data cannot answer")
    others = found.table.drop(index="route [venous]")
    assert np.isfinite(others.to_numpy()).all()


@pytest.mark.parametrize("estimator", ["log-linear", "poisson", "gee"])
def test_the_other_coefficients_are_those_without_that_patient(estimator):
    # With the patient's level fitted exactly, the other coefficients do not know of the patient.
    data = patients()
    data.loc[data["route"] == "venous", "grade"] = 0.3  # else it would tell of the grade's slope
    whole, without = model(data, estimator), model(data[data["route"] != "venous"], estimator)
    for name in ("estimate", "se"):
        np.testing.assert_allclose(whole.table[name].drop("route [venous]"),
                                   without.table[name], rtol=1e-6)


@pytest.mark.parametrize("estimator", ["log-linear", "poisson", "gee", "ordinal"])
def test_a_reference_of_one_patient_leaves_every_comparison_with_it_open(estimator):
    found = model(patients(), estimator, reference="venous")
    lines = ["route [a]", "route [b]"]
    assert found.table.loc[lines, NUMBERS].isna().all(axis=None)
    assert np.isfinite(found.table.loc["grade", NUMBERS].to_numpy(float)).all()
    assert any(w.startswith("route [b]: 20 patients have it, but one patient alone determines")
               for w in found.warnings)


@pytest.mark.parametrize("estimator", ["log-linear", "poisson", "gee", "ordinal"])
def test_a_level_of_two_patients_has_a_number_and_a_caution(estimator):
    found = model(patients(holders=2), estimator)
    assert np.isfinite(found.table.to_numpy()).all()
    assert any("Very few patients on one side of: route [venous] (2)" in w for w in found.warnings)


def test_the_penalised_default_keeps_a_number_whose_interval_says_how_little_is_known():
    found = model(patients(), "penalised-gee")
    line = found.table.loc["route [venous]"]
    assert np.isfinite(line.to_numpy()).all() and line["high"] - line["low"] > 4
    assert any("Very few patients on one side of: route [venous] (1)" in w for w in found.warnings)
    turned = model(patients(), "penalised-gee", reference="venous")
    assert any("reference of route (1)" in w for w in turned.warnings)
    assert penalised_gee(found.rows, 0.95).undetermined == ()


def test_one_row_a_patient_without_a_patient_column_counts_rows():
    data = patients(rows_each=1).drop(columns="patient")
    found = fit(data, "blood_loss_ml", ["route", "grade"])
    assert any(w.startswith("route [venous]: only 1 row has it; no number") for w in found.warnings)


def test_a_single_row_with_the_event_has_no_risk_ratio():
    data = patients()
    data["device"] = (np.arange(len(data)) == 11).astype(int)
    data.loc[11, "event"] = 1
    found = fit(data, "event", ["device", "grade"], cluster="patient", estimator="poisson")
    assert found.estimate("device").value is None
    # The interval that is not shown is that of the reference alone: the row adds nothing to it.
    rest = fit(data.drop(index=11), "event", ["grade"], cluster="patient", estimator="poisson")
    assert found.fitted.coefficients[0] == pytest.approx(rest.fitted.coefficients[0], rel=1e-6)
    assert found.table.loc["intercept", "se"] == pytest.approx(rest.table.loc["intercept", "se"])


@pytest.mark.parametrize("value, words", [(1, "All 3 rows with device had the event"),
                                          (0, "All 3 rows without device had the event")])
def test_events_in_every_row_of_a_side_have_no_risk_ratio(value, words):
    data = patients()
    side = np.isin(np.arange(len(data)), (11, 40, 71))
    data["device"] = np.where(side, value, 1 - value)
    data.loc[side, "event"] = 1
    found = fit(data, "event", ["device"], cluster="patient", estimator="poisson")
    assert found.estimate("device").value is None
    assert sum(words in w for w in found.warnings) == 1
    # Binomial share of 3/3: 29.2 to 100 % (Clopper and Pearson 1934), not 100 to 100 %.
    assert stats.beta.ppf(0.025, 3, 1) == pytest.approx(0.292, abs=5e-4)


def test_the_share_of_a_patient_is_what_leaving_the_patient_out_takes_away():
    rng = np.random.default_rng(8)
    cluster = np.repeat(np.arange(12), rng.integers(1, 4, 12))
    x = np.column_stack([np.ones(len(cluster)), rng.normal(size=len(cluster)),
                         np.isin(cluster, (2, 5))])
    weight = rng.uniform(0.1, 1, len(cluster))
    parts = cluster_parts(x, weight, np.zeros(len(cluster)), cluster)
    whole = np.diag(np.linalg.inv((x * weight[:, None]).T @ x))
    lost = []
    for patient in range(12):
        kept = cluster != patient
        less = np.diag(np.linalg.inv((x[kept] * weight[kept, None]).T @ x[kept]))
        lost.append(1 - whole / less)
    np.testing.assert_allclose(largest_share(parts), np.max(lost, axis=0), rtol=1e-9)


def test_a_pooled_model_gives_no_number_either():
    data = patients()
    data.loc[::9, "grade"] = np.nan
    found = fit_imputed(data, "blood_loss_ml", ["route", "grade"], cluster="patient", times=3)
    by_term = {(one.group or {})["term"]: one for one in found.estimates("resection")}
    assert by_term["route [venous]"].value is by_term["route [venous]"].high is None
    assert by_term["grade"].value is not None
    assert any("route [venous]: only 1 patient has it" in w for w in found.warnings)


def test_a_level_of_one_patient_in_some_completed_sets_has_no_pooled_number():
    # The second patient of the level has it imputed: in sets where it comes out as another level,
    # one patient alone is left.
    data = patients(holders=2)
    second = data["patient"] == "P-10"
    assert (data.loc[second, "route"] == "venous").all()
    data.loc[second, "route"] = None
    found = fit_imputed(data, "blood_loss_ml", ["route", "grade"], cluster="patient", times=6)
    without = [bool(model.fitted.undetermined) for model in found.models]
    assert any(without)
    by_term = {(one.group or {})["term"]: one for one in found.estimates("resection")}
    assert by_term["route [venous]"].value is None and by_term["route [b]"].value is not None
    assert sum("route [venous]" in w and "no " in w for w in found.warnings) == 1


def level_coverage(kind, correlation, count, sets, seed):
    """Coverage of the CR2 interval of a level of few rows, on standardised normal logarithms.

    kind: rows of the level, in as many patients; or ("one patient", rows). True ratio 1.
    """
    rng = np.random.default_rng(seed)
    covered, shares = [], []
    for _ in range(sets):
        sizes = rng.choice(5, size=count, p=SESSIONS) + 1
        patient = np.repeat(np.arange(count), sizes)
        level = np.zeros(len(patient))
        if isinstance(kind, tuple):
            chosen = rng.choice(np.flatnonzero(sizes >= kind[1]))
            level[np.flatnonzero(patient == chosen)[: kind[1]]] = 1
        else:
            for chosen in rng.choice(count, kind, replace=False):
                level[rng.choice(np.flatnonzero(patient == chosen))] = 1
        x = np.column_stack([np.ones(len(patient)), level, rng.normal(size=count)[patient],
                             (rng.random(count) < 0.45)[patient],
                             rng.uniform(0, 2, len(patient))])
        y = (np.sqrt(correlation) * rng.normal(size=count)[patient]
             + np.sqrt(1 - correlation) * rng.normal(size=len(patient)))
        beta = np.linalg.lstsq(x, y, rcond=None)[0]
        parts = cluster_parts(x, np.ones(len(y)), y - x @ beta, patient)
        variance = sandwich(parts, adjusted_scores(parts, 0.5, bound=1 - 1e-8))[1, 1]
        df = max(1.0, satterthwaite_df(parts, 0.5, bound=1 - 1e-8)[1])
        covered.append(abs(beta[1]) <= stats.t.ppf(0.975, df) * np.sqrt(variance))
        shares.append(largest_share(parts)[1])
    return float(np.mean(covered)), np.array(shares)


@pytest.mark.slow
@pytest.mark.parametrize("count", [60, 200])
@pytest.mark.parametrize("kind", [2, 3, 5])
@pytest.mark.parametrize("correlation", [0.05, 0.5])
def test_a_level_of_two_three_or_five_rows_is_covered(kind, correlation, count):
    sets = 1000
    covered, shares = level_coverage(kind, correlation, count, sets, seed=[7, kind, count])
    assert covered >= 0.94 - 3 * np.sqrt(0.95 * 0.05 / sets)
    assert (shares < SOLE_SHARE).all()


@pytest.mark.slow
@pytest.mark.parametrize("kind", [1, ("one patient", 2)])
def test_what_is_withheld_would_have_been_too_narrow(kind):
    covered, shares = level_coverage(kind, 0.05, 200, 1000, seed=9)
    assert covered < 0.94 - 3 * np.sqrt(0.95 * 0.05 / 1000)
    assert (shares >= SOLE_SHARE).all()
