"""What the truth says is what large cohorts show."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from registry.clinical.technique import case_numbers, procedure_keys, session_technique
from synthetic_cohort import CohortSettings, make_cohort
from synthetic_cohort.bridge import bridge_parameter, bridge_quantile, pair_correlation
from synthetic_cohort.draws import Streams, logistic
from synthetic_cohort.missing import GROUPS
from synthetic_cohort.persontime import haemorrhage_counts, obliteration_times
from synthetic_cohort.risk import draw_complicated
from synthetic_cohort.simulate import pilot_intercept
from synthetic_cohort.tally import tallies
from synthetic_cohort.truth import observed_block, ratio, truth_of
from synthetic_cohort.truth_models import adjusted_odds_ratios, logistic_fit, procedure_rows

SIZE = 150
SMALL_LARGE = 40_000


@pytest.fixture(scope="module")
def block():
    """20,000 patients in services of 150, of another seed than the truth's own."""
    return observed_block(CohortSettings(), SIZE, 133, 777)


@pytest.fixture(scope="module")
def truth():
    return truth_of(CohortSettings(), SIZE, SMALL_LARGE)


def test_the_truth_agrees_with_another_20000_patients(block, truth) -> None:
    counted = tallies(block)
    far = {}
    for key, (events, n) in counted.items():
        if key[2] or n < 100 or key[0] == "rate.haemorrhage":
            continue
        known = truth.estimands[key]
        # Between sessions of one patient outcomes correlate; a design effect of 1.5 is ample.
        spread = np.sqrt(1.5 * known.value * (1 - known.value) / n + known.error**2)
        if abs(events / n - known.value) > 4 * spread:
            far[key] = (events / n, known)
    assert not far
    assert len([key for key in counted if not key[2]]) >= 30


def test_the_risk_is_the_one_asked_for() -> None:
    for risk in (0.01, 0.03, 0.10):
        found = truth_of(CohortSettings.plain(risk, 0.05), 120, SMALL_LARGE)
        known = found.known("complication.any", "session")
        assert abs(known.value - risk) < 4 * known.error + 0.01 * risk


@pytest.mark.parametrize(("risk", "icc"), [(0.03, 0.05), (0.03, 0.3), (0.10, 0.15)])
def test_procedures_of_one_patient_correlate_as_asked(risk: float, icc: float) -> None:
    found = truth_of(CohortSettings.plain(risk, icc), SIZE, 60_000)
    assert found.pair_correlation == pytest.approx(icc, abs=0.05)


def test_the_bridge_distribution_marginalises_to_the_logistic_link() -> None:
    # Wang and Louis 2003, Biometrika 90:765: mean of expit(η/φ + u) over u is expit(η).
    u = bridge_quantile((np.arange(400_000) + 0.5) / 400_000, 0.6)
    for eta in (-4.0, -2.0, 0.0, 1.5):
        assert logistic(eta / 0.6 + u).mean() == pytest.approx(float(logistic(eta)), abs=2e-5)
    # Variance π²/3·(φ⁻² − 1), the same paper.
    assert u.var() == pytest.approx(np.pi**2 / 3 * (0.6**-2 - 1), rel=2e-3)


@pytest.mark.parametrize("icc", [0.0, 0.05, 0.3, 0.6])
def test_the_bridge_parameter_gives_the_correlation(icc: float) -> None:
    phi = bridge_parameter(icc, 0.04)
    assert pair_correlation(0.04, 0.04, phi) == pytest.approx(icc, abs=1e-6)


def test_a_model_with_all_terms_finds_the_odds_ratios(block) -> None:
    """Logistic regression on 37,000 procedures: every marginal odds ratio within 4 SE."""
    cfg, procedure = CohortSettings(), block.procedure
    terms = {
        "odds_pedicle": procedure["pedicles"] - 2.0,
        "odds_rate": (procedure["mean_rate"] - 0.16) / 0.1,
        "odds_reflux": procedure["reflux_past"].astype(float),
        "odds_venous": procedure["venous"].astype(float),
        "odds_grade": procedure["sm_grade"] - 3.0,
        "odds_ruptured": procedure["ruptured"].astype(float),
        "odds_first_case": np.exp(-procedure["case_number"] / cfg.learning_cases),
    }
    design = np.column_stack([np.ones(len(procedure["patient"])), *terms.values()])
    beta = logistic_fit(design, procedure["complicated"].astype(float))
    fitted = logistic(design @ beta)
    inverse = np.linalg.inv(design.T @ (design * (fitted * (1 - fitted))[:, None]))
    # Patients' procedures correlate: sandwich by patient.
    score = design * (procedure["complicated"] - fitted)[:, None]
    summed = np.zeros((int(procedure["patient"].max()) + 1, design.shape[1]))
    np.add.at(summed, procedure["patient"], score)
    error = np.sqrt(np.diag(inverse @ (summed.T @ summed) @ inverse))
    expected = np.log([getattr(cfg, name) for name in terms])
    assert np.all(np.abs(beta[1:] - expected) < 4 * error[1:]), dict(
        zip(terms, zip(np.exp(beta[1:]), np.exp(expected), strict=True), strict=True))
    assert abs(beta[0] - pilot_intercept(cfg, SIZE)) < 4 * error[0]


def test_given_the_patient_the_odds_ratio_is_the_conditional_one(truth) -> None:
    assert truth.conditional_odds_ratios["reflux_past_limit"] == pytest.approx(
        1.8 ** (1 / truth.phi))


def test_one_at_a_time_models_tend_to_their_limits(block, truth) -> None:
    found = adjusted_odds_ratios(procedure_rows(block))
    for name, tolerance in (("pedicles_treated", 0.10), ("reflux_past_limit", 0.20),
                            ("venous_passage", 0.25), ("evoh_8", 0.25)):
        assert np.log(found[name]) == pytest.approx(
            np.log(truth.adjusted_odds_ratios[name]), abs=tolerance), name


def test_technique_terms_are_those_the_registry_works_out() -> None:
    """The covariates that drew the events can be got back from the tables."""
    cfg = CohortSettings(missing_share=0.0, two_lesions=0.0)
    simulation = observed_block(cfg, 600, 1, 5)
    from synthetic_cohort.registry_tables import all_tables

    tables = all_tables(Streams(5), cfg, simulation)
    found = session_technique(tables["sessions"], tables["injections"], tables["lesions"])
    rows = procedure_rows(simulation)
    assert (found["pedicles_treated"].to_numpy() == rows.pedicles_treated).all()
    rate = found["rate_ml_min"].astype("float64").to_numpy()
    np.testing.assert_allclose(rate, rows.rate_ml_min, rtol=1e-6)
    reflux = found["reflux_past_limit"].astype("float64").to_numpy()
    np.testing.assert_array_equal(np.where(np.isnan(rows.reflux_past_limit), -1,
                                           rows.reflux_past_limit),
                                  np.where(np.isnan(rows.reflux_past_limit), -1, reflux))
    assert (case_numbers(tables["sessions"]).to_numpy(dtype=float) == rows.case_number).all()


def test_the_change_of_risk_is_where_it_was_put() -> None:
    cohort = make_cohort(20_000, 4, change_at=15_000, change_odds=2.0, odds_first_case=1.0)
    sessions = cohort.tables["sessions"].assign(
        procedure=procedure_keys(cohort.tables["sessions"]))
    first = sessions.drop_duplicates("procedure").sort_values("session_date", kind="stable")
    before = (first["session_date"] < cohort.change_date).sum()
    assert abs(before - 15_000) < 20          # several procedures a day in so large a service
    counted = _risk_by_side(cohort, sessions)
    odds = counted / (1 - counted)
    assert odds["after"] / odds["before"] == pytest.approx(2.0, rel=0.15)


def _risk_by_side(cohort, sessions: pd.DataFrame) -> pd.Series:
    events = cohort.tables["complications"]
    events = events[(events["attribution"] != "unrelated") & events["session_no"].notna()]
    key = ["patient_id", "lesion_no", "session_no"]
    hit = sessions.merge(events[key].drop_duplicates(), on=key, how="left", indicator=True)
    hit["hit"] = hit["_merge"] == "both"
    by = hit.groupby("procedure").agg(hit=("hit", "max"), day=("session_date", "first"))
    side = np.where(by["day"] >= cohort.change_date, "after", "before")
    return by.groupby(side)["hit"].mean()


def test_learning_falls_as_the_settings_say(block) -> None:
    cfg, procedure = CohortSettings(), block.procedure
    early = procedure["case_number"] < 10
    late = procedure["case_number"] > 60
    odds = [procedure["risk"][side] for side in (early, late)]
    ratio_ = (odds[0] / (1 - odds[0])).mean() / (odds[1] / (1 - odds[1])).mean()
    assert 1.3 < ratio_ < cfg.odds_first_case


def test_spontaneous_bleeds_come_at_their_rates(block) -> None:
    counts = haemorrhage_counts(block)
    for stage, rate in (("under treatment, after day 30", 1.7), ("after obliteration", 0.15)):
        events, years = counts[stage]
        assert 100 * events / years == pytest.approx(rate, abs=4 * 100 * events**0.5 / years)


def test_obliteration_times_give_the_cumulative_incidence(block, truth) -> None:
    """Aalen–Johansen on the observed 20,000 tends to the truth worked out with nobody lost."""
    from analyses.statistics.timetoevent.incidence_curves import cumulative_incidence

    time, code = obliteration_times(block)
    found = cumulative_incidence(time, code)
    read = [years for years in (0.5, 1, 2, 3, 5) if found.at(years).value is not None]
    assert read[:3] == [0.5, 1, 2]  # later, under a tenth may still be watched for it
    for years in read:
        estimate = found.at(years)
        known = truth.known_incidence(years)
        error = (estimate.high - estimate.low) / 3.92
        assert abs(estimate.value - known.value) < 4 * np.hypot(error, known.error), years


def test_values_go_missing_by_the_mechanism_that_was_set() -> None:
    cfg = CohortSettings(missing_share=0.08, missing_mechanism="MAR")
    cohort, whole = make_cohort(20_000, 6, cfg), make_cohort(20_000, 6, missing_share=0.0)
    lesions = cohort.tables["lesions"]
    first = whole.tables["sessions"].groupby("patient_id")["session_date"].min()
    flags = pd.DataFrame({
        "early": lesions["patient_id"].map(first) < pd.Timestamp("2018-01-01"),
        "ruptured": lesions["patient_id"].map(
            whole.tables["lesions"].groupby("patient_id")["haemorrhage_before"].max()),
        "gone": lesions["draining_veins"].isna(),
    })[lesions["patient_id"].isin(first.index)].astype(float)
    design = np.column_stack([np.ones(len(flags)), flags["early"], flags["ruptured"]])
    beta = logistic_fit(design, flags["gone"].to_numpy())
    assert beta == pytest.approx([np.log(0.08 / 0.92), 1.2, 0.7], abs=0.2)
    assert not whole.tables["lesions"]["draining_veins"].isna().any()


def test_values_missing_completely_at_random_have_the_share_asked_for() -> None:
    tables = make_cohort(8_000, 6, missing_share=0.1).tables
    whole = make_cohort(8_000, 6, missing_share=0.0).tables
    for name, groups in GROUPS.items():
        for group in groups:
            there = whole[name][group[0]].notna()
            if there.sum() > 2_000:
                share = tables[name].loc[there, group[0]].isna().mean()
                assert share == pytest.approx(0.1, abs=0.03), (name, group)


def test_loss_is_independent_unless_the_settings_tie_it_to_something() -> None:
    def young_share_seen(**changes: float) -> float:
        tables = make_cohort(6_000, 8, **changes).tables
        seen = tables["follow_ups"]["patient_id"].value_counts()
        people = tables["patients"].set_index("patient_id")
        visits = people.index.map(seen).fillna(0).to_numpy(dtype=float)
        young = (people["age_y"] < 30).to_numpy()
        return visits[young].mean() / visits[~young].mean()

    assert young_share_seen() == pytest.approx(1.0, abs=0.08)
    assert young_share_seen(loss_log_hazard_young=1.5) < 0.85


def test_the_liability_belongs_to_the_patient() -> None:
    """Two procedures of one patient share it, those of two patients do not."""
    n = 200_000
    patient = {"age_y": np.zeros(n), "service": np.zeros(n, dtype=int)}
    procedure = {
        "patient": np.repeat(np.arange(n), 2), "pedicles": np.full(2 * n, 2),
        "mean_rate": np.full(2 * n, 0.16), "reflux_past": np.zeros(2 * n),
        "venous": np.zeros(2 * n), "sm_grade": np.full(2 * n, 3), "ruptured": np.zeros(2 * n),
        "case_number": np.full(2 * n, 10**6), "service_number": np.arange(2 * n),
        "operator": np.zeros(2 * n, dtype=int),
    }
    cfg = CohortSettings(complication_risk=0.1, icc=0.2)
    draw_complicated(Streams(1), cfg, patient, procedure, float(np.log(0.1 / 0.9)))
    hits = procedure["complicated"].reshape(n, 2).astype(float)
    assert hits.mean() == pytest.approx(0.1, abs=0.003)
    assert np.corrcoef(hits.T)[0, 1] == pytest.approx(0.2, abs=0.015)
    assert np.corrcoef(hits[:-1, 0], hits[1:, 1])[0, 1] == pytest.approx(0.0, abs=0.01)


def test_the_error_of_a_ratio_is_that_of_its_blocks() -> None:
    generator = np.random.default_rng(1)
    n = generator.integers(900, 1100, 400)
    pairs = np.column_stack([generator.binomial(n, 0.1), n]).astype(float)
    found = ratio(pairs)
    assert found.value == pytest.approx(0.1, abs=4 * found.error)
    assert found.error == pytest.approx(np.sqrt(0.1 * 0.9 / n.sum()), rel=0.15)
