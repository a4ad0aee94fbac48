"""Where a definition ends: the day, the grade and the score that still count, on ten patients.

Days were counted by hand on the rows of tests/small_cohort.py, after the definitions of the
analysis plan.
"""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import Tables, with_cells, with_row, without_rows
from small_cohort import small_tables

from analyses.cases.case_choice import gravest_case
from analyses.cases.one_case import CaseError, one_case
from analyses.measures.complication_detail import definite_or_probable
from analyses.measures.declared import share_of
from analyses.measures.function import functional_outcomes
from analyses.measures.gate import Known, gate
from analyses.population.unit_frames import ponce_of, units_of

TABLES = small_tables()


def outcomes(tables: Tables, id: str, unit: str) -> dict[str, bool | None]:
    """Unit → whether it had the event; None where that is not known."""
    frame = share_of(id).frame(units_of(tables), unit).set_index("key")["event"]
    return {key: None if pd.isna(event) else bool(event) for key, event in frame.items()}


# Grades --------------------------------------------------------------------------------------

def test_ponce_classes_of_the_five_grades() -> None:
    # Spetzler and Ponce 2011, J Neurosurg 114:842: A is I and II, B is III, C is IV and V.
    assert ponce_of(pd.Series([1, 2, 3, 4, 5], dtype="Int64")).tolist() == list("AABCC")


@pytest.mark.parametrize(("deep", "grade", "ponce"), [("none", "4", "C"), ("part", "5", "C")])
def test_grade_iv_is_class_c_in_lesion_session_and_patient(
    deep: str, grade: str, ponce: str,
) -> None:
    # Patient 4: over 6 cm, eloquent: grade IV without deep drainage, V with it.
    units = units_of(with_cells(TABLES, "lesions", 4, deep_drainage=deep))
    for frame in (units.lesions, units.sessions, units.patients):
        mine = frame[frame["patient_id"] == "A-0004"]
        assert set(mine["sm_grade"]) == {grade} and set(mine["ponce_class"]) == {ponce}


# Vital status at 30 days -----------------------------------------------------------------------

SEEN = {"patient_id": "A-0005", "lesion_no": 1, "follow_up_no": 1, "imaging": "none",
        "occlusion": None, "mrs": 1}


@pytest.mark.parametrize(("seen", "known"), [("2021-03-02", None), ("2021-03-03", False)])
def test_who_was_seen_on_day_30_is_known_to_be_alive(seen: str, known: bool | None) -> None:
    # Patient 5's session was on 1 February: day 29 is 2 March, day 30 is 3 March.
    tables = with_row(TABLES, "follow_ups", None, **SEEN, follow_up_date=seen)
    assert outcomes(tables, "death.all_cause_30d", "session")["A-0005/1/1"] is known


@pytest.mark.parametrize("column", ["mrs_30d", "mrs_90d"])
def test_a_score_taken_30_or_90_days_after_an_event_is_a_contact_on_that_day(column: str) -> None:
    tables = with_cells(TABLES, "complications", 4, **{column: 2})
    assert outcomes(tables, "death.all_cause_30d", "session")["A-0005/1/1"] is False


def test_the_day_of_a_score_is_counted_from_the_event() -> None:
    # The mRS of 90 days after 1 February: patient 5 was alive on 2 May, and of a session on
    # 2 April that day is day 30; of one on 3 April it is day 29.
    scored = with_cells(TABLES, "complications", 4, mrs_90d=2)
    for day, known in (("2021-04-02", False), ("2021-04-03", None)):
        tables = with_row(scored, "sessions", 8, session_no=2, session_date=day)
        assert outcomes(tables, "death.all_cause_30d", "session")["A-0005/1/2"] is known


@pytest.mark.parametrize(("died", "counted"), [("2020-07-20", True), ("2020-07-21", False)])
@pytest.mark.parametrize("id", ["death.all_cause_30d", "complication.death_30d"])
def test_a_death_on_day_30_counts_and_on_day_31_does_not(
    id: str, died: str, counted: bool,
) -> None:
    # Patient 4's second session and fatal bleed: 20 June.
    tables = with_cells(TABLES, "patients", 3, death_date=died)
    assert outcomes(tables, id, "session")["A-0004/1/2"] is counted


# Death from treatment is harm ----------------------------------------------------------------

@pytest.mark.parametrize(("cause", "harmed"), [("treatment", True), ("other", False)])
def test_a_death_put_down_to_treatment_is_harm_without_any_event(
    cause: str, harmed: bool,
) -> None:
    # Patient 1: a transient deficit after the operation, and nothing else on record.
    tables = with_cells(TABLES, "patients", 0, death_date="2020-12-01", death_cause=cause)
    found = outcomes(tables, "combined.permanent_deficit_or_death", "patient")
    assert found["A-0001"] is harmed


# Scores --------------------------------------------------------------------------------------

@pytest.mark.parametrize("column", ["mrs_worst", "mrs_30d", "mrs_90d"])
def test_the_worst_score_may_be_any_that_was_taken_after_an_event(column: str) -> None:
    # Patient 2's visits say 2.
    people = functional_outcomes(units_of(with_cells(TABLES, "complications", 0, **{column: 5})))
    assert people.set_index("key").loc["A-0002", "mrs_worst"] == 5


def test_a_score_of_the_first_treatment_day_counts_as_since_treatment() -> None:
    # Patient 2's event was on the day of the first session; before it nothing counts.
    before = with_row(TABLES, "follow_ups", 1, follow_up_no=7, follow_up_date="2020-03-31", mrs=5)
    on_day = with_row(TABLES, "follow_ups", 1, follow_up_no=7, follow_up_date="2020-04-01", mrs=5)
    worst = [functional_outcomes(units_of(t)).set_index("key").loc["A-0002", "mrs_worst"]
             for t in (before, on_day)]
    assert worst == [2, 5]


def test_a_death_on_the_day_of_the_first_treatment_is_a_death_after_it() -> None:
    tables = with_cells(TABLES, "patients", 1, death_date="2020-04-01", death_cause="treatment")
    assert functional_outcomes(units_of(tables)).set_index("key").loc["A-0002", "mrs_last"] == 6


# The case for the conference -----------------------------------------------------------------

def test_the_case_shown_is_the_latest_of_the_gravest_of_any_phase() -> None:
    # Patient 4 died of a complication; patient 9's death was put down to something else.
    assert gravest_case(units_of(TABLES)) == "A-0004"
    # Without any row of it the death of patient 4, put down to treatment, still is the gravest.
    told = TABLES["complications"].drop(index=[2, 3])
    assert gravest_case(units_of({**TABLES, "complications": told})) == "A-0004"
    # Of permanent deficits the latest: the radiation injury of patient 7, 25 April 2021.
    alive = with_cells(TABLES, "patients", 3, death_date=None, death_cause=None)
    assert gravest_case(units_of({**alive, "complications": told})) == "A-0007"
    # Without complications the operation that left patient 6 with one, 20 March 2021.
    assert gravest_case(units_of(without_rows(alive, "complications"))) == "A-0006"


def test_without_any_event_it_is_the_patient_treated_last() -> None:
    # Patient 9's second operation, 10 June 2021.
    tables = with_cells(TABLES, "patients", 3, death_date=None, death_cause=None)
    tables = without_rows(without_rows(tables, "complications"), "haemorrhages")
    harmless = tables["resections"].assign(deficit="none")
    assert gravest_case(units_of({**tables, "resections": harmless})) == "A-0009"


def test_where_nobody_was_treated_no_case_is_chosen() -> None:
    tables = TABLES
    for name in ("sessions", "injections", "resections", "radiosurgeries", "complications"):
        tables = without_rows(tables, name)
    with pytest.raises(CaseError, match="Nobody in this freeze was treated"):
        gravest_case(units_of(tables))


def index_event(tables: Tables) -> int:
    event = one_case(units_of(tables), "A-0004").index_event
    assert event is not None
    return int(event["complication_no"])


def test_the_event_discussed_is_the_gravest_of_the_patient() -> None:
    # The perforation of 1 June left nothing; the bleed of 20 June killed.
    assert index_event(TABLES) == 2
    # A permanent deficit is graver than a transient one, however early.
    alive = {"death": False, "mrs_worst": 4}
    living = with_cells(TABLES, "patients", 3, death_date=None, death_cause=None)
    tables = with_cells(living, "complications", 3, **alive)
    tables = with_cells(tables, "complications", 2, deficit="transient", symptomatic=True)
    assert index_event(tables) == 2
    # Of two alike, the earlier.
    tables = with_cells(tables, "complications", 2, deficit="permanent")
    assert index_event(with_cells(tables, "complications", 3, **alive)) == 1


# What counts, and what may be given ----------------------------------------------------------

def test_the_set_leaves_out_what_was_unrelated() -> None:
    # Patient 10's medical event of day 2 was unrelated; made possible, it counts.
    unrelated, possible = (
        set(units_of(tables).events["key"])
        for tables in (TABLES, with_cells(TABLES, "complications", 7, attribution="possible")))
    assert "A-0010/1/1" not in unrelated and "A-0010/1/1" in possible


def test_what_nobody_has_reviewed_is_not_unrelated_and_counts() -> None:
    tables = with_cells(TABLES, "complications", 7, attribution="not reviewed")
    events = units_of(tables).events
    assert "A-0010/1/1" in set(events["key"])
    # Whether it is definite or probable is not known, and not taken as no.
    judged = definite_or_probable(events)[events["key"] == "A-0010/1/1"]
    assert judged.isna().tolist() == [True]


def test_the_gate_gives_no_point_where_only_events_can_be_unknown() -> None:
    rows = pd.DataFrame({"event": pd.array([True, False, pd.NA], dtype="boolean")})
    assert not gate(rows, "event", Known.ONLY_WITH_AN_EVENT)
    assert not gate(rows, "event", Known.ONLY_WITHOUT_AN_EVENT)
    assert gate(rows, "event", Known.EITHER_WAY)
    assert gate(rows.dropna(), "event", Known.ONLY_WITH_AN_EVENT)
    # Nobody saw the third again: unknown, either way.
    lost = rows.assign(lost=[False, False, True])
    assert gate(lost, "event", Known.ONLY_WITH_AN_EVENT).unknown == 1
    assert gate(lost, "event", Known.ONLY_WITH_AN_EVENT)


@pytest.mark.parametrize(("after", "near"), [(89.0, False), (90.0, True), (99.0, True)])
def test_nearly_complete_from_90_per_cent(after: float, near: bool) -> None:
    tables = with_cells(TABLES, "sessions", 8, occlusion_after_pct=after)
    found = outcomes(tables, "obliteration.embolization_near_complete", "lesion")
    assert found["A-0005/1"] is near
