"""Medians, quartiles and means, against published ranks and R."""

import coverage_medians
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_runs import assert_same, recorded, run_r
from scipy import stats

from analyses.statistics.measurements.medians import (
    clustered_mean,
    clustered_median,
    effective_rows,
    median,
)
from analyses.words.flags import DOMINATED

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


def test_ranks_follow_the_effective_number_of_rows():
    """Worked out beside the code: variance by patient of the share below the median."""
    rng = np.random.default_rng(2)
    patient = np.repeat(np.arange(12), 3)
    values = np.exp(rng.normal(size=12)[patient] + rng.normal(size=36))
    found = clustered_median(values, patient, measure="mL", unit="injection")
    below = (values < np.median(values)).reshape(12, 3).sum(axis=1) / 3
    variance = below.var(ddof=1) / 12
    n = min(36, 0.25 / variance * (stats.t.ppf(0.975, 35) / stats.t.ppf(0.975, 11)) ** 2)
    rank = int(36 * stats.beta.ppf(0.025, n / 2, n / 2 + 1))
    assert found.effective_n == pytest.approx(n) and found.clusters == 12
    assert limits(found) == (np.sort(values)[rank - 1], np.sort(values)[-rank])
    assert found.method == f"order statistics {rank} and {37 - rank}, effective n by patient"


def test_rows_wholly_alike_are_worth_their_patients():
    """Every patient's rows the same: no narrower than the interval of one row a patient."""
    own = np.random.default_rng(2).normal(10, 3, 30)
    patient = np.repeat(np.arange(30), 4)
    found, one_each = clustered_median(np.repeat(own, 4), patient), median(own)
    assert found.effective_n == pytest.approx(
        29 * (stats.t.ppf(0.975, 119) / stats.t.ppf(0.975, 29)) ** 2)
    assert found.low <= one_each.low and found.high >= one_each.high
    assert found.low < median(np.repeat(own, 4)).low
    assert effective_rows(np.full(120, 3.0), patient) == 30


def test_a_patient_with_most_of_the_rows_is_marked_and_takes_most_of_the_width():
    rng = np.random.default_rng(7)
    patient = np.repeat(np.arange(20), [30, *[2] * 19])
    values = rng.normal(size=20)[patient] + 0.3 * rng.normal(size=len(patient))
    found = clustered_median(values, patient)
    assert DOMINATED in found.flags
    even = clustered_median(values[30:], patient[30:] - 1)
    assert DOMINATED not in even.flags
    # 30 more rows, and fewer rows' worth: 68 of 20 patients against 38 of 19.
    assert found.effective_n < even.effective_n < 38


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
def test_the_clustered_interval_covers_in_every_cell(capsys):
    """94 % less three Monte Carlo errors: tests/coverage_medians.py has the cells."""
    cells = coverage_medians.grid(1_000)
    with capsys.disabled():
        print(f"\n{coverage_medians.as_markdown(cells)}")
    short = [c for c in cells if c.clustered < c.floor]
    assert not short, coverage_medians.as_markdown(short)


@pytest.mark.parametrize("correlation", [0.3, 0.9])
def test_the_clustered_interval_covers_at_eight_patients(correlation):
    """The percentile bootstrap of patients covered 85 to 91 % here."""
    found = coverage_medians.cell(8, correlation, coverage_medians.DESIGNS[0], 600)
    assert found.clustered >= found.floor and found.none < 0.05
    assert found.ignoring < found.clustered


@pytest.mark.reference
def test_r_still_gives_the_recorded_medians():
    assert_same(run_r("medians"), VALUES)
