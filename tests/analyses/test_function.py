"""Function by hand on the ten patients, and the interval against Newcombe's printed values."""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import with_cells, with_row
from small_cohort import small_tables

from analyses.measures.counting import share
from analyses.measures.declared import estimates_of
from analyses.measures.function import functional_outcomes
from analyses.population.unit_frames import units_of
from analyses.population.worsening import CAUSES

TABLES = small_tables()


@pytest.fixture(scope="module")
def people() -> pd.DataFrame:
    return functional_outcomes(units_of(TABLES)).set_index("key")


def overall(tables: dict[str, pd.DataFrame]) -> dict[str, tuple[int, int]]:
    return {e.id: (e.events or 0, e.n or 0)
            for e in estimates_of("function", units_of(tables)) if not e.group}


def test_a_visit_at_89_days_is_too_early(people: pd.DataFrame) -> None:
    assert pd.isna(people.loc["A-0003", "mrs_last"])


def test_a_visit_at_90_days_counts() -> None:
    tables = with_cells(TABLES, "follow_ups", 3, follow_up_date="2020-08-08")
    people = functional_outcomes(units_of(tables)).set_index("key")
    assert people.loc["A-0003", "mrs_last"] == 3


def test_the_early_visit_still_counts_for_the_worst_score(people: pd.DataFrame) -> None:
    assert people.loc["A-0003", "mrs_worst"] == 3


def test_the_90_days_run_from_the_last_treatment_of_any_lesion() -> None:
    tables = with_row(TABLES, "sessions", 4, session_no=3, session_date="2020-10-01")
    people = functional_outcomes(units_of(tables)).set_index("key")
    # Patient 2's visit of 1 December is now 61 days after it.
    assert pd.isna(people.loc["A-0002", "mrs_last"])


def test_who_died_counts_as_6_even_without_a_visit(people: pd.DataFrame) -> None:
    assert people.loc["A-0004", "mrs_last"] == 6
    assert people.loc["A-0009", "mrs_last"] == 6


def test_the_latest_visit_is_taken_and_the_worse_of_one_day(people: pd.DataFrame) -> None:
    assert people.loc["A-0007", "mrs_last"] == 3
    tables = with_cells(TABLES, "follow_ups", 1, mrs=4)
    assert functional_outcomes(units_of(tables)).set_index("key").loc["A-0002", "mrs_last"] == 4


def test_independence_and_worsening_as_counted_by_hand() -> None:
    found = overall(TABLES)
    # Last scores: 1, 2, -, 6, -, 2, 3, 6, 2 of nine treated patients.
    assert found["function.independent"] == (4, 7)
    # Worse than before: patients 2, 4, 6, 7, 9.
    assert found["function.worse"] == (5, 7)


def test_ruptured_or_not() -> None:
    by = {e.group["ruptured"]: (e.events, e.n) for e in estimates_of("function", units_of(TABLES))
          if e.id == "function.independent" and e.group and "ruptured" in e.group}
    assert by == {"yes": (2, 2), "no": (2, 5)}


def test_worsening_is_put_down_to_one_source_each() -> None:
    found = overall(TABLES)
    by_cause = {cause: found[f"function.worse.{cause}"] for cause in CAUSES}
    assert by_cause == {
        "embolization": (1, 7), "resection": (1, 7), "radiosurgery": (1, 7),
        "haemorrhage": (0, 7), "other_death": (1, 7), "several": (0, 7), "not_recorded": (1, 7),
    }
    assert sum(events for events, _ in by_cause.values()) == found["function.worse"][0]


@pytest.mark.parametrize(("change", "patient", "cause"), [
    # A later bleed with a lasting deficit.
    (lambda t: with_row(t, "haemorrhages", 0, patient_id="A-0002", haemorrhage_date="2020-08-01",
                        deficit="permanent"), "A-0002", "haemorrhage"),
    # The presenting bleed explains nothing.
    (lambda t: with_row(t, "haemorrhages", 0, patient_id="A-0002", haemorrhage_date="2020-01-01",
                        deficit="permanent"), "A-0002", "not_recorded"),
    # Harm from the embolization and from the operation.
    (lambda t: with_row(t, "complications", 0, patient_id="A-0006", lesion_no=1,
                        onset_date="2021-03-20", deficit="permanent", session_no=2),
     "A-0006", "several"),
    # A transient deficit explains no lasting loss.
    (lambda t: with_cells(t, "resections", 1, deficit="transient"), "A-0006", "not_recorded"),
    # Recorded as inseparable.
    (lambda t: with_cells(t, "complications", 5, cause="cannot be separated"), "A-0007",
     "several"),
])
def test_sources_of_worsening(change: object, patient: str, cause: str) -> None:
    people = functional_outcomes(units_of(change(TABLES)))  # type: ignore[operator]
    assert people.set_index("key").loc[patient, "cause"] == cause


def test_distributions_rest_on_the_same_patients_and_add_up() -> None:
    found = [e for e in estimates_of("function", units_of(TABLES)) if e.group and "mrs" in e.group]
    for moment in ("before", "worst", "last"):
        mine = [e for e in found if e.id == f"function.mrs_{moment}"]
        assert [e.group["mrs"] for e in mine if e.group] == [str(s) for s in range(7)]
        assert sum(e.events or 0 for e in mine) == 7
        assert {e.n for e in mine} == {7}


def test_interval_of_one_row_a_patient_is_newcombes_clopper_pearson() -> None:
    # 81/263: 0.2527 to 0.3676 in Newcombe 1998, Stat Med 17:857, table I (method 5).
    frame = pd.DataFrame({
        "key": [f"P{i}" for i in range(263)], "patient_id": [f"P{i}" for i in range(263)],
        "event": pd.array([i < 81 for i in range(263)], dtype="boolean"),
    })
    found = share(frame, "event", id="function.independent", unit="patient")
    assert (round(found.low or 0, 4), round(found.high or 0, 4)) == (0.2527, 0.3676)
