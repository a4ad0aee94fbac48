"""What the service decided and judged before stands in the next talk, where it belongs."""

from __future__ import annotations

import re

import pandas as pd
import pytest
from meeting_reports import results_of
from small_cohort import small_tables

from analyses.content.plain_text import sections_text
from analyses.documents.conference.conference_slides import Talk, conference_talk
from registry.schema import TABLES

ACTION = {"action_no": 1, "decided_on": "2020-05-15", "action": "a plug before every injection",
          "responsible": "neurointerventionalist", "due_date": "2020-12-01",
          "measure": "complication.any", "measure_unit": "session", "state": "open"}


def rows(table: str, *given: dict) -> pd.DataFrame:
    spec = TABLES[table]
    frame = pd.DataFrame(list(given), columns=[field.name for field in spec.fields])
    return frame.astype({field.name: field.dtype for field in spec.fields})


def reader(code: str, **also) -> dict:
    return {"patient_id": "A-0004", "lesion_no": 1, "event_of": "complication", "event_no": 2,
            "reader": code, "blinded": True, **also}


@pytest.fixture(scope="module")
def talk() -> Talk:
    tables = {
        **small_tables(),
        "actions": rows("actions", ACTION, {**ACTION, "action_no": 2, "state": "done"},
                        {**ACTION, "action_no": 3, "measure": None, "measure_unit": None,
                         "due_date": None}),
        "event_reviews": rows(
            "event_reviews", reader("RD01", preventable="possibly", cause_embolization="definite"),
            reader("RD02", preventable="no", severity="V"),
            reader("RD03", event_no=1, preventable="yes")),
        "conference_reviews": rows("conference_reviews", {
            "patient_id": "A-0004", "review_no": 1, "conference_date": "2020-09-01",
            "lesion_no": 1, "event_of": "complication", "event_no": 2,
            "planned": "two sessions", "happened": "the second came early",
            "factor_technique": True, "factor_equipment": False,
            "learning_points": "wait two weeks", "preventable": "possibly"})}
    return conference_talk(results_of(tables), "A-0004")


def slide(talk: Talk, title: str) -> str:
    (one,) = [s for s in talk.slides.sections if s.title == title]
    return " ".join(sections_text((one,)).split())


def test_the_talk_opens_with_the_actions_still_open_and_what_their_measure_shows(talk):
    titles = [section.title for section in talk.slides.sections]
    assert titles[1] == "What we decided before"
    (table,) = [t for t in talk.slides.tables() if t.name == "open-actions"]
    first, second = ([cell.text for cell in row] for row in table.rows)
    assert first[:2] == ["a plug before every injection",
                         "neurointerventionalist, December 2020, overdue"]
    # Sessions before 15 May 2020: two of patient 1, one each of 2 (both lesions) and its second,
    # one of patient 3; with an event: that of patient 2 and that of patient 3.
    assert first[3].startswith("2/5") and first[4].startswith("4/7")
    assert second[1].endswith("no day agreed") and "No measure was named" in second[2]


def test_the_numbers_of_the_actions_go_into_the_results(talk):
    periods = [e.group for e in talk.estimates if e.group and "action" in e.group]
    assert [g["period"] for g in periods] == ["before the action", "since the action"]


def test_without_an_open_action_there_is_no_such_slide():
    slides = conference_talk(results_of(small_tables()), "A-0004").slides
    assert "What we decided before" not in [s.title for s in slides.sections]


def test_what_an_earlier_conference_told_stands_where_it_belongs(talk):
    assert "two sessions" in slide(talk, "Planned beside happened")
    factors = slide(talk, "What made it likely, and what has to change?")
    assert re.search(r"Technique .{0,60}contributed \(earlier conference\)", factors)
    assert re.search(r"Equipment .{0,60}did not \(earlier conference\)", factors)
    assert "wait two weeks" in slide(talk, "After the discussion")


def test_readers_are_numbered_and_only_those_of_this_event_are_shown(talk):
    (table,) = [t for t in talk.slides.tables() if t.name == "after"]
    told = {row[0].text: row[1].text for row in table.rows}
    assert told["Reader 1 (blinded)"] == "preventable: possibly; cause: embolization definite"
    assert told["Reader 2 (blinded)"] == "preventable: no; severity: V"
    assert "Reader 3 (blinded)" not in told
    assert "RD0" not in sections_text(talk.page.sections)


def test_nothing_judged_is_shown_before_the_discussion(talk):
    *before, _ = talk.slides.sections
    assert "reventable" not in sections_text(before)
