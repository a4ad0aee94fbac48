"""Sheets and columns that are missing, misspelt or twice get a sentence that names them."""

from __future__ import annotations

import datetime as dt

import pytest
from bad_sources import edit, only, refused

from registry.schema.migrations import numbered
from registry.schema.migrations.change_steps import RenameField
from registry.schema.migrations.numbered import MIGRATIONS, Migration


def test_missing_required_sheets_are_all_named_at_once(workbook_path, read):
    def change(book):
        del book["Lesions"], book["Sessions"]

    refused(read, edit(workbook_path, change), '"Lesions" and "Sessions" are missing')


def test_a_sheet_that_may_be_absent_is_said_in_the_batch(workbook_path, read):
    def change(book):
        del book["Services"]

    batch = read(edit(workbook_path, change))
    assert "services" in batch.absent_tables and not batch.held


def test_sheets_in_another_order_and_under_their_table_names(workbook_path, read):
    def change(book):
        book._sheets.reverse()
        book["Follow-ups"].title = "follow_ups"
        book["Patients"].title = " PATIENTS"

    batch = read(edit(workbook_path, change))
    assert batch.rows_read["follow_ups"] == 3 and not batch.problems


def test_a_misspelt_sheet_is_refused_because_its_rows_would_be_lost(workbook_path, read):
    def change(book):
        book["Complications"].title = "Complicatons"

    refused(read, edit(workbook_path, change), '"Complicatons"', '"Complications"')


def test_two_sheets_for_one_table(workbook_path, read):
    def change(book):
        book.create_sheet("patients ")

    refused(read, edit(workbook_path, change), "Two sheets hold the table patients")


def test_a_sheet_of_notes_is_not_read_and_said(workbook_path, read):
    def change(book):
        book.create_sheet("My notes")["A1"] = "call the ward"

    problem = only(read(edit(workbook_path, change)), "query")
    assert problem.rule == "unknown-sheet" and "ward" not in problem.sentence()


def test_missing_required_columns_are_all_named_with_what_looks_like_them(workbook_path, read):
    def change(book):
        book["Patients"]["D1"] = "Sexx"
        book["Lesions"].delete_cols(3)

    sentences = refused(read, edit(workbook_path, change))
    assert len(sentences) == 2
    assert '"Sex"' in sentences[0] and '"Sexx" looks like it' in sentences[0]
    assert '"Side" (side) is missing' in sentences[1]


def test_an_unknown_column_is_not_read_and_asked_about(workbook_path, read):
    def change(book):
        book["Patients"]["N1"], book["Patients"]["N2"] = "Date of birth", dt.date(1990, 1, 1)

    problem = only(read(edit(workbook_path, change)), "query")
    assert problem.rule == "unknown-column" and "1 filled" in problem.found
    assert "1990" not in problem.sentence()


def test_an_unknown_column_that_looks_like_one_is_told_so(workbook_path, read):
    def change(book):
        book["Lesions"]["N1"] = "Draning veins"

    batch = read(edit(workbook_path, change))
    assert '"Draining veins"' in only(batch, "query").mend
    assert "draining_veins" in batch.absent_columns["lesions"]


def test_values_under_no_heading_are_asked_about(workbook_path, read):
    def change(book):
        book["Patients"]["P3"] = 7

    assert "column P without a heading" in only(read(edit(workbook_path, change)), "query").found


def test_a_heading_twice_is_refused(workbook_path, read):
    def change(book):
        book["Patients"]["J1"] = "GCS"

    refused(read, edit(workbook_path, change), "a second time", "column J")


def test_a_heading_in_another_unit_is_refused(workbook_path, read):
    def change(book):
        book["Lesions"]["J1"] = "Nidus, largest diameter (cm) *"

    refused(read, edit(workbook_path, change), "(cm)", "mm")


def test_merged_headings_are_refused(workbook_path, read):
    refused(read, edit(workbook_path, lambda b: b["Patients"].merge_cells("I1:J1")), "I1:J1")


def test_a_title_above_the_headings_does_not_shift_the_row_numbers(workbook_path, read):
    def change(book):
        sheet = book["Patients"]
        sheet.insert_rows(1, 3)
        sheet["A2"] = "Our patients since 2019"
        sheet.merge_cells("A2:F2")
        sheet["D7"] = "femal"

    problem = only(read(edit(workbook_path, change)))
    assert (problem.place.row, problem.patient_id) == (7, "N-0003")


def test_a_sheet_without_headings_is_refused(workbook_path, read):
    refused(read, edit(workbook_path, lambda b: b["Patients"].delete_rows(1)), "no row of headings")


@pytest.fixture
def renamed_since(monkeypatch):
    """As if two fields of the lesions had been called otherwise until version 2, and before."""
    steps = ((RenameField("lesions", "hemisphere", "half", label="Hemisphere"),),
             (RenameField("lesions", "half", "side"),
              RenameField("lesions", "nidus_mm", "nidus_length_mm", label="Largest diameter")))
    monkeypatch.setattr(numbered, "MIGRATIONS", (*MIGRATIONS, *(
        Migration(number, "Fields are called otherwise.", step)
        for number, step in enumerate(steps, start=3))))


def heading_of(sheet, label):
    return next(cell for cell in sheet[1] if str(cell.value).startswith(label))


def test_the_heading_of_an_earlier_version_is_taken_and_said(workbook_path, read, renamed_since):
    def change(book):
        heading_of(book["Lesions"], "Side").value = "Hemisphere *"
        heading_of(book["Lesions"], "Nidus, largest diameter").value = "Largest diameter (mm) *"

    batch = read(edit(workbook_path, change))
    assert not batch.problems and batch.tables["lesions"]["side"].notna().all()
    told = [note for note in batch.notes if "is that of version" in note]
    assert len(told) == 2
    assert told[0].endswith('the heading "Hemisphere *" is that of version 2; it was taken as '
                            '"Side *", as the field is called now.')
    assert '"Largest diameter (mm) *" is that of version 3' in told[1]


def test_the_heading_of_an_earlier_version_in_another_unit_is_refused(
    workbook_path, read, renamed_since,
):
    def change(book):
        heading_of(book["Lesions"], "Nidus, largest diameter").value = "Largest diameter (cm)"

    refused(read, edit(workbook_path, change), "Convert the values to mm")


def test_the_old_heading_beside_the_new_one_is_a_column_twice(workbook_path, read, renamed_since):
    def change(book):
        sheet = book["Lesions"]
        sheet.cell(1, sheet.max_column + 1).value = "Hemisphere"

    refused(read, edit(workbook_path, change), '"Hemisphere" a second time')
