"""Proportions of independent units and their differences, against the papers and R."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.presentation import presentable_width, presentation_flags
from analyses.statistics.proportions.difference import proportion_difference
from analyses.statistics.proportions.independent import proportion
from analyses.statistics.proportions.intervals import METHODS

COUNTS = st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def as_printed(estimate, places):
    return round(estimate.low, places), round(estimate.high, places)


@pytest.mark.parametrize(("events", "trials", "wilson", "exact"), [
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
])
def test_newcombe_1998_worked_examples(events, trials, wilson, exact):
    """Newcombe 1998, Stat Med 17:857, table I: four proportions, two of his seven methods."""
    assert as_printed(proportion(events, trials, method="wilson"), 4) == wilson
    assert as_printed(proportion(events, trials), 4) == exact


def test_agresti_coull_as_printed_by_morgan_2013():
    """Morgan 2013, J Neurosurg 118:969: adverse outcome after resection, grade III and above."""
    third = proportion(9, 172, method="agresti-coull")
    assert as_printed(third, 4) == (0.0264, 0.0978)
    assert as_printed(proportion(12, 69, method="agresti-coull"), 2) == (0.10, 0.28)


def test_upper_bound_at_none_of_twenty_is_the_two_sided_one():
    """Clopper–Pearson: 16.8 % (the one-sided bound would be 13.9 %)."""
    none = proportion(0, 20)
    assert none.low == 0 and round(none.high, 3) == 0.168
    assert none.high == pytest.approx(1 - 0.025 ** (1 / 20), rel=1e-12)


@pytest.mark.parametrize("method", METHODS)
def test_every_method_agrees_with_r_over_the_grid(method):
    """R: binom.test, prop.test, and the written definitions; over 200 pairs, edges too."""
    grid = recorded("proportions")["single"]
    assert len({(row["events"], row["n"]) for row in grid}) >= 200
    for row in grid:
        found = proportion(row["events"], row["n"], method=method, level=row["level"])
        assert (found.low, found.high) == pytest.approx(row[method], rel=1e-8, abs=1e-10), row


def by_definition(method: str, x: int, n: int) -> tuple[float, float]:
    """The 95 % limits from their definitions, with scipy alone.

    0 at no events and 1 at all, but for Agresti–Coull (Brown, Cai and DasGupta 2001).
    """
    from scipy.stats import beta, norm

    z = float(norm.ppf(0.975))
    middle = (x + z**2 / 2) / (n + z**2)
    if method == "agresti-coull":
        half = z * np.sqrt(middle * (1 - middle) / (n + z**2))
        return max(0.0, middle - half), min(1.0, middle + half)
    if method == "wilson":
        half = z * np.sqrt(x * (n - x) / n + z**2 / 4) / (n + z**2)
        return (0.0 if x == 0 else middle - half), (1.0 if x == n else middle + half)
    more = 0.5 if method == "jeffreys" else 0.0
    low = beta.ppf(0.025, x + more, n - x + (more or 1)) if x else 0.0
    high = beta.ppf(0.975, x + (more or 1), n - x + more) if x < n else 1.0
    return low, high


@pytest.mark.parametrize("method", sorted(METHODS))
def test_every_method_agrees_with_its_definition(method):
    """Over 200 pairs, worked out without statsmodels."""
    pairs = [(x, n) for n in (1, 2, 4, 9, 17, 40, 88, 133, 250, 377) for x in range(0, n + 1)
             if n < 20 or x % (n // 40 + 1) == 0 or x in (1, n - 1, n)]
    assert len(pairs) >= 200
    for x, n in pairs:
        found = proportion(x, n, method=method)
        assert (found.low, found.high) == pytest.approx(
            by_definition(method, x, n), rel=1e-8, abs=1e-9), (x, n)


@given(COUNTS, st.sampled_from(sorted(METHODS)))
def test_limits_hold_the_value_and_mirror(counts, method):
    events, n = counts
    found, mirror = proportion(events, n, method=method), proportion(n - events, n, method=method)
    assert 0 <= found.low <= found.value <= found.high <= 1
    assert (found.low, found.high) == pytest.approx((1 - mirror.high, 1 - mirror.low), abs=1e-9)


@given(COUNTS)
def test_the_exact_interval_has_its_binomial_tails(counts):
    """The definition itself: at each limit the tail probability of the data is α/2."""
    from scipy import stats

    events, n = counts
    found = proportion(events, n)
    if events:
        assert stats.binom.sf(events - 1, n, found.low) == pytest.approx(0.025, rel=1e-6)
    if events < n:
        assert stats.binom.cdf(events, n, found.high) == pytest.approx(0.025, rel=1e-6)


def test_nothing_counted_is_an_answer_not_an_error():
    nothing = proportion(0, 0, id="complication.any", unit="session")
    assert nothing.value is None and nothing.flags == ("nothing-counted",)
    assert nothing.as_text() == "0/0; nothing to count"


@pytest.mark.parametrize(("events", "trials"), [
    (5, 4), (-1, 4), (1, -4), (1.5, 4), (float("nan"), 4), (1, float("nan")), (None, 4),
])
def test_counts_that_cannot_be_are_refused(events, trials):
    with pytest.raises(ValueError, match="wanted|at most"):
        proportion(events, trials)


def test_an_unknown_method_or_level_is_refused_with_what_is_wanted():
    with pytest.raises(ValueError, match="clopper-pearson, wilson, jeffreys, agresti-coull"):
        proportion(1, 4, method="wald")
    with pytest.raises(ValueError, match="between 0 and 1"):
        proportion(1, 4, level=95)


def test_keys_say_which_units_were_events():
    found = proportion(1, 3, keys=["AV-001", "AV-002", "AV-003"], event_keys=["AV-002"])
    assert list(found.rows()["event"]) == [False, True, False]
    with pytest.raises(ValueError, match="do not fit"):
        proportion(2, 3, keys=["AV-001", "AV-002", "AV-003"], event_keys=["AV-002"])


def test_a_cell_under_five_units_is_flagged():
    assert "few-units" in proportion(1, 4).flags
    assert "few-units" not in proportion(1, 5).flags


@pytest.mark.parametrize(("value", "low", "high", "n", "expected"), [
    (0.10, 0.07, 0.14, 29.9, ("effective-n-under-30",)),
    (0.10, 0.07, 0.14, 30, ()),
    (0.50, 0.35, 0.65, 100, ("wide-interval",)),
    (0.50, 0.3501, 0.65, 100, ()),
    (0.02, 0.00, 0.05, 100, ()),
    (0.02, 0.00, 0.0501, 100, ("wide-relative-interval",)),
    (0.05, 0.02, 0.085, 100, ()),
    (0.05, 0.02, 0.0851, 100, ("wide-relative-interval",)),
    (0.00, 0.00, 0.09, 38, ()),
])
def test_presentation_rule_of_nchs(value, low, high, n, expected):
    """NCHS Series 2 No 175 (2017), thresholds as in CDC's R package surveytable (R/z_lpe.R)."""
    assert presentation_flags(value, low, high, n) == expected


def test_the_presentation_rule_looks_at_the_95_percent_interval_whatever_is_printed():
    # 10 of 45: 0.112–0.371 at 95 %; 0.18–0.27 at 50 % would pass, 0.09–0.42 at 99 % is too wide.
    for level in (0.5, 0.9, 0.99, 0.999):
        for events, n in ((10, 45), (14, 45), (5, 100), (60, 200)):
            assert proportion(events, n, level=level).flags == proportion(events, n).flags


def test_a_presentable_width_passes_the_rule():
    for risk in (0.01, 0.03, 0.10, 0.20, 0.5):
        width = presentable_width(risk)
        assert presentation_flags(risk, risk - width / 2, risk + width / 2 - 1e-12, 100) == ()


NEWCOMBE_TABLE_II = [
    ((56, 70, 48, 80), (0.0524, 0.3339)),
    ((9, 10, 3, 10), (0.1705, 0.8090)),
    ((6, 7, 2, 7), (0.0582, 0.8062)),
    ((5, 56, 0, 29), (-0.0381, 0.1926)),
    ((0, 10, 0, 20), (-0.1611, 0.2775)),
    ((0, 10, 0, 10), (-0.2775, 0.2775)),
    ((10, 10, 0, 20), (0.6791, 1.0000)),
    ((10, 10, 0, 10), (0.6075, 1.0000)),
]


@pytest.mark.parametrize(("counts", "printed"), NEWCOMBE_TABLE_II)
def test_newcombe_1998_differences(counts, printed):
    """Newcombe 1998, Stat Med 17:873, table II, method 10 (hybrid score, no correction).

    The first two rows were looked up (quoted in the tests of a public R package, propint); the
    other six are from memory of the table. All agree with his formula in R (proportions.R).
    """
    found = proportion_difference(*counts)
    assert as_printed(found, 4) == printed


def test_newcombe_differences_agree_with_r_and_statsmodels():
    """R prop.test's intervals by his formula; statsmodels confint_proportions_2indep, newcomb."""
    from statsmodels.stats.proportion import confint_proportions_2indep

    for row in recorded("proportions")["difference"]:
        found = proportion_difference(*row["counts"], level=row["level"])
        limits = (found.low, found.high)
        assert limits == pytest.approx(row["limits"], rel=1e-8, abs=1e-10)
        theirs = confint_proportions_2indep(
            *row["counts"], method="newcomb", compare="diff", alpha=1 - row["level"]
        )
        assert limits == pytest.approx(theirs, rel=1e-8, abs=1e-9)


@given(COUNTS, COUNTS)
def test_swapping_the_arms_turns_the_difference_round(one, two):
    there, back = proportion_difference(*one, *two), proportion_difference(*two, *one)
    assert there.value == pytest.approx(-back.value)
    assert (there.low, there.high) == pytest.approx((-back.high, -back.low), abs=1e-12)
    assert -1 <= there.low <= there.value <= there.high <= 1


def test_a_difference_carries_its_arms_and_flags():
    found = proportion_difference(3, 71, 7, 52, names=("EVOH 6 %", "EVOH 8 %"))
    assert [arm.number_text() for arm in found.arms] == [
        "3/71 (4.2 %, 0.88–11.9)", "7/52 (13.5 %, 5.6–25.8)",
    ]
    assert found.arms[0].group == {"arm": "EVOH 6 %"}
    assert "few-units" in proportion_difference(1, 4, 7, 52).flags
    empty = proportion_difference(0, 0, 7, 52)
    assert empty.value is None and empty.flags == ("nothing-counted",)


def test_the_record_of_a_proportion_is_finite_json():
    record = proportion(29, 377, id="complication.any", unit="session").as_record()
    assert all(not isinstance(v, float) or math.isfinite(v) for v in record.values())
    assert np.isclose(record["value"], 29 / 377)


@pytest.mark.reference
def test_r_still_gives_the_recorded_proportions():
    assert_same(run_r("proportions"), recorded("proportions"))
