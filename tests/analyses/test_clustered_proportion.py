"""Proportions whose rows repeat within patients, against R survey and the definition."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.proportions.bounds import proportion_bounds
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.clusters import (
    intraclass_correlation,
    korn_graubard,
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


@pytest.mark.parametrize("data", DATA, ids=lambda d: d["name"])
def test_agrees_with_r_survey_on_open_data(data):
    """survey::svyciprop(method = "beta"), 8 open data sets where its effective n stays under n.

    survey 4.1 does not cap; where the cap binds (apiclus1) the definition, written in R, stands.
    """
    for level, key in ((0.95, "low_high_95"), (0.90, "low_high_90")):
        found = clustered_proportion(data["y"], data["id"], level=level)
        if not data["capped"]:
            assert limits(found) == pytest.approx(data[key], rel=1e-8, abs=1e-10)
    found = clustered_proportion(data["y"], data["id"])
    assert limits(found) == pytest.approx(data["defined_95"], rel=1e-8, abs=1e-10)
    assert found.effective_n == pytest.approx(min(data["effective_n"], data["n"]), rel=1e-8)
    assert (found.n, found.clusters) == (data["n"], data["clusters"])


def test_enough_open_data_sets_stay_under_the_cap():
    assert sum(not data["capped"] for data in DATA) >= 5


@pytest.mark.parametrize("case", WRITTEN, ids=lambda c: c["name"])
def test_agrees_with_the_written_definition_where_survey_does_not_reach(case):
    """The definition in base R (tests/reference/clustered.R): cap, no events, only events."""
    for level, key in ((0.95, "low_high_95"), (0.90, "low_high_90")):
        found = clustered_proportion(*unfolded(case), level=level)
        assert limits(found) == pytest.approx(case[key], rel=1e-8, abs=1e-10)


def test_one_row_a_patient_is_plain_clopper_pearson():
    found = clustered_proportion([1] * 3 + [0] * 37, range(40))
    assert limits(found) == limits(proportion(3, 40)) and found.method == "Clopper–Pearson"


def test_no_events_gives_both_bounds_and_speaks_of_patients():
    """analysis-plan: both two-sided exact bounds; the sentence uses patients."""
    found = clustered_proportion([0] * 57, [i // 2 if i < 38 else i for i in range(57)],
                                 unit="session", id="complication.death_30d")
    patients = found.clusters
    assert found.high == pytest.approx(1 - 0.025 ** (1 / patients)) and found.low == 0
    by_rows, = found.beside
    assert by_rows.high == pytest.approx(1 - 0.025 ** (1 / 57))
    assert by_rows.high < found.high
    assert by_rows.method == "Clopper–Pearson by rows"
    assert "bounds by patients, the wider ones" in found.as_text()
    assert f"none of 57 sessions from {patients} patients" in found.sentence("a death")


def test_one_patient_with_both_outcomes_gets_words_instead_of_an_interval():
    found = clustered_proportion([1, 0, 0], ["AV-001"] * 3)
    assert limits(found) == (None, None) and "one-patient" in found.flags
    assert found.value == pytest.approx(1 / 3)
    one = clustered_proportion([1], ["AV-001"])
    assert limits(one) == limits(proportion(1, 1))


def test_patients_who_do_not_differ_use_the_cap_and_say_so():
    found = clustered_proportion([1, 0] * 20, [i // 2 for i in range(40)])
    assert limits(found) == limits(proportion(20, 40))
    assert "no-variation-between-patients" in found.flags


def test_nothing_counted():
    found = clustered_proportion([], [])
    assert found.value is None and found.flags == ("nothing-counted",) and found.clusters == 0


def test_the_presentation_rule_counts_what_the_rows_are_worth():
    """80 rows of 16 patients, each all or nothing: worth 15 patients, so flagged."""
    event = [1] * 20 + [0] * 60
    found = clustered_proportion(event, [i // 5 for i in range(80)])
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
    together = korn_graubard(events, rows)
    for place in range(40):
        alone = clustered_proportion(*unfolded({
            "events": events[place].astype(int), "rows": rows[place].astype(int)}))
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
