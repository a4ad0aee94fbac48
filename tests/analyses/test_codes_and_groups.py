"""What is an event, and what is a group: text is never an event, and any column makes groups."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from study_of_ten import study_of_ten

from analyses import (
    cumulative_incidence,
    fit,
    gaps_between_events,
    p_chart,
    risk_adjusted_cusum,
    survival,
)
from analyses.measures.counting import levels, share, shares
from analyses.measures.measuring import medians

ROWS = 145


def units() -> pd.DataFrame:
    """145 rows of 73 patients, every fourth with the event, and groups of every type."""
    place = np.arange(ROWS)
    return pd.DataFrame({
        "key": [f"K-{n}" for n in place], "patient_id": [f"P-{n // 2}" for n in place],
        "event": place % 4 == 0, "no": "no", "value": place.astype(float),
        "truth": place % 2 == 0, "truth_or_blank": pd.array(
            [[True, False, None][n % 3] for n in place], dtype="boolean"),
        "object_truth": pd.Series([[True, False, None][n % 3] for n in place], dtype=object),
        "whole": [(10, 9, 2)[n % 3] for n in place],
        "number": [(1.0, 2.0, np.nan)[n % 3] for n in place],
        "half": [(1.5, 2.0, np.nan)[n % 3] for n in place],
        "choice": pd.Categorical([("small", "large", None)[n % 3] for n in place],
                                 categories=["small", "large", "never used"]),
        "grade": pd.Categorical([(1, 2, None)[n % 3] for n in place]),
        "text": [("a", "b", None, " ")[n % 4] for n in place],
    })


GROUPS = {
    "truth": ["no", "yes"], "truth_or_blank": ["no", "yes", "not recorded"],
    "object_truth": ["no", "yes", "not recorded"], "whole": ["2", "9", "10"],
    "number": ["1", "2", "not recorded"], "half": ["1.5", "2.0", "not recorded"],
    "choice": ["small", "large", "not recorded"], "grade": ["1", "2", "not recorded"],
    "text": ["a", "b", "not recorded"],
}


@pytest.mark.parametrize("column", GROUPS)
def test_a_column_of_any_type_makes_groups_that_hold_every_unit(column: str) -> None:
    frame = units()
    overall, *groups = shares(frame, "event", id="x", unit="session", by=[column])
    assert [(e.group or {})[column] for e in groups] == GROUPS[column]
    assert sum(e.n or 0 for e in groups) == overall.n == ROWS
    assert sum(e.events or 0 for e in groups) == overall.events == frame["event"].sum()
    spread, *apart = medians(frame, "value", id="x", unit="session", by=[column])
    assert [e.n for e in apart] == [e.n for e in groups] and spread.n == ROWS


def test_counts_by_truth_and_number_are_those_of_the_rows() -> None:
    frame = units()
    by_truth = shares(frame, "event", id="x", unit="session", by=["truth"])[1:]
    assert [(e.events, e.n) for e in by_truth] == [(0, 72), (37, 73)]
    by_blank = shares(frame, "event", id="x", unit="session", by=["number"])[-1]
    blank = frame[frame["number"].isna()]
    assert (by_blank.events, by_blank.n) == (blank["event"].sum(), len(blank))


def test_levels_of_numbers_stand_by_size() -> None:
    assert levels(pd.Series([10, 9, 2]), "any") == ["2", "9", "10"]


@pytest.mark.parametrize("values, words", [
    (["no"] * ROWS, "is text"), (["0", "1"] * 72 + ["0"], "is text"),
    ([0, 1, 2] * 48 + [0], "holds 2"), (pd.Categorical(["no"] * ROWS), "is text"),
])
def test_what_is_no_yes_or_no_is_never_an_event(values: object, words: str) -> None:
    """Version 1: 145/145."""
    frame = units().assign(event=values)
    with pytest.raises(ValueError, match=words):
        share(frame, "event", id="x", unit="session")
    with pytest.raises(ValueError, match=words):
        shares(frame, "event", id="x", unit="session", by=["truth"])


def test_noughts_and_ones_and_blanks_are_events() -> None:
    frame = units()
    plain = share(frame, "event", id="x", unit="session")
    for values in (frame["event"].astype(int), frame["event"].astype(float),
                   frame["event"].astype(object)):
        again = share(frame.assign(event=values), "event", id="x", unit="session")
        assert again.number_text() == plain.number_text()
    blank = frame["event"].astype("Float64").mask(frame["truth"])
    assert share(frame.assign(event=blank), "event", id="x", unit="session").n == 72


# Codes of events in models.

def coded() -> pd.DataFrame:
    rng = np.random.default_rng(3)
    return pd.DataFrame({
        "code": rng.integers(0, 3, 120), "years": rng.exponential(size=120) + 0.01,
        "volume": rng.normal(size=120), "site": rng.choice(["a", "b"], 120)})


def test_cox_refuses_the_code_of_a_competing_event() -> None:
    data = coded()
    with pytest.raises(ValueError, match="holds 2 beside 0 and 1. A competing event is no cens"):
        fit(data, "code", ["volume"], estimator="cox", duration="years")
    own = fit(data.assign(own=(data["code"] == 1).astype(int)), "own", ["volume"],
              estimator="cox", duration="years")
    assert own.events == (data["code"] == 1).sum()


@pytest.mark.parametrize("dtype", ["int64", "float64", "Int64"])
def test_codes_are_not_taken_for_grades_unasked(dtype: str) -> None:
    data = coded().assign(code=lambda d: d["code"].astype(dtype))
    with pytest.raises(ValueError, match="grades in order, or codes of events?"):
        fit(data, "code", ["volume"])
    assert fit(data, "code", ["volume"], estimator="ordinal").estimator == "ordinal"
    ordered = data.assign(code=pd.Categorical(data["code"], ordered=True))
    assert fit(ordered, "code", ["volume"]).estimator == "ordinal"
    with pytest.raises(ValueError, match="without an order"):
        fit(data.assign(code=pd.Categorical(data["code"])), "code", ["volume"])


@pytest.mark.parametrize("estimator", ["firth", "logistic", "gee", "penalised-gee", "poisson",
                                       "exact"])
def test_a_model_of_yes_and_no_refuses_codes(estimator: str) -> None:
    with pytest.raises(ValueError, match="needs yes/no or 0/1; found 0, 1, 2"):
        fit(coded(), "code", ["volume"], estimator=estimator)


def test_an_argument_that_would_be_ignored_is_an_error() -> None:
    data = coded().assign(own=lambda d: d["code"] == 1)
    with pytest.raises(ValueError, match="for estimator 'cox' alone"):
        fit(data, "own", ["volume"], duration="years")
    for term, words in (
            ({"column": "volume", "reference": "a"}, "reference is for a factor term"),
            ({"column": "site", "per": 2}, "per is for a linear term"),
            ({"column": "volume", "form": "spline", "per": 2}, "per is for a linear term"),
            ({"column": "volume", "knots": 4}, "knots is for a spline term")):
        with pytest.raises(ValueError, match=words):
            fit(data, "own", [term])


def test_a_time_that_is_missing_is_said() -> None:
    data = coded().assign(own=lambda d: (d["code"] == 1).astype(int))
    data.loc[3, "years"] = np.nan
    with pytest.raises(ValueError, match="1 rows have a time that is missing or not above 0"):
        fit(data, "own", ["volume"], estimator="cox", duration="years")


def test_methods_of_time_refuse_text_and_codes_they_cannot_use() -> None:
    with pytest.raises(ValueError, match="competing events"):
        survival([1, 2, 3], [0, 1, 2])
    for method in (survival, cumulative_incidence):
        with pytest.raises(ValueError, match="not a number"):
            method([1, 2, 3], ["no", "no", "yes"])


def test_charts_refuse_words_and_codes_in_a_sentence() -> None:
    for method in (lambda event: risk_adjusted_cusum(event, [0.1] * 3, odds_ratio=2, limit=4),
                   gaps_between_events, lambda event: p_chart(event, [10] * 3)):
        with pytest.raises(ValueError, match="holds something that is not a number"):
            method(["no", "no", "yes"])
    with pytest.raises(ValueError, match="entry 3 is 2; 0 or 1 is wanted"):
        gaps_between_events([0, 1, 2])


# Through a study.

@pytest.mark.parametrize("column", ["eloquent", "sex", "age_at_treatment"])
def test_a_study_groups_by_truth_words_and_numbers(column: str) -> None:
    study = study_of_ten()
    if column == "age_at_treatment":
        study = study.add("some", (study.patients["age_y"] % 3).astype(float), label="Some number")
        column = "some"
    answer = study.ask("complication.any", unit="session", by=column)
    overall, *groups = answer.estimates
    assert groups and sum(e.n or 0 for e in groups) == overall.n
    assert sum(e.events or 0 for e in groups) == overall.events
    compared = study.compare("complication.any", unit="session", group=column)
    assert [e.n for e in compared.answer.estimates] == [e.n for e in answer.estimates]


def test_a_blank_group_of_a_study_is_counted_as_not_recorded() -> None:
    study = study_of_ten()
    ages = study.patients["age_y"]
    half = study.add("parity", pd.Series(np.where(ages % 2 == 0, "even", " "), index=ages.index),
                     label="Parity")
    overall, *groups = half.ask("complication.any", unit="session", by="parity").estimates
    assert [(e.group or {})["parity"] for e in groups] == ["even", "not recorded"]
    assert sum(e.n or 0 for e in groups) == overall.n
