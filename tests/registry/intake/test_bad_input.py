"""Bad input gets a sentence: where, what was found, what is wanted, how to mend it."""

from __future__ import annotations

import datetime as dt
import re
import zipfile

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from registry.intake import SourceError, csv_text, xlsx_facts, xlsx_parts
from registry.schema import TABLES


def refused(read, path, *words):
    """The sentences of a file that is refused as a whole; each of `words` is in them."""
    with pytest.raises(SourceError) as caught:
        read(path)
    text = str(caught.value)
    for word in words:
        assert word in text, text
    for sentence in caught.value.sentences:
        assert sentence.endswith(".") and "Traceback" not in sentence and "Error" not in sentence
    return caught.value.sentences


def only(batch, severity="error"):
    found = [p for p in batch.problems if p.severity == severity]
    assert len(found) == 1, [p.sentence() for p in batch.problems]
    return found[0]


def edit(path, change):
    book = openpyxl.load_workbook(path)
    change(book)
    book.save(path)
    return path


# --- the file as a whole -----------------------------------------------------------------

def test_nothing_there(tmp_path, read):
    refused(read, tmp_path / "cases.xlsx", "no file or folder cases.xlsx")


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "empty (0 bytes)"), (b"hello there", "not a workbook"),
     (b"%PDF-1.7 and so on", "not a workbook"), (b"PK\x03\x04 not really", "not a workbook"),
     (bytes.fromhex("D0CF11E0A1B11AE1") + bytes(600), "old .xls form"),
     (bytes.fromhex("D0CF11E0A1B11AE1") + bytes(600) + "EncryptedPackage".encode("utf-16-le"),
      "protected with a password")],
)
def test_not_a_workbook(tmp_path, read, content, words):
    path = tmp_path / "cases.xlsx"
    path.write_bytes(content)
    refused(read, path, words)


def test_another_kind_of_archive(tmp_path, read):
    path = tmp_path / "cases.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("word/document.xml", "<document/>")
    refused(read, path, "damaged or is not a workbook")


@pytest.mark.parametrize(("part", "words"), [("xl/workbook.bin", ".xlsb"),
                                             ("content.xml", "OpenDocument")])
def test_other_spreadsheet_forms_are_named(tmp_path, read, part, words):
    path = tmp_path / "cases.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(part, "x")
    refused(read, path, words, "ave it as .xlsx")


def test_a_file_of_200_mb_is_refused_before_it_is_read(tmp_path, read):
    path = tmp_path / "cases.xlsx"
    with path.open("wb") as file:
        file.truncate(200 * 2**20)  # sparse: takes no room, but is 200 MB to whoever reads it
    refused(read, path, "200 MB")


def test_a_csv_file_of_200_mb_is_refused_before_it_is_read(csv_path, read):
    with (csv_path / "injections.csv").open("wb") as file:
        file.truncate(200 * 2**20)
    refused(read, csv_path, "injections.csv is 200 MB")


def test_a_small_file_that_unpacks_to_a_huge_one_is_refused(workbook_path, read, monkeypatch):
    monkeypatch.setattr(xlsx_parts, "MAX_UNPACKED_BYTES", 50_000)
    refused(read, workbook_path, "unpacks to")


def test_a_stray_value_at_the_far_end_of_a_sheet_is_named(spoil, read):
    refused(read, spoil({("Patients", "XFD1048576"): 1}), "column XFD, row 1048576")


def test_cells_of_a_csv_file_are_counted(csv_path, read, monkeypatch):
    monkeypatch.setattr(csv_text, "MAX_CELLS", 20)
    refused(read, csv_path, "more than 20 cells")


def test_document_type_declarations_are_refused(workbook_path, read):
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]>'
    rewrite(workbook_path, "xl/worksheets/sheet3.xml",
            lambda xml: re.sub(rb"<\?xml.*?\?>", bomb, xml))
    refused(read, workbook_path, "damaged")


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet3.xml",
                                  "xl/sharedStrings.xml", "xl/styles.xml"])
def test_a_workbook_cut_short_inside_is_damaged(workbook_path, read, part):
    rewrite(workbook_path, part, lambda xml: xml[: len(xml) // 2])
    refused(read, workbook_path, "damaged")


def test_a_workbook_cut_short_is_refused(workbook_path, read):
    workbook_path.write_bytes(workbook_path.read_bytes()[:5000])
    refused(read, workbook_path, "not a workbook")


def rewrite(path, part, change):
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts[part] = change(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


def test_a_blank_workbook_holds_no_rows(tmp_path, read):
    from registry.intake import write_workbook

    write_workbook(tmp_path / "cases.xlsx")
    refused(read, tmp_path / "cases.xlsx", "holds no rows")


# --- sheets and columns ------------------------------------------------------------------

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


# --- cells -------------------------------------------------------------------------------

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


def put_cell(path, reference, xml):
    """Put a cell's XML into the patients' sheet in place of the one that is there."""
    def change(sheet):
        pattern = rb'<c r="%s"[^>]*?(/>|>.*?</c>)' % reference.encode()
        assert re.search(pattern, sheet)
        return re.sub(pattern, xml, sheet)

    rewrite(path, "xl/worksheets/sheet3.xml", change)


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


# --- rows --------------------------------------------------------------------------------

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


def test_limits_are_wide_enough_for_fifty_thousand_rows_of_two_hundred_columns():
    assert xlsx_facts.MAX_AREA >= 50_000 * 200 and csv_text.MAX_CELLS >= 50_000 * 200


def test_rules_that_rest_on_what_is_there_are_rules():
    from registry.intake import union
    from registry.rules import all_rules

    names = {rule.name for rule in all_rules() if rule.severity == "error"}
    assert set(union.RESTS_ON) | union.RESTS_ON_KEYS <= names
    fields = {name for table in TABLES.values() for name in table.columns}
    assert all(named <= fields for named in union.RESTS_ON.values())


def test_the_quick_look_and_the_full_scan_agree_on_what_is_plain(workbook_path, monkeypatch):
    from registry.intake.workbook_read import read_workbook

    quick = read_workbook(workbook_path)
    monkeypatch.setattr(xlsx_facts, "is_plain", lambda *_: False)
    full = read_workbook(workbook_path)
    assert quick == full
