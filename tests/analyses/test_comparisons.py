"""Comparisons of groups against R (survey, base R) on open data, and by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from reference_runs import assert_same, recorded, run_r
from small_cohort import small_tables

from analyses.measures.comparisons import (
    comparison_estimates,
    differences,
    heterogeneity,
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


def test_clustered_heterogeneity_as_defined_by_boos_in_r(visits: pd.DataFrame) -> None:
    found = heterogeneity(Headline("x", "session", visits), "intent")
    assert found.statistic == pytest.approx(R["clustered"]["statistic"], rel=1e-9)
    assert found.df == R["clustered"]["df"]


def test_heterogeneity_of_one_row_a_patient_is_pearsons_as_in_r(visits: pd.DataFrame) -> None:
    last = visits[visits["visit"] == 4]
    found = heterogeneity(Headline("x", "patient", last), "intent")
    assert found.statistic == pytest.approx(R["alone"]["statistic"], rel=1e-9)


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
    frame = pd.DataFrame({
        "key": list("abcdefghijkl"), "patient_id": list("abcdefghijkl"),
        "period": ["2018"] * 3 + ["2019"] * 2 + ["2020"] * 2 + ["2022"] * 5,
        "event": pd.array([True] * 7 + [False] * 5, dtype="boolean")})
    found = differences(Headline("x", "patient", frame), "half")[0]
    # 2018 to 2020 are the earlier half of five calendar years, the middle one among them.
    assert [(a.events, a.n) for a in found.arms] == [(0, 5), (7, 7)]


def test_levels_under_five_units_are_not_compared() -> None:
    assert not any(e.n and min(a.n or 0 for a in e.arms) < 5
                   for e in comparison_estimates(UNITS) if e.arms)


def test_the_reference_is_the_commonest_intent_and_grade_a() -> None:
    rows = headlines(UNITS)["complication.any"].frame
    assert reference_level(rows, "intent", ["curative", "before resection"]) == "before resection"
    assert reference_level(rows, "ponce_class", ["A", "B"]) == "A"


def test_trend_is_the_change_a_grade() -> None:
    # Sessions by grade: I 3/6, III 1/4, V 2/2 (patients 3, 5, 10; 2; 4 twice).
    trend = next(t for t in trends(headlines(UNITS)["complication.any"])
                 if t.estimate.group == {"sm_grade": "per grade"})
    grades = [1] * 6 + [3] * 4 + [5] * 2
    events = [1, 1, 1, 0, 0, 0, 1, 0, 0, 0, 1, 1]
    mean = sum(grades) / 12
    slope = (sum((g - mean) * e for g, e in zip(grades, events, strict=True))
             / sum((g - mean) ** 2 for g in grades))
    assert trend.estimate.value == pytest.approx(slope)
    assert (trend.estimate.events, trend.estimate.n) == (6, 12)


def test_words_never_claim_a_cause_and_never_show_p_alone(visits: pd.DataFrame) -> None:
    for frame in (visits, visits[visits["intent"] != "old"].iloc[:40]):
        words = heterogeneity(Headline("x", "session", frame), "intent").words()
        assert "caus" not in words
        assert "P" not in words or "χ²" in words


def test_no_outcome_gives_words_and_no_number(visits: pd.DataFrame) -> None:
    none = visits.assign(event=pd.array([False] * len(visits), dtype="boolean"))
    found = heterogeneity(Headline("x", "session", none), "intent")
    assert found.p is None and "no comparison" in found.words()


def test_ids_are_unique_in_unit_and_group() -> None:
    keys = [(e.id, e.unit, str(e.group)) for e in comparison_estimates(UNITS)]
    assert len(keys) == len(set(keys))


@pytest.mark.reference
def test_r_still_gives_the_recorded_values() -> None:
    assert_same(run_r("comparisons"), R)
