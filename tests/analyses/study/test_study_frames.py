"""The frames of a study: who is in them, what their columns hold, one type a column."""

from __future__ import annotations

import pandas as pd
import pytest
from study_of_ten import study_of_ten

from registry.schema import TABLES

STUDY = study_of_ten()
FRAMES = {name: getattr(STUDY, name) for name in (
    "patients", "lesions", "sessions", "injections", "catheters", "resections")}


def test_every_unit_is_in_its_frame_under_a_key_of_its_own() -> None:
    # Two lesions of patient 2 in one procedure are one session: 13 rows, 12 procedures.
    assert {name: len(frame) for name, frame in FRAMES.items()} == {
        "patients": 10, "lesions": 11, "sessions": 12, "injections": 13, "catheters": 12,
        "resections": 4}
    for frame in FRAMES.values():
        assert frame.index.is_unique and frame.index.name == "key"


@pytest.mark.parametrize("name", ["patients", "lesions", "sessions", "resections"])
def test_all_fields_of_the_unit_and_of_its_parents_are_there(name: str) -> None:
    parents = {"patients": (), "lesions": ("patients",), "sessions": ("lesions", "patients"),
               "resections": ("lesions", "patients")}[name]
    for table in (name, *parents):
        assert set(TABLES[table].columns) - {"session_no", "resection_no", "lesion_no"} <= set(
            FRAMES[name].columns) | {"sm_grade_recorded"}


def test_an_injection_has_the_columns_of_its_session_lesion_and_patient() -> None:
    row = STUDY.injections.loc["A-0001/1/2/1"]
    assert row["agent_used"] == "EVOH 8 %" and row["agent"] == "EVOH only"
    assert row["session_date"] == pd.Timestamp("2020-03-11")
    assert row["nidus_length_mm"] == 40.0 and row["presentation"] == "haemorrhage"
    assert row["push_min"] == 3.0 and row["rate_ml_min"] == 0.5 and row["reflux_past_limit"]


def test_grades_are_ordered_and_of_the_highest_lesion() -> None:
    grade = STUDY.patients["sm_grade"]
    assert list(grade.cat.categories) == [1, 2, 3, 4, 5] and grade.cat.ordered
    # Lesions of grade I and III; grade V; never treated.
    assert grade["A-0002"] == 3 and grade["A-0004"] == 5 and pd.isna(grade["A-0008"])
    assert list(STUDY.lesions["ponce_class"].cat.categories) == ["A", "B", "C"]


def test_one_type_a_column() -> None:
    types = {"yes/no": "boolean", "int": "Int64", "number": "Float64", "date": "datetime64[ns]",
             "text": "string", "choice": "category", "grade": "category"}
    for row in STUDY.dictionary().itertuples():
        assert str(FRAMES[row.frame][row.column].dtype) == types[row.type], row


def test_choices_stand_in_the_order_of_the_schema() -> None:
    listed = list(TABLES["sessions"].by_name["route"].values)
    assert list(STUDY.sessions["route"].cat.categories) == listed


def test_a_session_on_two_lesions_is_blank_where_they_differ() -> None:
    both = STUDY.sessions.loc["A-0002/1/1"]
    assert both["lesions"] == 2 and pd.isna(both["occlusion_after_pct"])
    assert both["intent"] == "curative" and both["agent"] == "several liquids"
    assert both["agent_ml"] == 1.5 and both["injections"] == 2


def test_technique_by_hand() -> None:
    sessions = STUDY.sessions
    # 1.0 mL in 10 min less 60 s; a volume that was not recorded; two injections of 1 mL.
    assert sessions.loc["A-0001/1/1", "rate_ml_min"] == pytest.approx(1 / 9)
    assert pd.isna(sessions.loc["A-0003/1/1", "agent_ml"])
    assert sessions.loc["A-0010/1/1", "agent_ml"] == 2.0
    # Six procedures of the operator came before the second of patient 4; two operators.
    assert sessions.loc["A-0004/1/2", "case_number"] == 6
    assert sessions.loc["A-0007/1/1", "case_number"] == 0


def test_the_catheter_of_two_pedicles_is_one_row() -> None:
    row = STUDY.catheters.loc["A-0010/1/1/catheter 1"]
    assert row["injections"] == 2 and row["agent_ml"] == 2.0 and bool(row["retained"])
    # Its injections differ in how it came out and in the pedicle.
    assert pd.isna(row["pedicle_no"])


def test_treated_and_embolized_are_known_of_everybody() -> None:
    people = STUDY.patients
    assert list(people.index[~people["treated"]]) == ["A-0008"]
    assert list(people.index[people["treated"] & ~people["embolized"]]) == ["A-0009"]
    assert people["sessions"].sum() == 12


def test_the_dictionary_describes_every_column_of_every_frame() -> None:
    book = STUDY.dictionary()
    assert list(book.columns) == [
        "frame", "column", "type", "label", "definition", "unit", "source"]
    for name, frame in FRAMES.items():
        assert list(book.loc[book["frame"] == name, "column"]) == list(frame.columns)
    assert book["label"].ne("").all()
    sources = book.set_index(["frame", "column"])["source"]
    assert sources["sessions", "route"] == "field sessions.route"
    assert sources["sessions", "rate_ml_min"] == "worked out"
    assert sources["injections", "agent_used"] == "field injections.agent"


def test_a_frame_given_away_cannot_change_the_study() -> None:
    mine = STUDY.sessions
    mine["route"] = "by hand"
    assert "by hand" not in set(STUDY.sessions["route"])
