"""Expected risks, observed against expected, funnel and learning curve."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from reference_runs import recorded

from analyses.statistics.control_charts.funnel import (
    binomial_density,
    exact_limit,
    funnel_plot,
    mixed_density,
)
from analyses.statistics.control_charts.learning_curve import block_names, learning_curve
from analyses.statistics.control_charts.observed_expected import (
    observed_expected_ratio,
    observed_minus_expected,
)
from analyses.statistics.control_charts.risk_model import NoRiskModel, declared_risk, expected_risk

R = recorded("monitoring_charts")


def cohort(count: int = 400, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame({
        "patient_id": [f"AV-{k // 2:03d}" for k in range(count)],
        "sm_grade": rng.integers(1, 6, count), "ruptured": rng.random(count) < 0.4,
    })
    risk = 1 / (1 + np.exp(4 - 0.4 * frame["sm_grade"] - 0.4 * frame["ruptured"]))
    frame["complication"] = (rng.random(count) < risk).astype(int)
    return frame


def test_expected_events_equal_observed_ones_in_the_baseline() -> None:
    # FLIC, Puhr and others 2017, Stat Med 36:2302.
    frame, first = cohort(), np.arange(400) < 200
    found = expected_risk(frame, outcome="complication", terms=["sm_grade", "ruptured"],
                          cluster="patient_id", baseline=first)
    assert found.risk[first].sum() == pytest.approx(frame["complication"][first].sum(), rel=1e-9)
    assert found.ratio.value == pytest.approx(1)
    assert found.terms == ("sm_grade", "ruptured") and len(found.calibration) == 4


def test_few_events_carry_few_terms_and_it_is_said() -> None:
    frame = cohort(120)
    frame["complication"] = [1] * 7 + [0] * 113
    found = expected_risk(frame, outcome="complication", terms=["sm_grade", "ruptured"],
                          cluster="patient_id", baseline=[True] * 120)
    assert found.terms == ("sm_grade",)
    assert "7 baseline events carry 1 of 2 terms" in found.notes[0]


def test_a_blank_term_is_filled_and_told() -> None:
    frame = cohort()
    frame["sm_grade"] = frame["sm_grade"].astype("Int64")
    frame.loc[[3, 5], "sm_grade"] = pd.NA
    found = expected_risk(frame, outcome="complication", terms=["sm_grade"],
                          cluster="patient_id", baseline=[True] * 400)
    assert "blank in 2 of 400" in found.notes[0] and np.isfinite(found.risk).all()


def test_a_baseline_without_events_gives_no_model() -> None:
    frame = cohort(50).assign(complication=0)
    with pytest.raises(NoRiskModel, match="0 events in 50 baseline sessions"):
        expected_risk(frame, outcome="complication", terms=["sm_grade"],
                      cluster="patient_id", baseline=[True] * 50, unit="session")


def test_a_declared_score_is_checked_against_the_baseline() -> None:
    found = declared_risk([0.1] * 10, [1, 1, 0, 0, 0, 0, 0, 0, 0, 0], list("abcdefghij"),
                          source="a published score", baseline=[True] * 10)
    assert found.ratio.value == pytest.approx(2) and found.source == "a published score"


def test_observed_over_expected_has_garwoods_interval() -> None:
    ratio = observed_expected_ratio([1] * 15 + [0] * 85, [0.15] * 100, [str(k) for k in range(100)])
    assert (ratio.low, ratio.high) == pytest.approx(tuple(R["garwood"]), rel=1e-6)
    assert ratio.as_text() == "observed/expected ratio 1.00 (0.56–1.65)"


def test_repeating_patients_widen_the_ratio() -> None:
    event, risk = [1] * 12 + [0] * 88, [0.12] * 100
    alone = observed_expected_ratio(event, risk, [str(k) for k in range(100)])
    shared = observed_expected_ratio(event, risk, [str(k // 4) for k in range(100)])
    assert shared.high - shared.low > alone.high - alone.low


def test_the_running_difference_ends_at_observed_minus_expected() -> None:
    table = observed_minus_expected([0, 1, 0, 1], [0.1, 0.2, 0.3, 0.4])
    assert table["difference"].tolist() == pytest.approx([-0.1, 0.7, 0.4, 1.0])


def test_exact_funnel_limits_agree_with_spiegelhalters_formula_in_base_r() -> None:
    for case in R["funnel"]:
        for size, limits in zip(R["sizes"], case["limits"], strict=True):
            density = binomial_density(size, case["theta"])
            ours = [exact_limit(density, tail) / size for tail in R["tails"]]
            assert ours == pytest.approx(limits, rel=1e-9, abs=1e-12)


def test_equal_risks_make_the_mixed_distribution_binomial() -> None:
    assert mixed_density(np.full(30, 0.2)) == pytest.approx(binomial_density(30, 0.2), rel=1e-9)


def operators(sizes: dict[str, int], events: dict[str, int]) -> tuple[list, list, list]:
    codes = [code for code, size in sizes.items() for _ in range(size)]
    outcome = [int(k < events[code]) for code, size in sizes.items() for k in range(size)]
    return codes, outcome, [f"P{k}" for k in range(len(codes))]


def test_small_groups_are_shown_and_not_judged_and_nobody_is_ranked() -> None:
    funnel = funnel_plot(*operators({"OP03": 60, "OP01": 80, "OP02": 9},
                                    {"OP03": 3, "OP01": 6, "OP02": 9}))
    assert funnel.table["group"].tolist() == ["OP01", "OP02", "OP03"]
    small = funnel.table.set_index("group").loc["OP02"]
    assert not small["judged"] and not small["signal"] and "not judged" in small["reason"]
    assert "not a league table" in " ".join(funnel.notes)


def test_a_group_far_off_signals() -> None:
    funnel = funnel_plot(*operators({"OP01": 200, "OP02": 40}, {"OP01": 8, "OP02": 14}))
    assert funnel.table.set_index("group").loc["OP02", "signal"]


def test_overdispersion_widens_the_limits() -> None:
    sizes = {f"OP{k:02d}": 100 for k in range(12)}
    wild = {code: (2 if k % 2 else 25) for k, code in enumerate(sizes)}
    calm = {code: (9 if k % 2 else 12) for k, code in enumerate(sizes)}
    assert funnel_plot(*operators(sizes, calm)).factor == 1
    wide = funnel_plot(*operators(sizes, wild))
    z = wide.table["z"].to_numpy()
    assert wide.factor == pytest.approx(np.mean(np.clip(z, *np.quantile(z, [0.1, 0.9])) ** 2))
    assert not wide.table["signal"].any()


def test_blocks_of_experience() -> None:
    assert block_names(np.array([0, 9, 10, 99, 100, 1000])) == [
        "0–9", "0–9", "10–24", "50–99", "100–199", "200 and more"]


def test_the_learning_slope_finds_a_risk_that_halves_with_each_doubling() -> None:
    rng = np.random.default_rng(3)
    number = np.tile(np.arange(500), 4)
    odds = 0.25 * 0.5 ** np.log2(number + 1) + 0.02
    event = (rng.random(2000) < odds / (1 + odds)).astype(int)
    patient = [f"AV-{k // 2}" for k in range(2000)]
    # Four groups of different pace: number and time can be told apart.
    pace = np.repeat([0.001, 0.004, 0.002, 0.03], 500)
    beside = {"calendar": number * pace, "group": np.repeat(list("abcd"), 500)}
    curve = learning_curve(number, event, np.full(2000, 0.05), patient, **beside)
    assert curve.slope is not None and curve.slope.high < 1
    assert curve.curve["case_number"].max() == 497  # ten trials, of four groups, reached it
    flat = learning_curve(number, (rng.random(2000) < 0.05).astype(int), np.full(2000, 0.05),
                          patient, **beside)
    assert flat.slope is not None and flat.slope.low < 1 < flat.slope.high


def test_experience_that_rises_with_the_years_is_not_told_apart_from_them() -> None:
    rng = np.random.default_rng(3)
    number = np.tile(np.arange(100), 4)
    event = (rng.random(400) < 0.2 / (1 + number / 20)).astype(int)
    patient, group = [f"AV-{k}" for k in range(400)], np.repeat(list("abcd"), 100)
    curve = learning_curve(number, event, np.full(400, 0.1), patient, group=group,
                           calendar=np.log2(number + 1) + rng.normal(size=400) / 2)
    assert curve.slope is None and curve.curve.empty
    assert "cannot be told apart" in curve.notes[0]
    assert sum(e.n for e in curve.observed) == 400


def test_too_few_events_give_blocks_without_a_slope() -> None:
    curve = learning_curve(range(60), [1] * 5 + [0] * 55, [0.08] * 60,
                           [str(k) for k in range(60)], calendar=range(60))
    assert curve.slope is None and "fewer than 10" in curve.notes[0]
    assert [e.n for e in curve.observed] == [10, 15, 25, 10]
