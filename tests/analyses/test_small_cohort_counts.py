"""Ten patients made by hand: every count is one that a reader can check against the rows.

Expected numbers were counted by eye in tests/small_cohort.py, after the definitions of the
analysis plan; no number here was taken from the program.
"""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import with_cells, with_row
from small_cohort import small_tables

from analyses.measures.obliteration import final_lesions, imaging_after_treatment
from analyses.measures.results import Results, work_out, work_out_topics
from analyses.models.embolized_or_not import embolized_or_not, emergencies
from analyses.population.counted_events import embolization_complications
from analyses.population.unit_frames import units_of
from registry.schema import TABLES as SCHEMA

TABLES = small_tables()


@pytest.fixture(scope="module")
def results() -> Results:
    return work_out(units_of(TABLES))


def counts(results: Results, id: str, unit: str, **group: str) -> tuple[int, int]:
    found = results.one(id, unit, group or None)
    return found.events or 0, found.n or 0


# Who is counted -----------------------------------------------------------------------------

def test_a_patient_never_treated_is_in_no_unit(results: Results) -> None:
    everyone = {name: set(getattr(results.units, name)["patient_id"]) for name in
                ("patients", "lesions", "sessions", "injections", "catheters")}
    assert all("A-0008" not in people for people in everyone.values())
    assert len(results.units.patients) == 9
    assert len(results.units.lesions) == 10


def test_two_lesions_in_one_procedure_are_one_session(results: Results) -> None:
    sessions = results.units.sessions
    assert len(TABLES["sessions"]) == 13
    assert len(sessions) == 12
    shared = sessions[sessions["lesions"] == 2]
    assert list(shared["key"]) == ["A-0002/1/1"]
    # It takes the grade of the higher lesion, and the agents of both.
    assert list(shared["sm_grade"]) == ["3"]
    assert list(shared["agent"]) == ["several liquids"]


def test_a_session_in_which_nothing_was_injected_counts(results: Results) -> None:
    sessions = results.units.sessions.set_index("key")
    assert sessions.loc["A-0006/1/1", "agent"] == "no liquid"


def test_a_session_with_coils_only_used_no_liquid(results: Results) -> None:
    assert results.units.sessions.set_index("key").loc["A-0006/1/2", "agent"] == "no liquid"


def test_two_pedicles_through_one_catheter_are_one_catheter(results: Results) -> None:
    assert len(results.units.injections) == 13
    assert len(results.units.catheters) == 12


def test_a_lesion_resected_only_is_treated_but_not_embolized(results: Results) -> None:
    lesion = results.units.lesions.set_index("key").loc["A-0009/1"]
    assert not lesion["embolized"]
    assert lesion["intent"] == lesion["agent"] == "not embolized"
    assert lesion["period"] == "2021"


def test_groups_of_patients_by_highest_lesion_and_any_rupture(results: Results) -> None:
    people = results.units.patients.set_index("key")
    assert people.loc["A-0002", "sm_grade"] == "3"
    assert people.loc["A-0004", "ponce_class"] == "C"
    assert list(people.index[people["ruptured"] == "yes"]) == ["A-0001", "A-0006"]


def test_intent_of_a_patient_is_that_of_the_first_session() -> None:
    # An earlier operation on another lesion does not blank it.
    tables = with_row(TABLES, "lesions", 0, patient_id="A-0007", lesion_no=2)
    tables = with_row(tables, "resections", 0, patient_id="A-0007", lesion_no=2,
                      resection_date="2020-06-01", angiography_date="2020-06-02")
    people = units_of(tables).patients.set_index("key")
    assert people.loc["A-0007", "intent"] == "before radiosurgery"


# Which events count -------------------------------------------------------------------------

def test_the_set_of_embolization_complications(results: Results) -> None:
    assert set(results.units.events["key"]) == {
        "A-0002/2/1", "A-0003/1/1", "A-0004/1/1", "A-0004/1/2", "A-0005/1/1", "A-0010/1/3",
    }


def test_day_30_counts_and_day_31_does_not() -> None:
    day_30 = with_cells(TABLES, "complications", 8, onset_date="2021-05-31")
    assert "A-0010/1/2" in set(units_of(day_30).events["key"])


def test_a_later_phase_counts_when_the_onset_is_within_30_days() -> None:
    after = with_cells(TABLES, "complications", 8, onset_date="2021-05-20", phase="resection")
    assert "A-0010/1/2" in set(units_of(after).events["key"])


def test_an_event_before_any_session_does_not_count() -> None:
    before = with_cells(TABLES, "complications", 1, onset_date="2020-05-09")
    assert "A-0003/1/1" not in set(units_of(before).events["key"])


def test_an_event_without_a_session_belongs_to_the_latest_one_before_it() -> None:
    tables = with_cells(TABLES, "complications", 3, session_no=None)
    events = embolization_complications(tables["complications"], tables["sessions"])
    placed = events.set_index("key").loc["A-0004/1/2"]
    assert placed["placed_by_date"] and placed["at_session"] == 2


def test_an_event_naming_a_session_that_is_not_there_is_placed_by_date() -> None:
    tables = with_cells(TABLES, "complications", 3, session_no=9)
    events = embolization_complications(tables["complications"], tables["sessions"])
    placed = events.set_index("key").loc["A-0004/1/2"]
    assert placed["placed_by_date"] and placed["at_session"] == 2


def test_an_event_goes_to_the_other_lesion_when_its_own_was_embolized_long_before() -> None:
    # Lesion 1 of patient 2 was embolized on 1 April, lesion 2 on 1 May; the event of 5 May.
    tables = with_row(TABLES, "complications", 1, patient_id="A-0002", lesion_no=1,
                      complication_no=9, onset_date="2020-05-05")
    events = units_of(tables).events.set_index("key")
    assert events.loc["A-0002/1/9", "session_key"] == "A-0002/2/2"


# Complications -------------------------------------------------------------------------------

@pytest.mark.parametrize(("id", "unit", "events", "n"), [
    # Events naming an injection: patient 2 and the retained catheter; 13 injections, of which 4
    # were in a session with an event that names none.
    ("complication.any", "injection", 2, 9),
    # Patients 2, 3, 5, 10 once, patient 4 in both sessions; 12 procedures.
    ("complication.any", "session", 6, 12),
    ("complication.any", "lesion", 5, 9),
    ("complication.any", "patient", 5, 8),
    # Patients 2, 4 (second session), 5; patient 3 by the deficit, though symptoms are blank.
    ("complication.symptomatic", "session", 4, 12),
    ("complication.symptomatic", "patient", 4, 8),
    # Patient 3; patient 4 twice.
    ("complication.haemorrhagic", "session", 3, 12),
    ("complication.haemorrhagic", "patient", 2, 8),
    ("complication.haemorrhagic_symptomatic", "session", 2, 12),
    # Without the perforation in navigation; the mechanism in patient 3 is not recorded.
    ("complication.haemorrhagic_without_navigation", "session", 1, 11),
    ("complication.haemorrhagic_without_navigation", "patient", 1, 7),
    # Patient 2; the deficit of patient 5's vessel occlusion is not yet known.
    ("complication.ischaemic", "session", 1, 11),
    # Patient 3, and the second session of patient 4; patient 5 not yet known.
    ("complication.permanent_deficit", "session", 2, 11),
    ("complication.permanent_deficit", "patient", 2, 7),
    # Patients 2 (transient), 3, 4; patient 5 not yet known.
    ("complication.new_deficit", "session", 3, 11),
    ("complication.new_deficit", "patient", 3, 7),
    # Patient 4; patient 5 was not seen after the session.
    ("complication.death_30d", "session", 1, 11),
    ("complication.death_30d", "patient", 1, 7),
    ("death.all_cause_30d", "session", 1, 11),
    ("death.all_cause_30d", "patient", 1, 7),
    # Recorded retrievals: free three times, detached by design, part retained.
    ("complication.retained_catheter", "catheter", 1, 5),
    # Patients 3, 4, 6 (operation), 7 (radiosurgery); 5 not yet known; 9 treated.
    ("combined.permanent_deficit_or_death", "patient", 4, 8),
    # The same, and the second lesion of patient 2.
    ("combined.permanent_deficit_or_death", "lesion", 4, 9),
])
def test_harm_as_counted_by_hand(
    results: Results, id: str, unit: str, events: int, n: int
) -> None:
    assert counts(results, id, unit) == (events, n)


def test_events_naming_no_injection_are_told(results: Results) -> None:
    found = results.one("complication.any", "injection")
    assert "4 events naming no injection" in found.notes()


def test_events_placed_by_date_are_told(results: Results) -> None:
    found = results.one("complication.any", "session")
    assert "1 event without a session placed by date" in found.notes()


def test_two_events_of_one_session_are_counted_once() -> None:
    twice = with_row(TABLES, "complications", 0, complication_no=7, kind="seizure")
    assert counts(work_out(units_of(twice)), "complication.any", "session") == (6, 12)


def test_a_death_is_counted_at_one_session_only(results: Results) -> None:
    # Both sessions of patient 4 lie within 30 days of the death.
    found = results.one("death.all_cause_30d", "session")
    assert [row.key for row in found.counted if row.event] == ["A-0004/1/2"]


def test_an_unknown_deficit_leaves_bounds_on_both_sides(results: Results) -> None:
    found = results.one("complication.permanent_deficit", "patient")
    assert found.value is None
    bounds = {b.id: (b.events, b.n) for b in found.beside}
    assert bounds == {
        "complication.permanent_deficit.bounds.missing_none": (2, 8),
        "complication.permanent_deficit.bounds.missing_all": (3, 8),
    }


def test_a_known_permanent_deficit_outweighs_an_unknown_one() -> None:
    tables = with_row(TABLES, "complications", 4, complication_no=2, deficit="permanent")
    found = work_out(units_of(tables))
    assert counts(found, "complication.permanent_deficit", "patient") == (3, 8)


def test_every_share_names_its_patients(results: Results) -> None:
    missing = [e.id for e in results.estimates
               if e.kind == "proportion" and e.n and e.clusters is None]
    assert not missing


# Obliteration --------------------------------------------------------------------------------

@pytest.mark.parametrize(("id", "events", "n"), [
    # Both lesions of patient 2, among nine embolized and assessed.
    ("obliteration.embolization_complete", 2, 9),
    # With patient 1 (95 %) and patient 5 (90 %).
    ("obliteration.embolization_near_complete", 4, 9),
    # Patient 1, and the second operation of patient 9; patient 6 was not imaged.
    ("obliteration.resection_complete", 2, 2),
    # Patients 1 and 9; patient 7 has a later residual; patient 3 is ongoing.
    ("obliteration.final_confirmed", 2, 9),
    # With MR in both lesions of patient 2 and CT in patient 6.
    ("obliteration.final_presumed", 5, 9),
])
def test_obliteration_as_counted_by_hand(
    results: Results, id: str, events: int, n: int
) -> None:
    assert counts(results, id, "lesion") == (events, n)


def test_by_intent_at_the_first_session(results: Results) -> None:
    id = "obliteration.embolization_complete"
    assert counts(results, id, "lesion", intent="curative") == (2, 2)
    assert counts(results, id, "lesion", intent="before resection") == (0, 6)


def test_a_session_after_the_operation_does_not_count_as_occlusion_by_embolization() -> None:
    tables = with_row(TABLES, "sessions", 1, session_no=3, session_date="2020-06-01",
                      occlusion_after_pct=100.0)
    found = work_out(units_of(tables))
    assert counts(found, "obliteration.embolization_complete", "lesion") == (2, 9)


def test_an_unassessed_session_keeps_the_last_assessed_occlusion() -> None:
    tables = with_row(TABLES, "sessions", 6, session_no=3, session_date="2020-06-21",
                      occlusion_after_pct=None, occlusion_status="not assessed")
    found = work_out(units_of(tables))
    assert counts(found, "obliteration.embolization_complete", "lesion") == (2, 9)


def test_the_angiogram_that_planned_radiosurgery_is_not_follow_up() -> None:
    tables = with_cells(TABLES, "follow_ups", 5, occlusion="complete")
    images = imaging_after_treatment(units_of(tables))
    assert list(images.loc[images["key"] == "A-0007/1", "day"]) == [
        pd.Timestamp("2022-04-15"), pd.Timestamp("2023-04-15")]


def test_a_later_residual_takes_obliteration_back(results: Results) -> None:
    final = final_lesions(results.units).set_index("key")
    assert not final.loc["A-0007/1", "confirmed"]
    no_residual = with_cells(TABLES, "follow_ups", 7, occlusion="complete")
    assert final_lesions(units_of(no_residual)).set_index("key").loc["A-0007/1", "confirmed"]


def test_treatment_after_a_complete_angiogram_asks_for_a_new_one() -> None:
    tables = with_row(TABLES, "sessions", 1, session_no=3, session_date="2021-01-01")
    found = work_out(units_of(tables))
    assert counts(found, "obliteration.final_confirmed", "lesion") == (1, 9)


def test_the_state_of_the_plan_is_told(results: Results) -> None:
    notes = results.one("obliteration.final_confirmed", "lesion").notes()
    assert "1 lesion with treatment ongoing listed apart" in notes
    assert "1 lesion without a recorded state of the plan taken as ended" in notes


def test_every_estimate_counts_the_rows_it_says(results: Results) -> None:
    for found in results.estimates:
        rows = found.rows()
        if found.kind == "proportion":
            assert len(rows) == found.n, found.id
            assert rows["event"].sum() == found.events, found.id


def test_groups_add_up_to_the_whole(results: Results) -> None:
    for column in ("sm_grade", "ponce_class", "intent", "agent", "period", "ruptured"):
        for id, unit in (("complication.any", "session"),
                         ("obliteration.final_confirmed", "lesion"),
                         ("combined.permanent_deficit_or_death", "patient")):
            parts = results.by(id, unit, column)
            whole = results.one(id, unit)
            assert sum(p.events or 0 for p in parts) == whole.events
            assert sum(p.n or 0 for p in parts) == whole.n


# Who is known --------------------------------------------------------------------------------

def lost_tables() -> dict[str, pd.DataFrame]:
    """Nobody was seen again after the last treatment, and no event has an mRS at 30 days."""
    tables = dict(TABLES)
    tables["follow_ups"] = TABLES["follow_ups"].iloc[:0]
    tables["complications"] = TABLES["complications"].assign(
        mrs_30d=pd.NA, mrs_90d=pd.NA, resolved_date=pd.NaT).astype(
        TABLES["complications"].dtypes.to_dict())
    return tables


def test_the_lost_are_unknown_and_never_unharmed() -> None:
    """With nobody followed up a share over all would be the flattering one: each leaves it."""
    seen, lost = (work_out(units_of(t)) for t in (TABLES, lost_tables()))
    for id, unit in (("complication.permanent_deficit", "patient"),
                     ("complication.new_deficit", "session"),
                     ("combined.permanent_deficit_or_death", "patient"),
                     ("combined.permanent_deficit_or_death", "lesion")):
        before, after = seen.one(id, unit), lost.one(id, unit)
        assert after.events == before.events and (after.n or 0) < (before.n or 0)
        assert any("of unknown outcome" in note for note in after.notes())


def harms(tables: dict[str, pd.DataFrame]) -> Results:
    return work_out_topics(("complications",), units_of(tables))


def test_a_try_that_was_answered_tells_who_lived_and_not_how() -> None:
    """Of the lost, each reached a year later: deaths are known again, lasting deficits are not."""
    tables = lost_tables()
    people = tables["patients"]
    living = people.loc[people["death_date"].isna(), "patient_id"].tolist()

    def tried(result: str) -> Results:
        rows = pd.DataFrame({"patient_id": living, "try_no": 1, "result": result,
                             "contact_date": pd.Timestamp("2030-01-01")})
        return harms({**tables, "contacts": SCHEMA["contacts"].typed(rows)})

    lost, unanswered, seen = harms(tables), tried("no answer"), tried("seen")
    death = ("death.all_cause_30d", "patient")
    assert (seen.one(*death).n or 0) > (lost.one(*death).n or 0) == unanswered.one(*death).n
    for id in ("complication.permanent_deficit", "combined.permanent_deficit_or_death",
               "complication.new_deficit"):
        assert seen.one(id, "patient").number_text() == lost.one(id, "patient").number_text()


def test_an_mrs_of_6_is_a_death_in_every_estimate() -> None:
    """Dead at 30 days by the scale, "death: no" and no date: never a proof of being alive."""
    tables = with_cells(TABLES, "complications", 0, mrs_30d=6, death=False)
    assert tables["patients"].set_index("patient_id").loc["A-0002", "death_date"] is pd.NaT
    before, after = (work_out(units_of(t)) for t in (TABLES, tables))
    for id, unit in (("complication.death_30d", "patient"), ("death.all_cause_30d", "patient"),
                     ("complication.permanent_deficit", "patient"),
                     ("combined.permanent_deficit_or_death", "patient")):
        assert after.one(id, unit).events == (before.one(id, unit).events or 0) + 1, id
    assert after.one("function.independent", "patient").events == (
        before.one("function.independent", "patient").events or 0) - 1


def test_an_event_counts_under_its_own_cause_and_once() -> None:
    """Put down to the resection: no complication of embolization, but still harm of treatment."""
    tables = with_cells(TABLES, "complications", 1, cause="resection")
    before, after = (work_out(units_of(t)) for t in (TABLES, tables))
    for id in ("complication.any", "complication.permanent_deficit"):
        assert after.one(id, "session").events == (before.one(id, "session").events or 0) - 1
    combined = "combined.permanent_deficit_or_death"
    assert after.one(combined, "patient").events == before.one(combined, "patient").events


# The plan at the first treatment ---------------------------------------------------------------

@pytest.mark.parametrize(("id", "events", "n"), [
    # Embolization before resection was the first plan of patients 1, 3, 4, 5, 6 and 10. Resected:
    # 1 and 6; patient 3's plan is ongoing.
    ("plan.completed", 2, 5),
    # Harmed: 3 and 4 before they reached an operation, 6 by it; 5 is not yet known.
    ("plan.harm", 3, 5),
    # Confirmed closed: patient 1.
    ("plan.closed", 1, 5),
])
def test_a_plan_is_followed_from_the_first_treatment_on(
    results: Results, id: str, events: int, n: int
) -> None:
    assert counts(results, id, "lesion") == (events, n)


def test_an_emergency_operation_is_not_the_plan_carried_out() -> None:
    tables = with_cells(TABLES, "resections", 0, urgency="emergency")
    assert counts(work_out(units_of(tables)), "plan.completed", "lesion") == (1, 5)
    # Of those resected alone it stands apart: the reason to operate was another.
    own = TABLES["resections"]
    first = own.index[own["patient_id"].eq("A-0009")][0]
    urgent = with_cells(TABLES, "resections", first, urgency="emergency")
    assert emergencies(units_of(urgent)) == 1 and emergencies(units_of(TABLES)) == 0
    assert embolized_or_not(units_of(urgent)) is None  # nobody else was resected alone


def test_harm_before_the_operation_belongs_to_the_plan() -> None:
    """The operation's own harm would count one of five: two never reached it."""
    found = embolized_or_not(units_of(TABLES))
    assert found is not None and found.lesions == (6, 1)
    harmed = next(one for one in found.outcomes if one.outcome == "harmed")
    assert [(e.events, e.n) for e in harmed.groups] == [(3, 5), (0, 1)]
    assert "no point" in harmed.refusal  # patient 5's deficit is not yet known
