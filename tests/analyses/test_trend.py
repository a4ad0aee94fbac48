"""Trend across ordered groups: the test agrees with R, and the effect always stands beside it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.proportions import permutation
from analyses.statistics.proportions.permutation import trend_p
from analyses.statistics.proportions.trend import clustered_trend, trend_across_groups

TABLES = recorded("trend")
DATA = recorded("clustered")["data"]
STARKE = ([0, 3, 12, 10, 4], [12, 52, 83, 47, 8])


def test_starke_2009_by_embolization_risk():
    """Starke 2009, PMC2745321, table 5: any new deficit by score 0-4.

    The paper prints P < 0.0001. The counts here are rebuilt from its rounded percentages, and they
    do not give that: χ² 12.99 (Cochran–Armitage) and 12.92 (Mantel–Haenszel), P = 0.0003. Either
    the rounding hides something or the paper used another test; ours is what these counts give.
    """
    found = trend_across_groups(*STARKE)
    assert round(found.statistic, 2) == 12.99 and round(found.mantel_haenszel, 2) == 12.92
    assert round(found.p, 4) == 0.0003 and found.p > 0.0001
    assert found.as_text() == (
        "9.5 percentage points (4.4–14.5) a step of the score; Cochran–Armitage χ² 12.99, "
        "1 degree of freedom, P = 0.0003; exact permutation P = 0.0004"
    )


@pytest.mark.parametrize("table", TABLES, ids=lambda t: t["name"])
def test_agrees_with_r(table):
    """stats::prop.trend.test; (N - 1)r²; all tables listed; slope from survey::svyglm.

    fleiss: smokers among lung cancer patients in four studies, the example of R's help page.
    """
    found = trend_across_groups(table["events"], table["trials"], scores=table["scores"])
    assert found.statistic == pytest.approx(table["chi2"], rel=1e-8)
    assert found.p == pytest.approx(table["p"], rel=1e-8)
    assert found.mantel_haenszel == pytest.approx(table["mantel_haenszel"], rel=1e-8)
    assert found.estimate.value == pytest.approx(table["slope"], rel=1e-8)
    assert (found.estimate.low, found.estimate.high) == pytest.approx(
        table["slope_limits"], rel=1e-8)
    if table["permutation"] is not None:
        assert found.permutation_p == pytest.approx(table["permutation"], rel=1e-8)


def test_fleiss_example_as_r_prints_it():
    """R's help page of prop.trend.test: X-squared = 8.2249, df = 1, p-value = 0.004132."""
    found = trend_across_groups([83, 90, 129, 70], [86, 93, 136, 82])
    assert (round(found.statistic, 4), round(found.p, 6)) == (8.2249, 0.004132)


def test_drawn_permutations_agree_with_the_exact_ones(monkeypatch):
    """100,000 seeded draws against the exact distribution, within four Monte Carlo errors."""
    x, n = (np.array(column, dtype=float) for column in ([1, 0, 2, 4], [10, 8, 9, 7]))
    scores = np.array([1.0, 2.0, 4.0, 8.0])
    exact = trend_p(x, n, scores)
    monkeypatch.setattr(permutation, "LARGEST_GRID", 0)
    drawn = trend_p(x, n, scores)
    assert exact.method == "exact permutation" and drawn.method == "permutation, 100,000 draws"
    assert drawn.p == pytest.approx(exact.p, abs=4 * np.sqrt(exact.p / 100_000))
    assert trend_p(x, n, scores) == drawn


def test_scores_off_every_grid_are_drawn():
    found = trend_across_groups([1, 0, 4], [10, 8, 9], scores=[1, 2, np.pi])
    assert "draws" in found.permutation_method


def test_two_groups_give_fishers_distribution():
    """3/71 against 7/52: P = 0.0942 by Fisher's exact test, as printed (PMC6414495).

    With two groups the permutation distribution is the hypergeometric one; ours is two-sided by
    distance from the expectation, which here takes in the same tables.
    """
    found = trend_across_groups([3, 7], [71, 52])
    assert round(found.permutation_p, 4) == 0.0942


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=2, max_size=5))
def test_turning_events_or_order_round_only_turns_the_sign(pairs):
    events, trials = [min(p) for p in pairs], [max(p) for p in pairs]
    there = trend_across_groups(events, trials)
    back = trend_across_groups(events[::-1], trials[::-1])
    other = trend_across_groups(
        [n - x for x, n in zip(events, trials, strict=True)], trials)
    if there.statistic is None:
        assert back.statistic is None and there.p is None
        return
    assert there.statistic == pytest.approx(back.statistic, abs=1e-9)
    assert there.permutation_p == pytest.approx(other.permutation_p, abs=1e-9)
    assert there.estimate.value == pytest.approx(-back.estimate.value, abs=1e-12)


@pytest.mark.parametrize(("events", "trials", "flag"), [
    ([0, 0], [4, 5], "no-events"), ([4, 5], [4, 5], "all-events"), ([], [], "nothing-counted"),
    ([1, 0], [9, 0], "no-interval"), ([2], [9], "no-interval"),
])
def test_tables_that_show_no_trend_say_why(events, trials, flag):
    found = trend_across_groups(events, trials)
    assert found.statistic is None and found.p is None and found.estimate.flags == (flag,)
    assert "no test can be given" in found.as_text()


def test_the_sentence_claims_a_direction_only_where_the_interval_does():
    assert "the proportion rises" in trend_across_groups(*STARKE).sentence("any new deficit")
    assert "shows no clear trend" in trend_across_groups([2, 3], [40, 41]).sentence()
    assert "the proportion falls" in trend_across_groups([20, 2], [40, 41]).sentence()


@pytest.mark.parametrize(("events", "trials", "scores"), [
    ([5], [4], None), ([1, 2], [4], None), ([1, 2], [4, 5], [1]), ([1, 2], [4, 5], [1, None]),
])
def test_misuse_is_refused(events, trials, scores):
    with pytest.raises(ValueError, match="at most|length|Row 2"):
        trend_across_groups(events, trials, scores=scores)


@pytest.mark.parametrize("data", DATA, ids=lambda d: d["name"])
def test_clustered_trend_agrees_with_r_on_open_data(data):
    """Slope from survey::svyglm; the score test by its definition in base R."""
    found = clustered_trend(data["y"], data["x"], data["id"])
    assert found.statistic == pytest.approx(data["score"], rel=1e-8)
    assert found.estimate.value == pytest.approx(data["slope"], rel=1e-8, abs=1e-12)
    assert (found.estimate.low, found.estimate.high) == pytest.approx(
        data["slope_limits"], rel=1e-7, abs=1e-10)


@pytest.mark.parametrize("name", ["MASS bacteria", "geepack respiratory", "survival retinopathy"])
def test_the_score_test_is_that_of_a_marginal_model(name):
    """statsmodels GEE (binomial, independence): compare_score_test of slope = 0."""
    import statsmodels.api as sm

    data = next(d for d in DATA if d["name"].startswith(name))
    y, x, groups = (np.asarray(data[key]) for key in ("y", "x", "id"))
    order = np.argsort(groups, kind="stable")
    y, x, groups = y[order], x[order].astype(float), groups[order]
    design = np.column_stack([np.ones(len(y)), x])
    kind = {"groups": groups, "family": sm.families.Binomial(),
            "cov_struct": sm.cov_struct.Independence()}
    full = sm.GEE(y, design, **kind)
    null = sm.GEE(y, design[:, :1], **kind).fit(ctol=1e-12)
    theirs = full.compare_score_test(null)
    found = clustered_trend(y, x, groups)
    assert found.statistic == pytest.approx(theirs["statistic"], rel=1e-5)
    assert found.p == pytest.approx(theirs["p-value"], rel=1e-4)


def test_one_row_a_patient_is_cochran_armitage():
    event, score = [], []
    for group, (x, n) in enumerate(zip(*STARKE, strict=True)):
        event += [1] * x + [0] * (n - x)
        score += [group] * n
    found = clustered_trend(event, score, range(len(event)))
    plain = trend_across_groups(*STARKE)
    assert found.method == "Cochran–Armitage"
    assert found.statistic == pytest.approx(plain.statistic)
    assert found.estimate.low == pytest.approx(plain.estimate.low)


def test_repeats_of_one_patient_do_not_count_as_more_patients():
    """Every row ten times over: a test that ignores the patient would be ten times as sure."""
    rng = np.random.default_rng(5)
    score = rng.integers(1, 6, 80)
    event = rng.binomial(1, 0.05 + 0.08 * score)
    once = clustered_trend(event, score, range(80))
    tenfold = clustered_trend(
        np.repeat(event, 10), np.repeat(score, 10), np.repeat(np.arange(80), 10))
    assert tenfold.statistic < 1.5 * once.statistic
    assert tenfold.estimate.low == pytest.approx(once.estimate.low, abs=1e-9)


@pytest.mark.reference
def test_r_still_gives_the_recorded_trends():
    assert_same(run_r("trend"), TABLES)
