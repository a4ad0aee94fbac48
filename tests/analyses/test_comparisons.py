"""Comparisons of groups against R (survey, base R) on open data, and by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from reference_runs import assert_same, recorded, run_r
from small_cohort import small_tables

from analyses.measures.comparisons import (
    comparison_estimates,
    differences,
    groups_compared,
    reference_level,
    trends,
)
from analyses.measures.headlines import Headline, headlines
from analyses.population.unit_frames import units_of

R = recorded("comparisons")
UNITS = units_of(small_tables())


@pytest.fixture(scope="module")
def visits() -> pd.DataFrame:
    """geepack's respiratory data: four visits a patient, in three groups."""
    frame = pd.DataFrame(R["data"]).rename(columns={"patient": "patient_id", "group": "intent"})
    return frame.assign(
        key=frame["patient_id"] + "/" + frame["visit"].astype(str),
        event=frame["outcome"].astype("boolean"), period="2020",
        sm_grade_value=pd.array([1] * len(frame), dtype="Int64"))


def test_groups_are_tested_by_exchange_of_whole_patients(visits: pd.DataFrame) -> None:
    """Four visits a patient: the same P as of the patients' sums exchanged, worked out here.

    The statistic is the squared distance of events from those expected, over the rows.
    """
    import numpy as np

    found = groups_compared(Headline("x", "session", visits), "intent")
    sums = visits.groupby("patient_id").agg(
        events=("event", "sum"), n=("event", "size"), group=("intent", "first"))
    assert sums["n"].nunique() == 1
    events, groups = sums["events"].to_numpy(float), pd.get_dummies(sums["group"]).to_numpy(float)
    sizes = groups.sum(axis=0) * sums["n"].iloc[0]

    def apart(shuffled: np.ndarray) -> np.ndarray:
        share = events.sum() / sizes.sum()
        return ((shuffled @ groups - share * sizes) ** 2 / sizes).sum(axis=-1)

    mixed = np.random.default_rng(5).permuted(np.tile(events, (20_000, 1)), axis=1)
    p = (apart(mixed) >= apart(events) - 1e-9).mean()
    assert found.p_value == pytest.approx(p, abs=0.01) and "exchange" in found.method


def test_one_row_a_patient_in_two_groups_is_fishers_test(visits: pd.DataFrame) -> None:
    from scipy.stats import fisher_exact

    last = visits[(visits["visit"] == 4) & (visits["intent"] != "old")]
    found = groups_compared(Headline("x", "patient", last), "intent")
    table = pd.crosstab(last["intent"], last["event"])
    assert found.p_value == pytest.approx(fisher_exact(table)[1])


def test_below_eight_events_nothing_is_compared(visits: pd.DataFrame) -> None:
    few = visits.assign(event=pd.array([k < 7 for k in range(len(visits))], dtype="boolean"))
    headline = Headline("x", "session", few)
    assert differences(headline, "intent") == [] and trends(headline) == []
    found = groups_compared(headline, "intent")
    assert found.p_value is None and "the counts stand alone" in found.why


def test_the_clustered_difference_has_the_value_of_r_survey(visits: pd.DataFrame) -> None:
    rows = visits[visits["intent"] != "old"]
    found = differences(Headline("x", "session", rows), "intent")[0]
    sign = 1 if found.group == {"intent": "middle against young"} else -1
    assert sign * (found.value or 0) == pytest.approx(R["difference"]["value"], rel=1e-9)


def test_newcombe_difference_of_one_row_a_patient() -> None:
    # 56/70 against 48/80: 0.0524 to 0.3339, Newcombe 1998, Stat Med 17:873, table II (a),
    # method 10.
    events = [True] * 56 + [False] * 14 + [True] * 48 + [False] * 32
    names = [f"P{i}" for i in range(150)]
    frame = pd.DataFrame({
        "key": names, "patient_id": names, "period": "2020",
        "ruptured": ["yes"] * 70 + ["no"] * 80, "event": pd.array(events, dtype="boolean")})
    found = differences(Headline("x", "patient", frame), "ruptured")[0]
    assert found.group == {"ruptured": "yes against no"}
    assert (round(found.low or 0, 4), round(found.high or 0, 4)) == (0.0524, 0.3339)


def test_a_later_half_is_compared_with_the_earlier() -> None:
    names = [f"P{k}" for k in range(20)]
    frame = pd.DataFrame({
        "key": names, "patient_id": names,
        "period": ["2018"] * 4 + ["2019"] * 4 + ["2020"] * 2 + ["2022"] * 10,
        "event": pd.array([True] * 10 + [False] * 10, dtype="boolean")})
    found = differences(Headline("x", "patient", frame), "half")[0]
    # 2018 to 2020 are the earlier half of five calendar years, the middle one among them.
    assert [(a.events, a.n) for a in found.arms] == [(0, 10), (10, 10)]


def test_levels_under_five_units_are_not_compared() -> None:
    assert not any(e.n and min(a.n or 0 for a in e.arms) < 5
                   for e in comparison_estimates(UNITS) if e.arms)


def test_the_reference_is_the_commonest_intent_and_grade_a() -> None:
    rows = headlines(UNITS)["complication.any"].frame
    assert reference_level(rows, "intent", ["curative", "before resection"]) == "before resection"
    assert reference_level(rows, "ponce_class", ["A", "B"]) == "A"


def test_trend_is_the_change_a_grade() -> None:
    # Sessions by grade: I 3/6, III 1/4, V 2/2, taken twice so that the floor of 8 is reached.
    grades = [1] * 6 + [3] * 4 + [5] * 2
    events = [1, 1, 1, 0, 0, 0, 1, 0, 0, 0, 1, 1]
    names = [f"P{k}" for k in range(24)]
    frame = pd.DataFrame({
        "key": names, "patient_id": names, "period": "2020",
        "sm_grade_value": pd.array(grades * 2, dtype="Int64"),
        "event": pd.array([bool(e) for e in events * 2], dtype="boolean")})
    trend, = trends(Headline("x", "session", frame))
    mean = sum(grades) / 12
    slope = (sum((g - mean) * e for g, e in zip(grades, events, strict=True))
             / sum((g - mean) ** 2 for g in grades))
    assert trend.estimate.value == pytest.approx(slope)
    assert (trend.estimate.events, trend.estimate.n) == (12, 24)


def test_no_p_value_is_on_record(visits: pd.DataFrame) -> None:
    """Nothing was named beforehand: differences and trends with intervals, and no test."""
    for e in comparison_estimates(UNITS):
        assert "P =" not in e.as_text() and "P <" not in e.as_text() and e.kind != "P value"


def test_no_outcome_gives_words_and_no_number(visits: pd.DataFrame) -> None:
    none = visits.assign(event=pd.array([False] * len(visits), dtype="boolean"))
    found = groups_compared(Headline("x", "session", none), "intent")
    assert found.p_value is None and found.why == "no row has the event"


def test_ids_are_unique_in_unit_and_group() -> None:
    keys = [(e.id, e.unit, str(e.group)) for e in comparison_estimates(UNITS)]
    assert len(keys) == len(set(keys))


@pytest.mark.reference
def test_r_still_gives_the_recorded_values() -> None:
    assert_same(run_r("comparisons"), R)
