"""Medians, quartiles and means, against published ranks and R."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.measurements.medians import (
    bootstrap_medians,
    clustered_mean,
    clustered_median,
    median,
)

VALUES = recorded("medians")


def limits(estimate):
    return estimate.low, estimate.high


def ranks(n):
    """The ranks used, read off the values 1 to n."""
    found = median(range(1, n + 1))
    return None if found.low is None else (found.low, found.high)


@pytest.mark.parametrize(("n", "expected"), [
    (5, None), (6, (1, 6)), (7, (1, 7)), (8, (1, 8)), (9, (2, 8)), (10, (2, 9)), (11, (2, 10)),
    (12, (3, 10)), (13, (3, 11)), (14, (3, 12)), (15, (4, 12)), (16, (4, 13)), (17, (5, 13)),
    (18, (5, 14)), (19, (5, 15)), (20, (6, 15)),
])
def test_ranks_as_in_a_published_table(n, expected):
    """A textbook's table A.7, "Confidence intervals for the population median": at each n the
    narrowest pair of ranks with 95 % confidence or more (looked up; n = 5 reaches 93.8 %)."""
    assert ranks(n) == expected


def test_snedecor_and_cochran_example():
    """Data of Snedecor and Cochran 1989, Statistical Methods, as in R statpsych's ci.median:
    median 20.7, 95 % interval 10.8 to 30.9."""
    values = [30.2, 20.4, 15.1, 10.2, 10.5, 60.8, 20.8, 25.0, 20.7, 30.9, 10.8, 5.1, 50.9, 40.0,
              20.9, 10.8, 0, 20.5, 50.8]
    found = median(values)
    assert (found.value, *limits(found)) == (20.7, 10.8, 30.9)


def test_ranks_agree_with_r_up_to_120():
    for row in VALUES["ranks"]:
        found = median(range(1, row["n"] + 1), level=row["level"])
        expected = (row["rank"], row["n"] + 1 - row["rank"]) if row["rank"] else (None, None)
        assert limits(found) == expected


@pytest.mark.parametrize("data", VALUES["data"], ids=lambda d: d["name"])
def test_medians_quartiles_and_means_agree_with_r(data):
    """stats::median, quantile (type 7), sd, t.test; order statistics at qbinom's ranks."""
    found = median(data["values"])
    assert found.value == data["median"] and limits(found) == tuple(data["limits"])
    assert [q.value for q in found.beside] == pytest.approx(data["quartiles"], rel=1e-12)
    average = clustered_mean(data["values"], range(len(data["values"])))
    assert average.value == pytest.approx(data["mean"], rel=1e-12)
    assert average.beside[0].value == pytest.approx(data["sd"], rel=1e-12)
    assert limits(average) == pytest.approx(data["mean_limits"], rel=1e-8)


def test_clustered_mean_agrees_with_r_survey():
    """survey::svymean by subject, t interval on C - 1 (lme4 sleepstudy)."""
    data = VALUES["by_patient"]
    found = clustered_mean(data["values"], data["id"])
    assert found.value == pytest.approx(data["mean"], rel=1e-12)
    assert limits(found) == pytest.approx(data["limits"], rel=1e-8)
    assert (found.n, found.clusters) == (180, 18)


def test_the_bootstrap_follows_the_distribution_over_all_samples():
    """Six subjects of lme4 sleepstudy: all 6⁶ samples listed in R; 20,000 seeded draws agree.

    At every possible median the two distribution functions lie within four Monte Carlo errors.
    """
    data = VALUES["all_samples"]
    patient = np.array(data["id"]) - 1
    drawn = bootstrap_medians(np.array(data["values"]), patient, replicates=20_000, seed=11)
    expected = np.cumsum(data["chance"])
    assert expected[-1] == pytest.approx(1)
    for at, share in zip(data["median"], expected, strict=True):
        error = np.sqrt(max(share * (1 - share), 1e-6) / len(drawn))
        assert (drawn <= at + 1e-9).mean() == pytest.approx(share, abs=4 * error)


def test_the_bootstrap_median_is_the_median_of_the_drawn_rows():
    """The running-sum shortcut against the median of rows written out in full."""
    rng = np.random.default_rng(0)
    values, patient = np.round(rng.gamma(3, 4, 40), 1), np.repeat(np.arange(20), 2)
    weights = np.random.default_rng(3).multinomial(20, np.full(20, 1 / 20), size=50)
    full = [np.median(np.repeat(values, w[patient])) for w in weights]
    assert bootstrap_medians(values, patient, replicates=50, seed=3).tolist() == full


def test_the_clustered_interval_is_seeded_and_widens_with_likeness():
    rng = np.random.default_rng(2)
    own = np.repeat(rng.normal(10, 3, 30), 4)
    patient = np.repeat(np.arange(30), 4)
    found = clustered_median(own, patient, measure="mL", unit="injection")
    assert found == clustered_median(own, patient, measure="mL", unit="injection")
    plain = median(own)
    assert found.low < plain.low and found.high > plain.high
    assert found.method == "bootstrap of patients, 2,000 samples" and found.clusters == 30
    other = clustered_median(own, patient, seed=2)
    assert other.low == pytest.approx(found.low, abs=1.0)


def test_one_row_a_patient_uses_the_order_statistics():
    found = clustered_median(range(1, 21), range(20))
    assert limits(found) == (6, 15) and found.method == "order statistics 6 and 15"


def test_too_few_patients_get_words():
    few = clustered_median(range(10), [0, 1, 2, 3, 4] * 2)
    assert limits(few) == (None, None) and "no-interval" in few.flags
    assert "one-patient" in clustered_median(range(10), [0] * 10).flags
    assert "one-patient" in clustered_mean(range(10), [0] * 10).flags
    assert "no-interval" in clustered_mean([3.0], [0]).flags
    assert median([]).value is None and clustered_mean([], []).flags == (
        "nothing-counted",)


def test_missing_values_are_refused_with_the_row():
    for wrong in ([1, None, 3], [1, float("nan"), 3]):
        with pytest.raises(ValueError, match="Row 2 has no value"):
            median(wrong)
    with pytest.raises(ValueError, match="not a number"):
        clustered_mean(["much", 1], [0, 1])
    with pytest.raises(ValueError, match="length"):
        clustered_median([1, 2], [1])


def test_rows_carry_their_keys():
    found = median([3, 1, 2], keys=["a", "b", "c"], measure="mL", unit="injection")
    assert found.rows()["key"].tolist() == ["a", "b", "c"]
    assert found.sentence("agent injected").startswith("Agent injected: median 2 mL, from 3 inj")


@given(st.lists(st.floats(-1e6, 1e6), min_size=6, max_size=80))
def test_the_interval_holds_the_median(values):
    found = median(values)
    assert found.low <= found.value <= found.high
    assert found.beside[0].value <= found.value <= found.beside[1].value


@pytest.mark.slow
def test_order_statistics_cover_as_the_binomial_says():
    """Coverage at n = 25, skewed values, 20,000 samples: 1 - 2·P(X < l), within 4 errors."""
    from scipy import stats

    rng = np.random.default_rng(8)
    hits = 0
    rank = int(stats.binom.ppf(0.025, 25, 0.5))
    drawn = np.sort(rng.exponential(size=(20_000, 25)), axis=1)
    hits = ((drawn[:, rank - 1] <= np.log(2)) & (np.log(2) <= drawn[:, -rank])).mean()
    truth = 1 - 2 * stats.binom.cdf(rank - 1, 25, 0.5)
    assert truth >= 0.95 and hits == pytest.approx(truth, abs=4 * np.sqrt(0.05 * 0.95 / 20_000))
    found = median(drawn[0])
    assert limits(found) == (drawn[0, rank - 1], drawn[0, -rank])


@pytest.mark.slow
def test_the_bootstrap_of_patients_covers():
    """60 patients, 1-5 rows, half of the variance between patients: 94 % less 3 errors (600)."""
    rng = np.random.default_rng(4)
    hits = 0
    for seed in range(600):
        patient = np.repeat(np.arange(60), rng.integers(1, 6, 60))
        values = np.exp(rng.normal(size=60)[patient] + rng.normal(size=len(patient)))
        found = clustered_median(values, patient, replicates=500, seed=seed)
        hits += found.low <= 1.0 <= found.high
    assert hits / 600 >= 0.94 - 3 * np.sqrt(0.94 * 0.06 / 600)


@pytest.mark.reference
def test_r_still_gives_the_recorded_medians():
    assert_same(run_r("medians"), VALUES)
