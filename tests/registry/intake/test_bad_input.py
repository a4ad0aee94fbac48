"""A bad cell or row gets a sentence: where, what was found, what is wanted, how to mend it."""

from __future__ import annotations

import datetime as dt
import re

from bad_sources import edit, only, put_cell
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from registry.schema import TABLES


def test_every_fault_is_told_at_once_with_its_row_and_column(spoil, read):
    batch = read(spoil({("Patients", "C2"): "1,500", ("Patients", "D3"): "femal",
                        ("Lesions", "J4"): "25 cm", ("Sessions", "E2"): "03/09/2020"}))
    errors = [p for p in batch.problems if p.severity == "error"]
    assert [(p.place.sheet, p.place.row, p.field) for p in errors] == [
        ("Patients", 2, "age_y"), ("Patients", 3, "sex"), ("Lesions", 4, "nidus_length_mm"),
        ("Sessions", 2, "session_date"),
    ]
    for problem in errors:
        assert re.fullmatch(r'.+, row \d+, column ".+": found .+; wanted: .+\. .+\.',
                            problem.sentence())


def test_dates_as_text_in_three_styles_are_read_and_an_impossible_one_is_refused(spoil, read):
    batch = read(spoil({("Patients", "F2"): "2020-01-10", ("Patients", "F3"): "11 Jan 2020",
                        ("Patients", "F4"): "30/02/2020"}))
    assert only(batch).rule == "impossible-date"
    assert list(batch.tables["patients"]["presentation_date"].dt.day) == [10, 11]


def test_decimal_commas_are_taken_and_said_once_a_column(spoil, read):
    batch = read(spoil({("Lesions", "J2"): "25,5", ("Lesions", "J3"): "30,25"}))
    assert list(batch.tables["lesions"]["nidus_length_mm"]) == [25.5, 30.25, 25.0]
    assert "in 2 cells" in only(batch, "query").found


def test_numbers_stored_as_text_with_blanks_around_them(spoil, read):
    batch = read(spoil({("Patients", "C2"): "31\u00a0", ("Patients", "H3"): " 2",
                        ("Patients", "A4"): "N-0003 ", ("Sessions", "A4"): "\u00a0N-0003"}))
    assert not batch.problems and batch.tables["patients"]["age_y"].iloc[0] == 31


def test_choices_in_another_letter_case(spoil, read, column):
    batch = read(spoil({
        ("Patients", "D2"): "FEMALE",
        ("Injections", f"{column('injections', 'agent')}2"): "evoh 6%",
    }))
    assert not batch.held, [p.sentence() for p in batch.problems]


def test_a_formula_without_a_result_is_refused(spoil, read):
    # openpyxl writes formulas without working them out
    problem = only(read(spoil({("Patients", "H2"): "=1+1"})))
    assert problem.rule == "formula-without-result" and "paste" in problem.mend


def test_a_formula_with_a_result_is_taken_and_said(workbook_path, read):
    put_cell(workbook_path, "H2", b'<c r="H2"><f>1+1</f><v>2</v></c>')
    batch = read(workbook_path)
    problem = only(batch, "query")
    assert problem.rule == "formula" and problem.place.row == 2
    assert batch.tables["patients"]["mrs_before"].iloc[0] == 2


def test_a_formula_that_gives_an_empty_text_is_a_blank(workbook_path, read):
    put_cell(workbook_path, "I2", b'<c r="I2" t="str"><f>""</f><v></v></c>')
    batch = read(workbook_path)
    assert batch.tables["patients"]["gcs"].isna().iloc[0] and not batch.held


def test_an_error_shown_by_the_spreadsheet_is_not_a_blank(workbook_path, read):
    put_cell(workbook_path, "I2", b'<c r="I2" t="e"><v>#REF!</v></c>')
    problem = only(read(workbook_path))
    assert problem.rule == "error-value" and "#REF!" in problem.found


def test_a_cell_shown_as_percent_is_read_as_it_is_seen(workbook_path, read, column):
    letters = column("sessions", "occlusion_after_pct")

    def change(book):
        cell = book["Sessions"][f"{letters}2"]
        cell.value, cell.number_format = 0.85, "0%"
        other = book["Patients"]["C3"]
        other.value, other.number_format = 0.5, "0.0%"

    batch = read(edit(workbook_path, change))
    assert batch.tables["sessions"]["occlusion_after_pct"].iloc[0] == 85
    assert only(batch).field == "age_y"


def test_both_of_the_spreadsheets_date_systems(workbook_path, read):
    # 5 July 1998 is day 35981 counted from 1900 and 34519 counted from 1904
    # (Microsoft, "Date systems in Excel")
    def change(book):
        book.epoch = CALENDAR_MAC_1904
        for row in book["Patients"].iter_rows(min_row=2):
            row[5].value, row[5].number_format = 34519, "yyyy-mm-dd"
        for sheet in ("Sessions", "Follow-ups", "Services"):
            for row in book[sheet].iter_rows(min_row=2):
                for cell in row:
                    if cell.is_date:
                        cell.value = 40000

    batch = read(edit(workbook_path, change))
    assert set(batch.tables["patients"]["presentation_date"]) == {dt.datetime(1998, 7, 5)}


def test_merged_cells_among_the_rows_are_named_where_they_leave_a_required_cell_blank(
    workbook_path, read
):
    batch = read(edit(workbook_path, lambda b: b["Lesions"].merge_cells("A2:A3")))
    missing = [p for p in batch.problems if p.rule == "missing"]
    assert [(p.place.row, "A2:A3" in p.mend) for p in missing] == [(3, True)]


def test_hidden_rows_columns_and_sheets_are_taken_and_said(workbook_path, read):
    def change(book):
        book["Patients"].row_dimensions[3].hidden = True
        book["Patients"].column_dimensions["I"].hidden = True
        book["Lesions"].sheet_state = "hidden"

    batch = read(edit(workbook_path, change))
    assert len(batch.tables["patients"]) == 3 and len(batch.notes) == 3
    assert "row 3" in " ".join(batch.notes)


def test_blank_rows_between_are_skipped_and_rows_counted_as_the_spreadsheet_does(
    workbook_path, read
):
    def change(book):
        book["Patients"].insert_rows(3, 2)
        book["Patients"]["D6"] = "femal"

    batch = read(edit(workbook_path, change))
    assert only(batch).place.row == 6 and batch.rows_read["patients"] == 3


def test_duplicate_keys_keep_the_patient_out_and_name_both_rows(spoil, read):
    batch = read(spoil({("Patients", "A3"): "N-0001"}))
    twice = [p for p in batch.problems if p.rule == "key used twice"]
    assert [p.place.row for p in twice] == [2, 3]
    assert set(batch.tables["patients"]["patient_id"]) == {"N-0003"}


def test_orphans_keep_their_patient_out(spoil, read):
    batch = read(spoil({("Sessions", "B3"): 7}))
    assert [p.rule for p in batch.problems if p.table == "sessions"] == ["no parent row"]
    assert batch.patients_held == ["N-0002"]


def test_a_row_whose_study_code_cannot_be_read_is_held_by_itself(spoil, read):
    batch = read(spoil({("Follow-ups", "A3"): "A. Person"}))
    assert [(r.table, r.patient_id, r.place.row) for r in batch.held] == [("follow_ups", None, 3)]
    assert len(batch.tables["patients"]) == 3
    assert "Person" not in str(batch.held[0].values) + str([p.sentence() for p in batch.problems])
    assert batch.held[0].cells["patient_id"] == "A. Person"  # for the returned workbook only


def test_a_faulty_row_of_services_is_held_without_the_patients(spoil, read):
    batch = read(spoil({("Services", "B2"): "soon"}))
    assert [r.table for r in batch.held] == ["services"] and len(batch.tables["patients"]) == 3


def test_an_unreadable_cell_is_not_also_told_as_absent(spoil, read, column):
    batch = read(spoil({
        ("Injections", f"{column('injections', 'feeding_artery')}2"): "MCAA",
        ("Sessions", f"{column('sessions', 'occlusion_after_pct')}3"): "most of it",
        ("Lesions", "B4"): "one",
    }))
    assert [(p.table, p.field) for p in batch.problems if p.severity == "error"] == [
        ("lesions", "lesion_no"), ("sessions", "occlusion_after_pct"),
        ("injections", "feeding_artery"),
    ]


def test_rules_that_rest_on_what_is_there_are_rules():
    from registry.intake import union
    from registry.rules import all_rules

    names = {rule.name for rule in all_rules() if rule.severity == "error"}
    assert set(union.RESTS_ON) | union.RESTS_ON_KEYS <= names
    fields = {name for table in TABLES.values() for name in table.columns}
    assert all(named <= fields for named in union.RESTS_ON.values())
