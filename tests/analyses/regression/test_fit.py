"""`fit`: the right model for the data, the words that go with it, and finite answers."""

import numpy as np
import pandas as pd
import pytest
from clustered_data import Cell, as_frame, draw
from reference_runs import recorded

from analyses.statistics.regression.firth import penalised_logistic
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.terms import Term

TERMS = ["exposure", "sm_grade", "ruptured", "case_number"]
ONE_A_PATIENT = {case["name"]: case for case in recorded("firth")}
CLUSTERED = {case["name"]: case for case in recorded("gee")}


def frame_of(case):
    data = pd.DataFrame({name: case["columns"][name] for name in list(case["columns"])[1:]})
    return data.assign(y=case["y"], patient=case.get("cluster", np.arange(len(data))))


def clustered(seed=11, **changes):
    cell = Cell(**{"patients": 120, "event_share": 0.1, "odds_ratio": 2.0, "correlation": 0.2,
                   "exposure": "continuous session", **changes})
    return as_frame(*draw(cell, np.random.default_rng(seed)))


def test_one_row_a_patient_is_firth():
    data = frame_of(ONE_A_PATIENT["endometrial"])
    found = fit(data, "y", ["NV", "PI", "EH"], cluster="patient")
    assert found.estimator == "firth" and found.events == 30 and found.clusters == found.n == 79
    assert "One row a patient" in found.why
    assert any("Separation: NV" in warning for warning in found.warnings)
    assert list(found.table.columns) == ["estimate", "se", "low", "high", "p"]
    assert found.table.index.name == "term"


def test_repeated_patients_are_penalised_gee():
    found = fit(clustered(), "event", TERMS, cluster="patient_id")
    assert found.estimator == "penalised-gee"
    assert "clustered on the patient" in found.why
    plain = fit(clustered(), "event", TERMS)
    assert plain.estimator == "firth"
    np.testing.assert_allclose(found.table["estimate"], plain.table["estimate"], rtol=1e-9)


@pytest.mark.parametrize("name", list(ONE_A_PATIENT))
def test_penalised_gee_equals_firth_when_every_patient_has_one_row(name):
    data = frame_of(ONE_A_PATIENT[name])
    terms = [c for c in data.columns if c not in ("y", "patient")]
    gee = fit(data, "y", terms, cluster="patient", estimator="penalised-gee")
    firth = fit(data, "y", terms, estimator="firth")
    np.testing.assert_allclose(gee.table["estimate"], firth.table["estimate"], rtol=1e-6)


@pytest.mark.parametrize("name", list(CLUSTERED))
def test_ordinary_gee_is_that_of_r_geepack(name):
    case = CLUSTERED[name]
    data = frame_of(case)
    terms = [c for c in data.columns if c not in ("y", "patient")]
    found = fit(data, "y", terms, cluster="patient", estimator="gee").table
    np.testing.assert_allclose(found["estimate"], case["estimate"], rtol=1e-6)
    np.testing.assert_allclose(found["se"], case["robust"], rtol=1e-6)


def separated_sets():
    rng = np.random.default_rng(4)
    patient = np.repeat(np.arange(40), 2)
    x = rng.normal(size=80)
    every = pd.DataFrame({"patient": patient, "x": x, "z": rng.normal(size=80)})
    flag = (patient % 4 == 0).astype(float)
    yield "complete", every.assign(y=(x > 0.8).astype(int))
    some, few = rng.random(80) < 0.6, rng.random(80) < 0.3
    yield "quasi-complete", every.assign(x=flag, y=((flag == 1) & some).astype(int))
    yield "one patient's term", every.assign(x=(patient == 3).astype(int), y=(patient % 5 == 3) * 1)
    yield "no event exposed", every.assign(x=flag, y=((flag == 0) & few).astype(int))
    yield "all but one events", every.assign(y=(np.arange(80) != 7).astype(int))


@pytest.mark.parametrize("name, data", list(separated_sets()), ids=lambda v: v if isinstance(v, str)
                         else "")
def test_separated_data_get_a_finite_answer(name, data):
    found = fit(data, "y", ["x", "z"], cluster="patient", estimator="penalised-gee")
    assert np.isfinite(found.table.to_numpy()).all(), name
    ordinary = fit(data, "y", ["x", "z"], cluster="patient", estimator="gee")
    separated = any("separated" in warning for warning in ordinary.warnings)
    assert separated == (name != "all but one events")
    assert separated == any("Separation" in warning for warning in found.warnings)
    assert np.isfinite(ordinary.table["estimate"]).all() != separated


def test_the_ordinary_models_say_that_they_ignore_the_patient():
    found = fit(clustered(), "event", TERMS, cluster="patient_id", estimator="logistic")
    assert "too narrow" in found.warnings[0]


def test_under_eight_events_the_data_cannot_answer():
    data = clustered(patients=40, event_share=0.06, seed=2)
    assert 0 < data["event"].sum() < 8
    found = fit(data, "event", ["exposure", "sm_grade"], cluster="patient_id")
    assert found.estimator == "exact" and "cannot answer" in found.why
    assert found.table[["estimate", "se", "low", "high"]].isna().all(axis=None)
    # With two terms no test keeps its level; of one alone whole patients are exchanged.
    assert found.table["p"].isna().all()
    assert any("No P value is given" in warning for warning in found.warnings)
    assert any("rows with the event" in warning for warning in found.warnings)
    alone = fit(data, "event", ["exposure"], cluster="patient_id")
    assert alone.estimator == "exact" and alone.table["p"].iloc[-1:].between(0, 1).all()


def test_a_model_forced_on_under_eight_events_is_not_to_be_trusted():
    data = clustered(patients=40, event_share=0.06, seed=2)
    found = fit(data, "event", ["exposure"], cluster="patient_id", estimator="penalised-gee")
    assert np.isfinite(found.table.to_numpy()).all()
    assert any("No interval of a model can be trusted" in w for w in found.warnings)


def test_rows_with_gaps_are_left_out_and_counted():
    data = clustered()
    data.loc[:4, "exposure"] = np.nan
    data.loc[3:6, "ruptured"] = np.nan
    found = fit(data, "event", TERMS, cluster="patient_id")
    assert found.n == len(data) - 7
    assert any("7 of" in w and "exposure 5, ruptured 4" in w for w in found.warnings)


def test_yes_no_columns_factors_splines_and_interactions():
    data = clustered(patients=250, event_share=0.3)
    data["agent"] = np.where(data["ruptured"] > 0, "EVOH 6 %", "EVOH 8 %")
    data["event"] = data["event"].astype(bool)
    found = fit(data, "event", [Term(("exposure",), "spline", 4), Term(("agent",), "factor",
                reference="EVOH 8 %"), Term(("case_number", "agent"), "interaction"),
                "case_number"], cluster="patient_id")
    assert list(found.table.index) == [
        "intercept", "exposure", "exposure (curve 1)", "exposure (curve 2)", "agent [EVOH 6 %]",
        "case_number × agent [EVOH 6 %]", "case_number"]


def test_an_estimate_carries_its_counts():
    found = fit(clustered(), "event", TERMS, cluster="patient_id")
    one = found.estimate("exposure", unit="session")
    assert one.kind == "odds ratio" and one.low < one.value < one.high
    assert (one.events, one.n, one.clusters) == (found.events, found.n, found.clusters)


def test_predicted_events_sum_to_observed_ones():
    # FLIC: Puhr and others 2017, Stat Med 36:2302.
    found = fit(clustered(event_share=0.05), "event", TERMS, cluster="patient_id")
    assert found.predict().sum() == pytest.approx(found.events, rel=1e-9)
    penalised = penalised_logistic(found.rows.x, found.rows.y)
    assert penalised.risk.sum() > found.events * 1.02


def test_few_events_a_coefficient_is_said_with_the_model_they_would_carry():
    found = fit(clustered(), "event", TERMS, cluster="patient_id")
    assert any(w.startswith("Few events: ") and "comfortably" in w for w in found.warnings)


def test_terms_that_repeat_each_other_are_named():
    data = clustered()
    data["volume"] = data["exposure"] + 0.1 * np.random.default_rng(0).normal(size=len(data))
    found = fit(data, "event", ["exposure", "volume"], cluster="patient_id")
    assert any("Collinearity: exposure (VIF" in w for w in found.warnings)


@pytest.mark.parametrize("call, words", [
    (lambda d: fit(d, "nothing", ["exposure", "absent"]), "'nothing'.*'absent'"),
    (lambda d: fit(d, "event", []), "no terms"),
    (lambda d: fit(d, "event", ["event"]), "both the outcome and a term"),
    (lambda d: fit(d, "exposure", ["ruptured"], estimator="firth"), "needs yes/no or 0/1"),
    (lambda d: fit(d, "event", ["exposure"], estimator="other"), "not known; wanted one of auto"),
    (lambda d: fit(d.assign(k=3), "event", ["exposure", "k"]), "k: the same in every row"),
    (lambda d: fit(d.assign(k=d.exposure * 2), "event", ["exposure", "k"]), "k: worked out from"),
    (lambda d: fit(d.assign(event=0), "event", ["exposure"]), "the same in all"),
    (lambda d: fit(d, "event", [Term(("patient_id",), "linear")]), "is text; a linear term"),
    (lambda d: fit(d, "event", ["exposure"], level=95), "share between 0 and 1"),
    (lambda d: fit(d, "event", ["exposure"], estimator="cox"), "needs duration"),
    (lambda d: fit(d, "event", ["exposure"], duration="size"), "for estimator 'cox' alone"),
])
def test_a_call_that_cannot_be_answered_gets_a_sentence(call, words):
    with pytest.raises(ValueError, match=words):
        call(clustered())


def test_the_same_data_give_the_same_numbers_whatever_the_order_of_rows():
    data = clustered()
    mixed = data.sample(frac=1, random_state=3)
    one = fit(data, "event", TERMS, cluster="patient_id").table
    two = fit(mixed, "event", TERMS, cluster="patient_id").table
    np.testing.assert_allclose(one, two, rtol=1e-7, atol=1e-12)
