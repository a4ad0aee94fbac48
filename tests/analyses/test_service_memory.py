"""What the service remembers, asked of a freeze: the list of cases, open actions, the readers."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd
import pytest
from small_cohort import frame, small_tables

from analyses.cases.case_list import NO_EVENT, Wanted, case_lines, case_list, kinds_there_are
from analyses.cases.open_actions import BEFORE, SINCE, open_actions
from analyses.cases.readers_agree import FEWEST_EVENTS, readers_agree
from analyses.documents.quality.readers_section import readers_sections
from analyses.measures.declared import measure
from analyses.population.unit_frames import Units, units_of
from registry.schema import TABLES


def units(**tables: list[dict[str, Any]]) -> Units:
    """The ten patients, and what the service remembers of them."""
    return units_of({**small_tables(), **{
        name: frame(name, rows) if rows else TABLES[name].empty()
        for name, rows in tables.items()}})


def review(patient: int, number: int, reader: str, **answers: Any) -> dict[str, Any]:
    return {"patient_id": f"A-{patient:04d}", "lesion_no": 1, "event_of": "complication",
            "event_no": number, "reader": reader, "blinded": True, **answers}


FOUR = {"patient_id": "A-0004", "lesion_no": 1, "event_of": "complication", "event_no": 2}
DISCUSSED = {**FOUR, "review_no": 1, "conference_date": "2020-09-01"}


def test_the_newest_stands_first_and_nobody_treated_is_missing():
    rows = case_list(units())
    assert rows["day"].is_monotonic_decreasing
    assert set(rows["patient_id"]) == set(units().patients["patient_id"])
    # patient 4 has two complications, the second of them fatal
    assert rows.loc[rows["patient_id"] == "A-0004", "severity"].tolist()[0] == "death"


def test_an_event_is_discussed_when_a_conference_named_it_or_its_patient_later():
    rows = case_list(units(conference_reviews=[DISCUSSED]))
    four = rows[rows["patient_id"] == "A-0004"].set_index("event_no")["discussed"]
    assert four[2] == pd.Timestamp("2020-09-01") and pd.isna(four[1])
    whole = {**DISCUSSED, "lesion_no": None, "event_of": None, "event_no": None}
    rows = case_list(units(conference_reviews=[whole]))
    assert rows.loc[rows["patient_id"] == "A-0004", "discussed"].notna().all()
    early = {**whole, "conference_date": "2019-01-01"}
    rows = case_list(units(conference_reviews=[early]))
    assert rows.loc[rows["patient_id"] == "A-0004", "discussed"].isna().all()


def test_the_list_is_narrowed_by_day_kind_phase_and_discussion():
    made = units(conference_reviews=[DISCUSSED],
                 event_reviews=[review(4, 2, "RD01"), review(4, 2, "RD02")])
    everything = case_list(made)
    events = everything[everything["number"].notna()]
    assert len(case_list(made, Wanted(not_discussed=True))) == len(events) - 1
    kind = events["kind"].iloc[0]
    assert set(case_list(made, Wanted(kind=kind.upper()))["kind"]) == {kind}
    since = case_list(made, Wanted(since=dt.date(2020, 6, 1)))
    assert 0 < len(since) < len(everything) and (since["day"] >= "2020-06-01").all()
    assert set(case_list(made, Wanted(phase="embolization"))["phase"]) == {"embolization"}
    four = events[(events["patient_id"] == "A-0004") & (events["event_no"] == 2)]
    assert four["readers"].tolist() == [2]


def test_its_lines_say_what_is_left_over():
    rows = case_list(units())
    lines = case_lines(rows, 3)
    events = int(rows["number"].notna().sum())
    assert f"and {events - 3} more" in lines[3]
    assert len(lines) == 4
    assert "A-0004" in "\n".join(case_lines(rows, 100))
    assert "No patient or event fits" in case_lines(rows.iloc[:0], 3)[0]
    said = kinds_there_are(rows)
    assert "Kinds recorded here: " in said and "phases: " in said
    assert all(kind in said for kind in rows.loc[rows["number"].notna(), "kind"])


def test_patients_without_an_event_stand_behind_by_their_last_treatment():
    rows = case_list(units(complications=[]))
    quiet = rows[rows["kind"] == NO_EVENT]
    assert len(quiet) and quiet["number"].isna().all()
    lines = case_lines(rows, 100)
    place = lines.index("Treated without an event recorded:")
    assert len(lines) - place - 1 == len(quiet)
    assert quiet["patient_id"].iloc[0] in lines[place + 1]


def action(**cells: Any) -> dict[str, Any]:
    return {"action_no": 1, "decided_on": "2020-06-01", "action": "Agree on a limit.",
            "responsible": "nurse", "state": "open", "measure": "complication.any",
            "measure_unit": "session", **cells}


def test_an_open_action_comes_with_its_measure_before_and_since():
    made = units(actions=[
        action(), action(action_no=2, due_date="2020-07-01"),
        action(action_no=3, state="done", closed_date="2020-08-01")])
    due, first = open_actions(made)
    assert (due.number, first.number) == (2, 1) and first.action == "Agree on a limit."
    sessions = made.sessions["session_date"]
    assert first.before.n == int((sessions < "2020-06-01").sum())
    assert first.since.n == int((sessions >= "2020-06-01").sum())
    assert [e.group["period"] for e in (first.before, first.since)] == [BEFORE, SINCE]
    every = measure("complication.any").frame(made, "session")["event"].sum()
    assert first.before.events + first.since.events == every > 0 and first.problem == ""


@pytest.mark.parametrize(("cells", "said"), [
    ({"measure": None, "measure_unit": None}, "No measure was named"),
    ({"measure": "complication.unheard_of"}, "no share"),
    ({"measure_unit": "lesion", "measure": "rate.haemorrhage"}, "no share"),
    ({"decided_on": "2031-01-01"}, "no sessions since"),
    ({"decided_on": "2001-01-01"}, "no sessions before"),
])
def test_an_action_whose_measure_cannot_be_given_says_why(cells, said):
    [one] = open_actions(units(actions=[action(**cells)]))
    assert one.before is None and one.since is None and said in one.problem


def reviews(count: int, alike: int) -> pd.DataFrame:
    """So many events read by two, of which so many were judged alike."""
    rows = []
    for number in range(1, count + 1):
        said = "yes" if number % 3 else "no"
        other = said if number <= alike else ("no" if said == "yes" else "yes")
        rows += [review(number, 1, "RD01", preventable=said),
                 review(number, 1, "RD02", preventable=other)]
    return frame("event_reviews", rows)


def test_readers_are_compared_on_what_both_answered_blinded():
    [one] = readers_agree(reviews(24, 20))
    assert one.question == "Preventable"
    assert (one.alike.events, one.alike.n) == (20, 24)
    assert one.kappa.low < one.kappa.value < one.ac1.value and one.ac1.high <= 1
    [section] = readers_sections({"event_reviews": reviews(24, 20)})
    [row] = section.blocks[1].rows
    assert row[1].text.startswith("20/24") and row[3].estimate == one.ac1
    seeing = reviews(24, 20)
    seeing["blinded"] = False
    assert readers_agree(seeing) == ()


def test_too_few_events_give_counts_and_words_alone():
    [one] = readers_agree(reviews(FEWEST_EVENTS - 1, 8))
    assert one.kappa is None and one.ac1 is None and one.alike.n == FEWEST_EVENTS - 1
    [section] = readers_sections({"event_reviews": reviews(FEWEST_EVENTS - 1, 8)})
    assert [cell.text for cell in section.blocks[1].rows[0][2:]] == ["too few events"] * 2


def test_nobody_read_anything():
    assert readers_sections({"event_reviews": TABLES["event_reviews"].empty()}) == ()
