"""The mapping file: every fault of it at once, each in a sentence with its line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from old_sheets import FIRST, MAPPING, read, rows_of, write_mapping

from registry.old_sheets.mapping.read_statements import read_mapping
from registry.old_sheets.mapping.statements import MappingError

COLUMN = '[[column]]\nheading = "Age"\nfield = "patients.age_y"\n'


def faults(folder: Path, text: str) -> list[str]:
    with pytest.raises(MappingError) as caught:
        read_mapping(write_mapping(folder, text))
    return list(caught.value.sentences)


def test_the_mapping_of_these_tests_has_no_fault_and_knows_its_lines(tmp_path: Path) -> None:
    mapping = read_mapping(write_mapping(tmp_path))
    lines = MAPPING.splitlines()
    for column in mapping.columns:
        assert lines[column.line - 1] == "[[column]]"
        assert column.heading in lines[column.line]
    assert lines[mapping.lines["sheet", "blank"] - 1].startswith("blank")


@pytest.mark.parametrize(("old", "new", "said"), [
    ('field = "patients.age_y"', 'field = "patients.age"', 'there is no field "patients.age"'),
    ('field = "patients.age_y"', 'feild = "patients.age_y"', '"feild" is no statement'),
    ('field = "patients.age_y"', "", "does not say what becomes of the column"),
    ('field = "patients.age_y"', 'field = "patients.age_y"\nleave_out = "x"', "more than one of"),
    ('unit = "cm"', 'unit = "inch"', 'the unit "inch" cannot be converted to mm'),
    ('split = "counted"', 'split = "some"', "'some'"),
    ("F = \"female\"", "F = \"woman\"", "'woman'"),
    ("dates = \"day first\"", "dates = \"day\"", '"day first" or "month first"'),
    ("headings_in_row = 2", "headings_in_row = 0", '"headings_in_row" is 0'),
    ('one_row_is = "patients"', 'one_row_is = "people"', '"one_row_is" is "people"'),
    ('value = "NORTH"', 'value = "The north"', "the value is 'The north'"),
    ('field = "patients.site_id"', 'field = "patients.age_y"', "it is fed twice"),
    ('prefix = "T"', 'prefix = "t1"', '"prefix" is "t1"'),
    ("[study_codes]", "[study_code]", '"study_codes", if that is meant'),
    ("lesion_no = 1", "lesion_no = 0", '"lesion_no" is 0'),
    ("lesion_no = 1", "lesion_no = 99", "lesion_no is 99"),
    ("complication_no = 1\n", "", "nothing says which complication_no"),
    ('range = "higher"', 'range = "both"', '"higher" or "lower"'),
    ('leave_out = "a person\'s name"', 'field = "patients.sex"', "looks like a person's name"),
    ('leave_out = "a person\'s name"', 'leave_out = " "', "leave_out gives no reason"),
    ('is = ["TOTAL"]\n', "", "it does not say which rows"),
    ('because = "totals"\n', "", '"because" is not stated'),
    ('heading = "Seen"\nfield = "patients.presentation_date"',
     'heading = "Seen"\nfield = "sessions.session_date"\nsession_no = 1', "no field says how pre"),
    ('split = "diameters"\n', "", "nothing says how a cell is split"),
])
def test_each_fault_is_told_with_its_line_and_what_is_wanted(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    assert old in MAPPING
    found = [s for s in faults(tmp_path, MAPPING.replace(old, new, 1)) if said in s]
    assert found, faults(tmp_path, MAPPING.replace(old, new, 1))
    assert re.match(r"map\.toml(, line \d+)?: ", found[0]) and "; wanted: " in found[0]


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    text = MAPPING.replace("cm", "ell", 1).replace('"patients.age_y"', '"patients.age"')
    text = text.replace('"higher"', '"both"').replace('prefix = "T"', "prefix = 3")
    assert len(faults(tmp_path, text)) >= 3


@pytest.mark.parametrize("text", [
    "", "[sheet", "a = ", "\0", "[[column]]\n" * 3, "[column]\nx = 1", "sheet = 3",
    "[sheet]\nname=1", "constant = [1, 2]", "[[column]]\nheading = 5", "[study_codes]",
    "[numbers]\nlesion_no = true",
    "[[column]]\nheading = 'x'\nwords = 3\nfield = []", "numbers = [1]", "a" * 10_000,
])
def test_nonsense_is_a_sentence(tmp_path: Path, text: str) -> None:
    assert all(len(sentence) > 20 for sentence in faults(tmp_path, text))


def test_a_mapping_that_is_not_there_or_no_text_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(MappingError, match="no mapping none.toml"):
        read_mapping(tmp_path / "none.toml")
    (tmp_path / "map.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(MappingError, match="cannot be read as a text"):
        read_mapping(tmp_path / "map.toml")


def bound_faults(folder: Path, text: str, rows: list | None = None) -> str:
    with pytest.raises(MappingError) as caught:
        read(folder, rows or rows_of(FIRST), text)
    return "\n".join(caught.value.sentences)


def test_every_column_of_the_sheet_has_to_be_named(tmp_path: Path) -> None:
    said = bound_faults(tmp_path, MAPPING.replace(COLUMN + "\n", ""))
    assert 'column C "Age" is not named' in said
    text = MAPPING.replace(COLUMN + "\n", "").replace("[study_codes]",
                                                      'other_columns = "later"\n[study_codes]')
    mapped = read(tmp_path, rows_of(FIRST), text)
    assert "age_y" in {p.field for p in mapped.batch.problems if p.rule == "missing"}


def test_a_column_without_a_heading_is_not_lost(tmp_path: Path) -> None:
    rows = rows_of([*FIRST, "scribble"])
    assert "column W without a heading is not named" in bound_faults(tmp_path, MAPPING, rows)
    text = MAPPING + '\n[[column]]\nheading = ""\ncolumn = "W"\nleave_out = "scribbles"\n'
    assert not [p for p in read(tmp_path, rows, text).batch.problems if p.severity == "error"]


def test_headings_that_are_not_there_or_there_twice_are_told(tmp_path: Path) -> None:
    said = bound_faults(tmp_path, MAPPING.replace('heading = "Age"', 'heading = "Agee"'))
    assert 'no such heading; wanted: "Age", if that is meant' in said
    rows = rows_of(FIRST)
    rows[1][1] = "Age"
    said = bound_faults(tmp_path, MAPPING, rows)
    assert "2 columns have this heading (B, C)" in said


def test_the_letters_of_a_column_must_fit_its_heading(tmp_path: Path) -> None:
    said = bound_faults(tmp_path, MAPPING.replace(COLUMN, COLUMN + 'column = "D"\n'))
    assert 'column D is headed "Sex"' in said
    assert read(tmp_path, rows_of(FIRST), MAPPING.replace(COLUMN, COLUMN + 'column = "C"\n'))


def test_a_draft_and_open_columns_take_nothing_in(tmp_path: Path) -> None:
    text = "draft = true\n" + MAPPING.replace('field = "patients.age_y"', "open = true")
    said = bound_faults(tmp_path, text)
    assert "1 columns are still open" in said and "delete its line draft = true" in said


def test_headings_in_two_rows_are_joined(tmp_path: Path) -> None:
    rows = [["Patient", None, "Session 1", None], ["Code", "Age", "date", "occl"],
            ["N-0001", 40, "2020-01-02", 50]]
    text = """
[sheet]
headings_in_row = [1, 2]
one_row_is = "patients"
other_columns = "not needed"
[numbers]
lesion_no = 1
[[column]]
heading = "Patient / Code"
field = "patients.patient_id"
[[column]]
heading = "Session 1 / date"
field = "sessions.session_date"
session_no = 1
"""
    mapped = read(tmp_path, rows, text)
    assert mapped.rows.patients[2] == "N-0001"
    assert "session_date" in {f for row in mapped.batch.held for f in row.values}
