"""What stands beside a model: each number against a way of its own."""

import numpy as np
import pandas as pd
import pytest
from clustered_data import Cell, as_frame, draw
from sklearn.linear_model import LinearRegression
from sklearn.metrics import r2_score, roc_auc_score

from analyses.statistics.regression.diagnosis import diagnose
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.influence import influence_sentence, patient_influence
from analyses.statistics.regression.terms import Term
from analyses.statistics.regression.validation import calibration_slope
from analyses.statistics.regression.validation_linear import validate_log_linear

TERMS = [Term(("exposure",), "linear"), "sm_grade", "ruptured", "case_number"]


def sessions(exposure="continuous session", seed=21, patients=150):
    cell = Cell(patients, 0.12, 2.5, 0.2, exposure)
    return as_frame(*draw(cell, np.random.default_rng(seed)))


def resections(seed=3, patients=60):
    data = sessions(seed=seed, patients=patients)
    noise = np.random.default_rng(seed).normal(0, 0.5, len(data))
    return data.assign(blood_loss_ml=np.exp(6 + 0.4 * data["exposure"] + noise))


@pytest.fixture(scope="module")
def binary():
    model = fit(sessions(), "event", TERMS, cluster="patient_id")
    return model, diagnose(model, TERMS[0], "session")


@pytest.fixture(scope="module")
def linear():
    model = fit(resections(), "blood_loss_ml", TERMS, cluster="patient_id",
                estimator="log-linear")
    return model, diagnose(model, TERMS[0], "resection")


def test_events_and_coefficients_are_counted(binary, linear):
    model, found = binary
    assert found.events == model.events and found.coefficients == 4 and found.left_out == 0
    assert linear[1].events is None and linear[1].groups == ()
    assert len(found.estimates) == 2 + 2 + 1 + 2 + 6 + 2
    left, each = found.counts
    assert left.value == 0 and each.value == pytest.approx(model.events / 4)


def test_thirds_of_risk_hold_every_event_and_expect_as_many(binary):
    model, found = binary
    assert sum(o.events for o, _ in found.groups) == model.events
    assert sum(o.n for o, _ in found.groups) == model.n
    assert sum(e.value for _, e in found.groups) == pytest.approx(model.events)
    shares = [e.value / e.n for _, e in found.groups]
    assert shares == sorted(shares)


def test_discrimination_is_below_what_scikit_learn_gives_for_the_same_rows(binary):
    model, found = binary
    apparent = roc_auc_score(model.rows.y, model.predict())
    assert 0.5 < found.discrimination.value < apparent
    assert found.discrimination.low < found.discrimination.value < found.discrimination.high
    assert 0.5 < found.slope.value < 1.05


def test_calibration_slopes_are_those_of_statsmodels_all_at_once():
    import statsmodels.api as sm

    rng = np.random.default_rng(4)
    y = (rng.random(80) < 0.25).astype(float)
    lines = rng.normal(size=(6, 80)) + np.linspace(0, 1.5, 6)[:, None] * y
    weights = rng.multinomial(80, np.full(80, 1 / 80), size=6).astype(float)
    found = calibration_slope(lines, y, weights)
    for line, own, slope in zip(lines, weights, found, strict=True):
        again = sm.GLM(y, sm.add_constant(line), family=sm.families.Binomial(),
                       freq_weights=own).fit(tol=1e-12)
        assert slope == pytest.approx(again.params[1], rel=1e-6)
    # A line that tells them apart without fail has no finite slope.
    assert np.isnan(calibration_slope(np.where(y == 1, 2.0, -2.0) + lines[0] * 0.01, y)[0])


def test_variation_explained_is_that_of_scikit_learn_less_the_optimism(linear):
    model, found = linear
    y = np.log(model.rows.y)
    line = LinearRegression().fit(model.rows.x[:, 1:], y)
    table = validate_log_linear(model).table
    assert table.loc["explained variation", "apparent"] == pytest.approx(
        r2_score(y, line.predict(model.rows.x[:, 1:])), rel=1e-9)
    assert found.discrimination.value < table.loc["explained variation", "apparent"]


def test_noise_explains_nothing():
    data = resections().assign(blood_loss_ml=np.exp(np.random.default_rng(1).normal(size=len(
        resections()))))
    model = fit(data, "blood_loss_ml", TERMS, cluster="patient_id", estimator="log-linear")
    assert diagnose(model, TERMS[0]).discrimination.value < 0.08


def test_without_a_patient_the_log_linear_model_is_the_one_fitted_to_the_others(linear):
    found = patient_influence(linear[0])
    data = resections()
    for patient in ("P-002", "P-031"):
        again = fit(data[data.patient_id != patient], "blood_loss_ml", TERMS,
                    cluster="patient_id", estimator="log-linear")
        assert found.loc[patient, "exposure"] == pytest.approx(
            np.exp(again.table.loc["exposure", "estimate"]))
    ends = linear[1].influence[0]
    assert (ends.smallest.value, ends.largest.value) == pytest.approx(
        (found["exposure"].min(), found["exposure"].max()))
    assert "ratio of geometric means of exposure" in influence_sentence(linear[0], "exposure")


def test_one_patient_who_decides_the_direction_is_said(binary):
    assert not binary[1].influence[0].reverses
    assert any("no single patient reverses" in s for s in binary[1].sentences)
    data = pd.DataFrame({"patient_id": np.arange(30), "x": np.r_[np.linspace(0, 1, 29), 3.0],
                         "y": np.r_[np.exp(-np.linspace(0, 1, 29)), 20.0]})
    model = fit(data, "y", ["x"], cluster="patient_id", estimator="log-linear")
    found = diagnose(model, Term(("x",)))
    assert found.influence[0].reverses
    assert any("one patient" in s for s in found.sentences)


def test_a_curve_is_told_for_a_line_and_only_for_a_line(binary):
    assert [(e.group or {})["part"] for e in binary[1].curve] == [
        "10th percentile to median", "median to 90th percentile"]
    model = fit(sessions("binary session"), "event", TERMS, cluster="patient_id")
    assert diagnose(model, TERMS[0], "session").curve == ()
    bent = resections()
    noise = np.random.default_rng(5).normal(0, 0.2, len(bent))
    bent["blood_loss_ml"] = np.exp(6 + bent["exposure"] ** 2 + noise)
    model = fit(bent, "blood_loss_ml", TERMS, cluster="patient_id", estimator="log-linear")
    below, above = diagnose(model, TERMS[0]).curve
    assert below.value < 1 < above.value and below.kind == "ratio of geometric means"


def test_the_shape_of_a_curve_carries_no_test(binary):
    """The plan asks no such question: no P value, and no word of which fits better."""
    for _, found in [binary]:
        assert not any(e.kind == "P value" for e in found.estimates)
        said = " ".join(found.sentences)
        assert "as a curve" in said and "better" not in said and "(P " not in said


def test_terms_that_repeat_each_other_and_separation_are_found():
    data = sessions("binary session")
    data["twin"] = data["sm_grade"] + np.random.default_rng(2).normal(0, 0.1, len(data))
    data["always"] = data["event"].eq(1) & (np.arange(len(data)) % 3 == 0)
    model = fit(data, "event", ["always", "sm_grade", "twin"], cluster="patient_id")
    found = diagnose(model, Term(("always",)), "session")
    assert found.inflation[0] in ("sm_grade", "twin") and found.inflation[1].value > 5
    assert found.separated == ("always",)
    assert any(s.startswith("Separation:") for s in found.sentences)
    assert any(s.startswith("Collinearity:") for s in found.sentences)


def test_a_term_that_one_patient_determines_has_no_influence_shown():
    data = resections()
    data["agent"] = np.where(data.patient_id == "P-003", "EVOH 8 %", "EVOH 6 %")
    model = fit(data, "blood_loss_ml", [Term(("agent",), "factor"), "sm_grade"],
                cluster="patient_id", estimator="log-linear")
    found = diagnose(model, Term(("agent",), "factor"), "resection")
    assert model.fitted.undetermined and found.influence == ()
    assert not any("nan" in said for said in found.sentences)
