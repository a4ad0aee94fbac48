"""What the cells of an old sheet come to under the statements of a mapping."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from old_sheets import (
    FIRST,
    HEADINGS,
    MAPPING,
    SECOND,
    TODAY,
    read,
    rows_of,
    write_mapping,
    write_sheet,
)

from registry.old_sheets.ledger import Ledger
from registry.old_sheets.mapping.mapped_reading import read_mapped


@pytest.fixture
def mapped(tmp_path: Path):
    return read(tmp_path, rows_of(FIRST, SECOND))


def plain(frame: pd.DataFrame) -> list[dict]:
    kept = frame.dropna(axis=1, how="all").drop(columns="patient_id")
    return kept.astype(object).where(kept.notna(), None).to_dict("records")


def spoilt(column: str, value, patient=SECOND) -> list:
    cells = list(patient)
    cells[HEADINGS.index(column)] = value
    return cells


def test_one_wide_row_becomes_the_rows_of_several_tables(mapped) -> None:
    # The second patient lacks "haemorrhage_before", which only the word ICH gives.
    tables = mapped.batch.tables
    assert plain(tables["patients"]) == [{
        "site_id": "NORTH", "age_y": 34.0, "sex": "female", "presentation": "haemorrhage",
        "presentation_date": pd.Timestamp(2015, 4, 3), "presentation_date_known_to": "day",
        "mrs_before": 1, "research_use": "granted"}]
    assert plain(tables["lesions"]) == [{
        "lesion_no": 1, "side": "right", "location": "frontal", "haemorrhage_before": True,
        "eloquent": True, "nidus_length_mm": 35.0, "nidus_width_mm": 30.0,
        "nidus_height_mm": 28.0, "deep_drainage": "exclusive", "feeding_pedicles": 3,
        "sm_grade_recorded": 3}]
    assert tables["sessions"][["session_no", "occlusion_after_pct"]].to_numpy().tolist() == [
        [1, 80.0], [2, 95.0]]


def test_counted_arteries_and_parted_volumes_meet_row_by_row(mapped) -> None:
    injections = mapped.batch.tables["injections"]
    found = injections[["session_no", "injection_no", "feeding_artery", "agent_ml"]]
    assert found.to_numpy().tolist() == [
        [1, 1, "MCA", 1.0], [1, 2, "MCA", 0.5], [1, 3, "PCA", 0.25], [2, 1, "MCA", 1.5]]


def test_a_patient_with_something_missing_waits_whole_with_all_other_values(mapped) -> None:
    held = {row.table: row for row in mapped.batch.held}
    assert len(mapped.batch.patients_held) == 1
    assert held["patients"].values["presentation"] == "sz"
    assert held["patients"].cells["presentation"] == "seizure"
    assert list(held["lesions"].marks) == ["haemorrhage_before"]
    assert held["lesions"].cells["nidus_length_mm"] == 25.0
    # onset_date has neither a column nor a constant: it is asked for, nothing else is.
    assert list(held["complications"].marks) == ["onset_date"]


def test_study_codes_meet_again_whatever_a_spreadsheet_does_to_the_number(tmp_path: Path) -> None:
    once = read(tmp_path, rows_of(FIRST))
    once.codes.save()
    again = read(tmp_path, rows_of(spoilt("Hosp no", "000101", FIRST)))
    assert once.batch.tables["patients"]["patient_id"].tolist() == \
        again.batch.tables["patients"]["patient_id"].tolist()


@pytest.mark.parametrize(("column", "value", "rule"), [
    ("mRS pre", "0-7", "out-of-range"),
    ("Size", "35 x 28 x 30 inch", "unknown-unit"),
    ("Size", "3x2x1x4 cm", "not-split"),
    ("Size", "about 3", "not-split"),
    ("S1 date", "05/13/2015", "date-order"),
    ("S1 date", "10/05/15", "not-a-date"),
    ("S1 date", "31/02/2015", "impossible-date"),
    ("Place", "frontal", "not-split"),
    ("Place", "Rt fronto-parietal", "not-in-list"),
    ("S1 pedicles", "MCA x3, twig x1", "not-in-list"),
    ("S1 pedicles", 3, "not-split"),
    ("SM gr.", "III/IV", "not-a-number"),
    ("Complication", "aphasia?", "not-split"),
    ("S1 vol (cc)", "1.0 + some", "not-a-number"),
    ("S1 vol (cc)", "1.0 + 0.5", "numbers-differ"),
    ("S1 vol (cc)", 1.75, "numbers-differ"),
    ("S2 vol (cc)", "1 l + 2", "unknown-unit"),
    ("Size", "3 cm x 2 x 1", "not-split"),
    ("S1 pedicles", "MCA/ACA x2", "not-in-list"),
    ("S1 occl", ">90", "not-a-number"),
    ("Age", "34 (phone 01632 960123)", "identifier"),
])
def test_what_the_mapping_does_not_state_is_a_problem(
    tmp_path: Path, column: str, value, rule: str
) -> None:
    mapped = read(tmp_path, rows_of(spoilt(column, value, FIRST)))
    errors = [p for p in mapped.batch.problems if p.severity == "error"]
    assert rule in {p.rule for p in errors}
    assert len(mapped.batch.tables["patients"]) == 0
    assert all(f'under "{column}"' in p.found for p in errors if p.rule == rule)
    letter_row = Ledger(mapped.rows, mapped.batch).cells()
    assert [cell.home for cell in letter_row if cell.row == 3].count("problem") == 1


def test_a_range_without_a_rule_is_asked_about(tmp_path: Path) -> None:
    text = MAPPING.replace('range = "higher"\n', "")
    problems = read(tmp_path, rows_of(FIRST), text).batch.problems
    assert [p.found for p in problems if p.rule == "range-undecided"] == ['"0-1" under "mRS pre"']
    lower = read(tmp_path, rows_of(FIRST), MAPPING.replace('"higher"', '"lower"'))
    assert lower.batch.tables["patients"]["mrs_before"].tolist() == [0]


def test_the_order_of_dates_is_stated_never_guessed(tmp_path: Path) -> None:
    unstated = read(tmp_path, rows_of(FIRST), MAPPING.replace('dates = "day first"\n', ""))
    rules = [p.rule for p in unstated.batch.problems if p.severity == "error"]
    assert rules.count("ambiguous-date") == 3
    text = MAPPING + '\n[[dates_in_rows]]\nrows = "3"\norder = "month first"\n'
    other = read(tmp_path, rows_of(FIRST), text).batch.tables
    assert other["patients"]["presentation_date"].tolist() == [pd.Timestamp(2015, 3, 4)]


@pytest.mark.parametrize(("cell", "day", "known_to"), [
    ("2015", (2015, 7, 1), "year"), (2015, (2015, 7, 1), "year"),
    ("03/2015", (2015, 3, 15), "month"), ("Mar 2015", (2015, 3, 15), "month"),
    ("5 Mar 2015", (2015, 3, 5), "day"), ("2015-03-05", (2015, 3, 5), "day"),
])
def test_part_of_a_date_becomes_its_middle_and_says_so(
    tmp_path: Path, cell, day, known_to: str
) -> None:
    found = read(tmp_path, rows_of(spoilt("Seen", cell, FIRST))).batch.tables["patients"]
    assert found["presentation_date"].tolist() == [pd.Timestamp(*day)]
    assert found["presentation_date_known_to"].tolist() == [known_to]


def test_one_patient_in_two_rows_of_a_sheet_of_patients_stays_out(tmp_path: Path) -> None:
    mapped = read(tmp_path, rows_of(FIRST, spoilt("Age", 35, FIRST)))
    assert "key used twice" in {p.rule for p in mapped.batch.problems}
    assert len(mapped.batch.tables["patients"]) == 0
    assert len(mapped.batch.patients_held) == 1


SESSIONS = """
[sheet]
headings_in_row = 1
one_row_is = "sessions"
[numbers]
lesion_no = 1
session_no = "counted by session_date"
[[column]]
heading = "Code"
field = "patients.patient_id"
[[column]]
heading = "Age"
field = "patients.age_y"
[[column]]
heading = "Date"
field = "sessions.session_date"
[[column]]
heading = "Agent"
field = "injections.agent"
injection_no = 1
"""
ROWS = [["Code", "Age", "Date", "Agent"], ["N-0001", 30, "2020-05-02", "coil"],
        ["N-0001", None, "2020-03-01", None], ["N-0002", 40, "2021-01-01", None]]


def test_a_row_a_session_counts_sessions_by_date_and_tells_the_patient_once(
    tmp_path: Path,
) -> None:
    mapped = read(tmp_path, ROWS, SESSIONS)
    held = [row for row in mapped.batch.held]
    keys = {(row.table, row.values["patient_id"], row.values.get("session_no")) for row in held}
    assert ("sessions", "N-0001", "2") in keys and ("sessions", "N-0001", "1") in keys
    assert ("injections", "N-0001", "2") in keys
    assert [row.table for row in held].count("patients") == 2


def test_two_rows_that_tell_a_patient_differently_are_a_problem(tmp_path: Path) -> None:
    rows = [list(row) for row in ROWS]
    rows[2][1] = 31
    mapped = read(tmp_path, rows, SESSIONS)
    found = [p.found for p in mapped.batch.problems if p.rule == "two-values"]
    assert found == ['31, where row 2 has 30 for the same row of patients under "Age"']
    ledger = {(c.row, c.column): c.home for c in Ledger(mapped.rows, mapped.batch).cells()}
    assert ledger[3, "B"] == "problem" and ledger[2, "B"] == "holding"


def test_merged_cells_count_for_each_row_only_where_that_is_stated(tmp_path: Path) -> None:
    rows = [list(row) for row in ROWS]
    rows[2][0] = None
    path = write_sheet(tmp_path / "old.xlsx", rows)
    book = openpyxl.load_workbook(path)
    book["Old"].merge_cells("A2:A3")
    book.save(path)
    for statement, patients in (("", {"N-0001", None, "N-0002"}),
                                ('merged_cells = "first row"\n', {"N-0001", None, "N-0002"}),
                                ('merged_cells = "each row"\n', {"N-0001", "N-0002"})):
        text = SESSIONS.replace("[numbers]", statement + "[numbers]")
        mapped = read_mapped(path, write_mapping(tmp_path, text), today=TODAY)
        assert set(mapped.rows.patients[1:]) == patients
        asked = "merged-cells" in {p.rule for p in mapped.batch.problems}
        assert asked is (statement == "")
        ledger = Ledger(mapped.rows, mapped.batch)
        assert ledger.adds_up and ledger.total == 4 + 4 + 1 + 3
