"""Standardised risks, influence, validation, E-values, weighting, learning: each against a check
made another way."""

import numpy as np
import pandas as pd
import pytest
from clustered_data import Cell, as_frame, draw
from scipy.special import expit
from scipy.stats import norm

from analyses.models.learning_effect import learning_effect
from analyses.statistics.regression.e_value import (
    as_risk_ratio,
    e_value,
    e_value_of_bound,
)
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.influence import influence_sentence, patient_influence
from analyses.statistics.regression.propensity import (
    compare_weighted,
    compare_weighted_level,
    standardised_differences,
)
from analyses.statistics.regression.refits import bootstrap_patients
from analyses.statistics.regression.standardisation import (
    effect_curve,
    number_needed,
    numbers_needed,
    standardised_risks,
)
from analyses.statistics.regression.terms import Term
from analyses.statistics.regression.validation import c_statistic, calibration_table, validate

TERMS = ["exposure", "sm_grade", "ruptured", "case_number"]


def sessions(seed=21, **changes):
    cell = Cell(**{"patients": 150, "event_share": 0.12, "odds_ratio": 2.5, "correlation": 0.2,
                   "exposure": "binary session", **changes})
    return as_frame(*draw(cell, np.random.default_rng(seed)))


@pytest.fixture(scope="module")
def model():
    return fit(sessions(), "event", TERMS, cluster="patient_id")


def test_a_standardised_risk_is_the_mean_of_predictions_with_the_value_set(model):
    found = standardised_risks(model, [{"exposure": 0}, {"exposure": 1}], unit="session")
    for setting, one in zip((0, 1), found.risks, strict=True):
        by_hand = model.predict(model.rows.frame.assign(exposure=setting)).mean()
        assert one.value == pytest.approx(by_hand, rel=1e-12)
        assert one.low < one.value < one.high
    gap = found.differences[0]
    assert gap.value == pytest.approx(found.risks[1].value - found.risks[0].value)


def test_its_interval_is_that_of_a_bootstrap_of_patients(model):
    found = standardised_risks(model, [{"exposure": 0}, {"exposure": 1}]).differences[0]
    rows = model.rows
    draws = bootstrap_patients(rows.x, rows.y, rows.cluster, model.fitted.coefficients, times=600)
    gaps = []
    for beta, weights in zip(draws.corrected, draws.weights, strict=True):
        risks = []
        for setting in (0, 1):
            x = rows.x.copy()
            x[:, 1] = setting
            risks.append(np.average(expit(x @ beta), weights=weights))
        gaps.append(risks[1] - risks[0])
    width = np.subtract(*np.quantile(gaps, [0.975, 0.025]))
    assert found.high - found.low == pytest.approx(width, rel=0.2)


def test_number_needed_is_withheld_where_the_difference_may_be_none(model):
    from analyses.statistics.estimate import Estimate

    def gap(value, low, high):
        return Estimate(id="d", kind="difference", value=value, low=low, high=high, unit="session")

    assert "every 20 sessions (interval 10 to 100)" in number_needed(gap(0.05, 0.01, 0.10))
    assert "one fewer event in every 20" in number_needed(gap(-0.05, -0.10, -0.01))
    assert [e.value for e in numbers_needed(gap(0.05, 0.01, 0.10))] == [20, 100, 10]
    assert [e.value for e in numbers_needed(gap(0.10, -0.05, 0.25))] == [20, 4]
    # Altman 1998, BMJ 317:1309: an interval through no difference runs through infinity.
    said = number_needed(gap(0.10, -0.05, 0.25))
    assert "one fewer in 20 to one more in 4 sessions" in said and "mislead" in said


def test_leaving_one_patient_out_is_the_model_refitted_without_those_rows(model):
    found = patient_influence(model)
    data = sessions()
    for patient in ("P-003", "P-077"):
        again = fit(data[data.patient_id != patient], "event", TERMS, cluster="patient_id")
        np.testing.assert_allclose(found.loc[patient, TERMS].astype(float),
                                   np.exp(again.table["estimate"].iloc[1:]), rtol=1e-5)
    assert found["events"].sum() == model.events and found["rows"].sum() == model.n
    assert "P-0" not in influence_sentence(model, "exposure")


def test_the_c_statistic_is_the_share_of_pairs_in_the_right_order():
    rng = np.random.default_rng(2)
    risk, y = np.round(rng.random(60), 1), (rng.random(60) < 0.3).astype(float)
    pairs = [(a > b) + 0.5 * (a == b) for a in risk[y == 1] for b in risk[y == 0]]
    assert c_statistic(risk, y) == pytest.approx(np.mean(pairs))
    weights = rng.integers(0, 3, 60)
    assert c_statistic(risk, y, weights.astype(float)) == pytest.approx(
        c_statistic(np.repeat(risk, weights), np.repeat(y, weights)))


def test_optimism_is_taken_off_and_noise_is_called_chance():
    data = sessions(odds_ratio=1.0, patients=80)
    rng = np.random.default_rng(5)
    for name in "abcdef":
        data[name] = rng.normal(size=len(data))
    noise = fit(data, "event", list("abcdef"), cluster="patient_id")
    table = validate(noise, times=100).table
    assert table.loc["c statistic", "apparent"] > 0.62
    assert table.loc["c statistic", "corrected"] < table.loc["c statistic", "apparent"] - 0.05
    assert table.loc["calibration slope", "corrected"] < 0.8
    assert table.loc["calibration slope", "apparent"] == pytest.approx(1, abs=0.25)


def test_calibration_counts_every_event_once(model):
    table = calibration_table(model)
    assert table["observed"].sum() == model.events and table["rows"].sum() == model.n
    assert table["expected"].sum() == pytest.approx(model.events)


def test_e_values_of_the_paper():
    # VanderWeele and Ding 2017, Ann Intern Med 167:268, their two examples.
    assert e_value(3.9) == pytest.approx(7.26, abs=0.005)
    assert e_value_of_bound(1.8, 8.7) == pytest.approx(3.0)
    assert e_value(0.80) == pytest.approx(1.81, abs=0.005)
    assert e_value_of_bound(0.71, 0.91) == pytest.approx(1.43, abs=0.005)
    assert e_value_of_bound(0.8, 1.3) == 1.0
    assert as_risk_ratio(4.0, "odds ratio", 0.3) == pytest.approx(2.0)
    assert as_risk_ratio(4.0, "odds ratio", 0.05) == 4.0
    with pytest.raises(ValueError, match="above 0"):
        e_value(0.0)


def treated_by_severity(seed=8, patients=300):
    """Treatment goes to the severe, severity brings events, treatment itself does nothing."""
    rng = np.random.default_rng(seed)
    severe = rng.normal(size=patients)
    treated = rng.random(patients) < expit(1.2 * severe)
    event = rng.random(patients) < expit(-1 + 1.2 * severe)
    return pd.DataFrame({"patient_id": np.arange(patients), "severity": severe,
                         "embolized": treated, "deficit": event})


@pytest.mark.parametrize("scheme", ["overlap", "average treatment"])
def test_weighting_balances_and_takes_off_confounding(scheme):
    data = treated_by_severity()
    found = compare_weighted(data, "deficit", "embolized", ["severity"], cluster="patient_id",
                             scheme=scheme, times=300)
    crude = data.groupby("embolized")["deficit"].mean().diff().iloc[-1]
    assert crude > 0.2 and abs(found.difference.value) < 0.1
    assert found.difference.low < 0 < found.difference.high
    assert abs(found.balance.loc["severity", "after"]) < 0.1 < abs(
        found.balance.loc["severity", "before"])
    assert "confounding by indication" in found.warnings[0]


def test_blood_loss_is_compared_as_a_ratio():
    data = treated_by_severity()
    rng = np.random.default_rng(4)
    data["blood_loss_ml"] = np.exp(6 + 0.5 * data["severity"] - 0.4 * data["embolized"]
                                   + rng.normal(0, 0.3, len(data)))
    found = compare_weighted_level(data, "blood_loss_ml", "embolized", ["severity"], times=300)
    assert found.difference.low < np.exp(-0.4) < found.difference.high < 1
    with pytest.raises(ValueError, match="1 rows are not above 0"):
        compare_weighted_level(data.assign(blood_loss_ml=data["blood_loss_ml"].mask(
            data.index == 3, 0.0)), "blood_loss_ml", "embolized", ["severity"])
    with pytest.raises(ValueError, match="use compare_weighted_level"):
        compare_weighted(data, "blood_loss_ml", "embolized", ["severity"])


def test_standardised_differences_follow_the_definition():
    # Austin 2009, Stat Med 28:3083.
    rng = np.random.default_rng(1)
    x, treated = rng.normal(size=(50, 1)), np.repeat([0.0, 1.0], 25)
    one, none = x[treated == 1, 0], x[treated == 0, 0]
    by_hand = (one.mean() - none.mean()) / np.sqrt((one.var(ddof=1) + none.var(ddof=1)) / 2)
    assert standardised_differences(x, treated, np.ones(50))[0] == pytest.approx(by_hand)


def test_a_comparison_with_hardly_anyone_in_one_group_is_refused():
    data = treated_by_severity().assign(embolized=lambda d: d.patient_id < 3)
    with pytest.raises(ValueError, match="only 3 rows in one group"):
        compare_weighted(data, "deficit", "embolized", ["severity"])


def operators(spread, count=15, each=60, seed=3):
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(count), each)
    number = np.tile(np.arange(each), count)
    effect = spread * norm.ppf((np.arange(count) + 0.5) / count)
    risk = expit(-1.2 - 0.02 * number + effect[who])
    # Operators of different pace, so that experience and calendar time can be told apart.
    pace = np.exp(1.5 * norm.ppf((np.arange(count) + 0.5) / count)) / 20
    pace = np.random.default_rng(5).permutation(pace)
    return pd.DataFrame({"operator_id": [f"OP{o:02d}" for o in who], "case_number": number,
                         "year": number * pace[who],
                         "patient_id": np.arange(len(who)), "grade": rng.integers(1, 5, len(who)),
                         "event": rng.random(len(who)) < risk})


def test_learning_falls_with_experience_and_operators_differ():
    found = learning_effect(operators(0.8), "event", ["grade"])
    assert found.curve["risk"].iloc[0] > found.curve["risk"].iloc[-1]
    value, low, high = found.spread
    assert low <= 0.8 <= high and low > 0
    assert any("not for ranking" in s for s in found.sentences)
    alike = learning_effect(operators(0.0), "event", ["grade"])
    assert alike.spread[1] == 0.0


def test_learning_with_few_events_is_a_line_and_says_so():
    data = operators(0.0, count=3, each=60).assign(
        year=lambda d: np.random.default_rng(2).uniform(0, 8, len(d)))
    found = learning_effect(data, "event", ["grade"])
    assert "straight line" in found.sentences[1]


def test_experience_and_the_years_that_rise_together_are_not_told_apart():
    data = operators(0.0).assign(year=lambda d: d["case_number"] / 12)
    found = learning_effect(data, "event", ["grade"])
    assert found.model is None and found.estimates == () and found.curve.empty
    assert "cannot be told apart" in found.sentences[0] and "1.00" in found.sentences[0]
    one = learning_effect(data[data["operator_id"] == "OP00"], "event", ["grade"])
    assert "within the one operator" in one.sentences[0] and one.risks == ()


def test_an_interval_that_admits_a_halving_and_a_doubling_is_no_answer():
    """As the demo's: 0.0002 to 8.6 beside the calendar year."""
    data = operators(0.0, count=3, each=40, seed=5)
    data["year"] = data["case_number"] / 20 + np.random.default_rng(1).normal(size=len(data))
    found = learning_effect(data, "event", ["grade"])
    assert found.model is None and found.risks == () and found.curve.empty
    assert found.ratio.low <= 0.5 and found.ratio.high >= 2
    assert "cannot be told" in found.sentences[0]


def test_no_risk_where_few_operators_reached():
    """Twelve operators of 30 cases; one goes on to 400. Version 1: "From case 1 to case 91"."""
    short = operators(0.3, count=12, each=30)
    alone = operators(0.3, count=1, each=400, seed=9).assign(
        operator_id="OP99", patient_id=lambda d: d["patient_id"] + 10_000)
    data = pd.concat([short, alone], ignore_index=True)
    data["year"] = data["case_number"] / 40 + np.random.default_rng(1).uniform(0, 9, len(data))
    found = learning_effect(data, "event", ["grade"])
    assert len(found.risks) == 3 and data["case_number"].max() == 399
    assert found.curve["case_number"].max() <= 29
    assert float(found.risks[1].group["case_number"]) <= 29
    assert not any("399" in words for words in found.sentences)
    two = data[data["operator_id"].isin(["OP00", "OP99"])].reset_index(drop=True)
    seen = learning_effect(two, "event", ["grade"])
    assert seen.risks == () and seen.curve.empty


def test_the_effect_is_within_operators():
    """Operators with long series have lower risk whatever their number: no effect within them."""
    rng = np.random.default_rng(8)
    sizes = np.tile([20, 150], 10)
    who = np.repeat(np.arange(20), sizes)
    number = np.concatenate([np.arange(size) for size in sizes])
    risk = np.where(sizes[who] == 20, 0.4, 0.08)
    data = pd.DataFrame({
        "operator_id": [f"OP{o:02d}" for o in who], "case_number": number, "patient_id":
        np.arange(len(who)), "grade": rng.integers(1, 5, len(who)), "year":
        rng.uniform(0, 9, len(who)), "event": rng.random(len(who)) < risk})
    found = learning_effect(data, "event", ["grade"])
    plain = fit(data, "event", [Term(("case_number",), "linear", per=50), "grade"])
    assert np.exp(plain.table["high"].iloc[0]) < 1  # as version 1 had it
    assert found.ratio.low < 1 < found.ratio.high


def test_effect_curve_runs_along_the_values(model):
    curve = effect_curve(model, "sm_grade", np.linspace(-1, 2, 7))
    assert curve["risk"].is_monotonic_increasing == (model.table.loc["sm_grade", "estimate"] > 0)
    assert (curve["low"] < curve["risk"]).all() and (curve["risk"] < curve["high"]).all()
