"""Proportions whose rows repeat within patients, against R survey and the definition."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_runs import assert_same, recorded, run_r
from scipy.stats import beta, t

from analyses.statistics.proportions.bounds import proportion_bounds
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.clusters import (
    intraclass_correlation,
    korn_graubard,
    shrunken,
    totals,
)
from analyses.statistics.proportions.independent import proportion

DATA = recorded("clustered")["data"]
WRITTEN = recorded("clustered")["written"]
ROWS = st.lists(st.tuples(st.integers(0, 1), st.integers(0, 7)), min_size=1, max_size=60)


def unfolded(case):
    """Rows from events and rows by patient."""
    event, patient = [], []
    for code, (happened, rows) in enumerate(zip(case["events"], case["rows"], strict=True)):
        event += [1] * happened + [0] * (rows - happened)
        patient += [f"AV-{code:03d}"] * rows
    return event, patient


def limits(estimate):
    return estimate.low, estimate.high


def by_korn_graubard(event, cluster, **also):
    return clustered_proportion(event, cluster, method="korn-graubard", **also)


@pytest.mark.parametrize("data", DATA, ids=lambda d: d["name"])
def test_agrees_with_r_survey_on_open_data(data):
    """survey::svyciprop(method = "beta"), 8 open data sets where its effective n stays under n.

    survey 4.1 does not cap; where the cap binds (apiclus1) the definition, written in R, stands.
    """
    for level, key in ((0.95, "low_high_95"), (0.90, "low_high_90")):
        found = by_korn_graubard(data["y"], data["id"], level=level)
        if not data["capped"]:
            assert limits(found) == pytest.approx(data[key], rel=1e-8, abs=1e-10)
    found = by_korn_graubard(data["y"], data["id"])
    assert limits(found) == pytest.approx(data["defined_95"], rel=1e-8, abs=1e-10)
    assert found.effective_n == pytest.approx(min(data["effective_n"], data["n"]), rel=1e-8)
    assert (found.n, found.clusters) == (data["n"], data["clusters"])


def test_enough_open_data_sets_stay_under_the_cap():
    assert sum(not data["capped"] for data in DATA) >= 5


@pytest.mark.parametrize("case", WRITTEN, ids=lambda c: c["name"])
def test_agrees_with_the_written_definition_where_survey_does_not_reach(case):
    """The definition in base R (tests/reference/clustered.R): cap, no events, only events."""
    for level, key in ((0.95, "low_high_95"), (0.90, "low_high_90")):
        found = by_korn_graubard(*unfolded(case), level=level)
        assert limits(found) == pytest.approx(case[key], rel=1e-8, abs=1e-10)


def test_one_row_a_patient_is_plain_clopper_pearson():
    found = clustered_proportion([1] * 3 + [0] * 37, range(40))
    assert limits(found) == limits(proportion(3, 40)) and found.method == "Clopper–Pearson"


def written_out(case, level=0.95):
    """The shrunken interval from its definition, with scipy's quantiles and plain loops."""
    events, rows = case["events"], case["rows"]
    n, k, patients = sum(rows), sum(events), len(rows)
    p, typical = k / n, sum(r * r for r in rows) / n
    variance = patients / (patients - 1) * sum(
        ((e - p * r) / n) ** 2 for e, r in zip(events, rows, strict=True))
    own = 0.0
    if 0 < k < n and typical > 1:
        own = min(max((variance * n / (p * (1 - p)) - 1) / (typical - 1), 0), 1)
    few = min(k, n - k)
    rho = (8 * 0.2 + few * own) / (8 + few)
    tail = 1 - (1 - level) / 2
    degrees = max(n / typical - 1, 1)
    worth = n / (1 + (typical - 1) * rho) * (t.ppf(tail, n - 1) / t.ppf(tail, degrees)) ** 2
    worth = n if patients == n else min(worth, n)
    if worth < 1 and 0 < k < n:
        return 0.0, 1.0
    x = p * worth
    return (beta.ppf(1 - tail, x, worth - x + 1) if k else 0.0,
            beta.ppf(tail, x + 1, worth - x) if k < n else 1.0)


@pytest.mark.parametrize("case", [c for c in WRITTEN if len(c["rows"]) > 1],
                         ids=lambda c: c["name"])
def test_the_shrunken_interval_is_as_defined(case):
    for level in (0.95, 0.90):
        found = clustered_proportion(*unfolded(case), level=level)
        assert limits(found) == pytest.approx(written_out(case, level), abs=1e-10)


MANY_EVENTS = [d for d in DATA if min(sum(d["y"]), len(d["y"]) - sum(d["y"])) >= 50]


def test_enough_open_data_sets_have_many_events():
    assert len(MANY_EVENTS) >= 5


@pytest.mark.parametrize("data", MANY_EVENTS, ids=lambda d: d["name"])
def test_with_many_events_it_comes_near_to_korn_graubard(data):
    """Open data sets of R survey, each with 50 events and non-events or more."""
    found = clustered_proportion(data["y"], data["id"])
    low, high = data["defined_95"]
    assert 0.85 < (found.high - found.low) / (high - low) < 1.15
    beside, = found.beside
    assert limits(beside) == pytest.approx((low, high), rel=1e-8, abs=1e-10)


def test_no_switch_of_method_between_no_event_and_a_few():
    """40 patients with 5 sessions: by the older rule up to 8.8, 2.9 and 6.4 % at 0, 1, 6 events."""
    patient = [i // 5 for i in range(200)]
    highs = [clustered_proportion([int(i % 5 == 0 and i // 5 < k) for i in range(200)],
                                  patient).high for k in range(12)]
    assert highs == sorted(highs) and 0.02 < highs[0] < 0.05


@given(st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_more_events_never_lower_a_limit(seed):
    """Patients of 1–5 sessions; events are added one after another, wherever they fall."""
    rng = np.random.default_rng(seed)
    size = rng.integers(1, 6, int(rng.integers(20, 120)))
    owner = np.repeat(np.arange(len(size)), size)
    order = rng.permutation(len(owner))[:12]
    events = np.zeros((13, len(size)))
    for k, row in enumerate(order, start=1):
        events[k] = events[k - 1]
        events[k, owner[row]] += 1
    found = shrunken(events, np.broadcast_to(size.astype(float), events.shape))
    assert (np.diff(found.low) > -1e-9).all() and (np.diff(found.high) > -1e-9).all()


def test_no_events_speaks_of_patients():
    found = clustered_proportion([0] * 57, [i // 2 if i < 38 else i for i in range(57)],
                                 unit="session", id="complication.death_30d")
    patients = found.clusters
    assert found.low == 0 and 1 - 0.025 ** (1 / 57) < found.high < 1 - 0.025 ** (1 / patients)
    beside, = found.beside
    assert beside.high == pytest.approx(1 - 0.025 ** (1 / patients))
    assert beside.method == "Clopper–Pearson by patients"
    assert f"none of 57 sessions from {patients} patients" in found.sentence("a death")


def test_a_patient_who_gives_a_quarter_of_the_rows_is_told():
    """30 of 69 sessions from one patient: intervals there fall short by most, so it is said."""
    patient = [0] * 30 + list(range(1, 40))
    assert "one patient gives a quarter of the rows or more" in clustered_proportion(
        [1] * 5 + [0] * 64, patient).as_text()
    assert "a quarter" not in clustered_proportion([1] * 5 + [0] * 64, range(69)).as_text()


def test_one_patient_with_both_outcomes_gets_words_instead_of_an_interval():
    found = clustered_proportion([1, 0, 0], ["AV-001"] * 3)
    assert limits(found) == (None, None) and "one-patient" in found.flags
    assert found.value == pytest.approx(1 / 3)
    one = clustered_proportion([1], ["AV-001"])
    assert limits(one) == limits(proportion(1, 1))


def test_patients_who_do_not_differ_use_the_cap_and_say_so():
    found = by_korn_graubard([1, 0] * 20, [i // 2 for i in range(40)])
    assert limits(found) == limits(proportion(20, 40))
    assert "no-variation-between-patients" in found.flags


def test_nothing_counted():
    found = clustered_proportion([], [])
    assert found.value is None and found.flags == ("nothing-counted",) and found.clusters == 0


def test_the_presentation_rule_counts_what_the_rows_are_worth():
    """80 rows of 16 patients, each all or nothing: worth 15 patients, so flagged."""
    event = [1] * 20 + [0] * 60
    found = by_korn_graubard(event, [i // 5 for i in range(80)])
    assert found.effective_n < 16 and "effective-n-under-30" in found.flags
    assert "effective-n-under-30" not in clustered_proportion(event, range(80)).flags


@pytest.mark.parametrize(("event", "cluster", "said"), [
    ([1, 0], ["a"], "differ in length"),
    ([1, 2], ["a", "b"], "Row 2 has the outcome 2"),
    ([1, float("nan")], ["a", "b"], "Row 2 has no outcome"),
    ([1, None], ["a", "b"], "Row 2 has no outcome"),
    ([1, 0], ["a", None], "Row 2 has no patient"),
    (["yes", "no"], ["a", "b"], "not a number"),
])
def test_misuse_is_refused_with_the_row(event, cluster, said):
    with pytest.raises(ValueError, match=said):
        clustered_proportion(event, cluster)


@given(ROWS)
@settings(max_examples=200)
def test_order_and_labels_of_patients_do_not_matter(rows):
    event, patient = [e for e, _ in rows], [p for _, p in rows]
    plain = clustered_proportion(event, patient)
    turned = clustered_proportion(event[::-1], [f"AV-{9 - p}" for p in patient[::-1]])
    assert (plain.value, plain.flags) == (turned.value, turned.flags)
    for one, two in zip(limits(plain), limits(turned), strict=True):
        assert (one is None and two is None) or one == pytest.approx(two, abs=1e-12)
    if plain.low is not None:
        assert 0 <= plain.low <= plain.value <= plain.high <= 1


@given(ROWS)
def test_the_interval_is_never_narrower_than_the_one_by_rows(rows):
    found = clustered_proportion([e for e, _ in rows], [p for _, p in rows])
    if found.low is not None:
        by_rows = proportion(found.events, found.n)
        assert found.low <= by_rows.low + 1e-9 and found.high >= by_rows.high - 1e-9


def test_many_replicates_at_once_equal_one_at_a_time():
    rng = np.random.default_rng(3)
    rows = rng.integers(0, 5, size=(40, 12)).astype(float)
    rows[:, 0] = 1
    events = rng.binomial(rows.astype(int), 0.3).astype(float)
    for many, method in ((korn_graubard, "korn-graubard"), (shrunken, "shrunken-correlation")):
        for place in range(40):
            together = many(events, rows)
            alone = clustered_proportion(*unfolded({
                "events": events[place].astype(int), "rows": rows[place].astype(int)}),
                method=method)
            assert together.low[place] == pytest.approx(alone.low, abs=1e-12)
            assert together.high[place] == pytest.approx(alone.high, abs=1e-12)


def test_keys_and_names_go_onto_the_estimate():
    found = clustered_proportion(
        [1, 0], ["AV-001", "AV-001"], keys=[("AV-001", 1, 1), ("AV-001", 1, 2)], unit="session",
        id="complication.any", group={"agent": "EVOH 6 %"},
    )
    assert found.rows()["key"].tolist() == ["AV-001/1/1", "AV-001/1/2"]
    assert (found.unit, found.id, found.group) == (
        "session", "complication.any", {"agent": "EVOH 6 %"})


def test_within_patient_correlation_of_known_tables():
    """By analysis of variance: 1 where patients are all or nothing, 0 where it would be below."""
    assert intraclass_correlation(np.array([3.0, 0.0, 3.0, 0.0]), np.full(4, 3.0)) == 1
    assert intraclass_correlation(np.array([1.0, 1.0, 1.0]), np.full(3, 3.0)) == 0
    assert np.isnan(intraclass_correlation(np.array([1.0, 0.0]), np.ones(2)))


def test_totals_by_patient():
    assert totals(np.array([1.0, 0.0, 1.0]), np.array([0, 1, 0])).tolist() == [2.0, 0.0]


class TestMissingOutcomes:
    """Best and worst case: Horowitz and Manski 2000, J Am Stat Assoc 95:77."""

    event = [1, 0, None, 0, float("nan"), 1, 0, 0] * 6
    patient = [i // 2 for i in range(48)]

    def test_the_bounds_are_those_of_the_two_fillings(self):
        found = proportion_bounds(self.event, self.patient, id="complication.permanent_deficit")
        filled = [[v if v in (0, 1) else case for v in self.event] for case in (0, 1)]
        best, worst = (clustered_proportion(f, self.patient) for f in filled)
        assert (found.events, found.n) == (12, 36) and found.value == pytest.approx(1 / 3)
        assert limits(found) == (best.low, worst.high)
        assert [e.id.split(".")[-1] for e in found.beside] == ["missing_none", "missing_all"]
        assert [e.value for e in found.beside] == [12 / 48, 24 / 48]
        assert "best and worst case" in found.as_text()

    def test_they_hold_the_complete_case_interval(self):
        known = [(e, p) for e, p in zip(self.event, self.patient, strict=True) if e in (0, 1)]
        complete = clustered_proportion(*zip(*known, strict=True))
        found = proportion_bounds(self.event, self.patient)
        assert found.low < complete.low and found.high > complete.high

    def test_with_nothing_missing_they_are_the_plain_interval(self):
        found = proportion_bounds([1, 0, 0, 1], [1, 1, 2, 3])
        assert limits(found) == limits(clustered_proportion([1, 0, 0, 1], [1, 1, 2, 3]))
        assert "no outcome is missing" in found.as_text()

    def test_with_everything_missing_nothing_is_known(self):
        found = proportion_bounds([None] * 10, range(10))
        assert found.value is None and limits(found) == (0.0, 1.0)

    def test_keys_are_those_of_the_known_rows(self):
        found = proportion_bounds([1, None, 0], [1, 2, 3], keys=["a", "b", "c"])
        assert found.rows()["key"].tolist() == ["a", "c"]


@pytest.mark.reference
def test_r_still_gives_the_recorded_clustered_values():
    assert_same(run_r("clustered"), recorded("clustered"))


@pytest.mark.parametrize("level", [0.5, 0.9, 0.99])
def test_flags_of_imprecision_are_those_of_the_95_percent_interval(level: float) -> None:
    # 8 of 80 sessions in 40 patients; 2 of 30: imprecise at 95 %, and so whatever is printed.
    for events, rows in ((8, 80), (2, 30)):
        event, patient = [int(k < events) for k in range(rows)], [k // 2 for k in range(rows)]
        assert clustered_proportion(event, patient, level=level).flags == (
            clustered_proportion(event, patient).flags)
