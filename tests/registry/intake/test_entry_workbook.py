"""The blank entry workbook holds the whole schema: lists, checks, notes, dictionary.

Read back with openpyxl, which shares no code with the library that wrote it.
"""

from __future__ import annotations

import re

import openpyxl
import pandas as pd
import pytest

from registry.intake.columns_named import find_columns
from registry.intake.form_checks import LONGEST_MESSAGE
from registry.intake.names import loose
from registry.intake.sheet import Sheet
from registry.intake.workbook_read import read_workbook
from registry.intake.workbook_write import fill_workbook, write_workbook
from registry.problems.problem import OutputError
from registry.schema import TABLES


@pytest.fixture(scope="module")
def blank(tmp_path_factory):
    path = tmp_path_factory.mktemp("blank") / "blank.xlsx"
    code = write_workbook(path)
    return path, code, openpyxl.load_workbook(path)


def checks_of(sheet):
    """Column letters → the entry check of that column."""
    return {
        re.match("[A-Z]+", str(check.sqref))[0]: check
        for check in sheet.data_validations.dataValidation
    }


def fields_with_letters():
    for table in TABLES.values():
        for number, spec in enumerate(table.fields, start=1):
            yield table, spec, openpyxl.utils.get_column_letter(number)


def test_a_first_page_a_sheet_a_table_and_the_dictionary_last(blank):
    _, _, book = blank
    labels = [table.label for table in TABLES.values()]
    assert book.sheetnames == ["Read first", *labels, "Lists", "Dictionary"]
    assert book["Lists"].sheet_state == "hidden"


def test_the_first_page_says_the_essentials_in_half_a_page(blank):
    _, code, book = blank
    words = " ".join(str(c.value) for row in book["Read first"] for c in row if c.value)
    for wanted in ("not recorded", "hospital number", "star", "2024-03-09", "study code",
                   "instructions for use", code):
        assert wanted.casefold() in words.casefold()
    assert len(words.split()) < 330


def test_every_heading_has_label_unit_star_and_its_definition_as_a_note(blank):
    for table, spec, letters in fields_with_letters():
        cell = blank[2][table.label][f"{letters}1"]
        assert cell.value == spec.heading
        assert spec.required == cell.value.endswith("*")
        assert spec.required == bool(cell.font.bold)
        assert spec.definition in cell.comment.text and spec.wanted in cell.comment.text


def test_headings_and_keys_stay_in_view(blank):
    for table in TABLES.values():
        letters = openpyxl.utils.get_column_letter(len(table.key) + 1)
        assert blank[2][table.label].freeze_panes == f"{letters}2"


def test_every_choice_and_yes_no_has_a_list_of_exactly_its_values(blank):
    book = blank[2]
    for table, spec, letters in fields_with_letters():
        if spec.type not in {"choice", "yes/no"}:
            continue
        check = checks_of(book[table.label])[letters]
        sheet, cells = re.fullmatch(r"'?([^'!]+)'?!(.+)", check.formula1).groups()
        found = [row[0].value for row in book[sheet][cells.replace("$", "")]]
        assert check.type == "list"
        assert found == list(spec.values or ("yes", "no")), spec.name


def test_every_number_and_date_is_checked_and_the_message_says_the_range(blank):
    for table, spec, letters in fields_with_letters():
        check = checks_of(blank[2][table.label]).get(letters)
        if spec.type in {"int", "number"}:
            assert check.type == ("whole" if spec.type == "int" else "decimal")
            assert spec.wanted[1:] in check.error
            if spec.maximum is not None:
                assert float(check.formula2) == spec.maximum
        elif spec.type == "date":
            assert check.type == "date" and "2024-03-09" in check.error


def test_messages_fit_and_blanks_are_allowed_and_whole_columns_are_checked(blank):
    for table in TABLES.values():
        for check in blank[2][table.label].data_validations.dataValidation:
            assert check.allow_blank
            assert 0 < len(check.error) <= LONGEST_MESSAGE and len(check.errorTitle) <= 32
            assert str(check.sqref).endswith("1048576")


def test_the_dictionary_lists_every_field_once(blank):
    rows = list(blank[2]["Dictionary"].iter_rows(min_row=2, values_only=True))
    assert [(row[0], row[2]) for row in rows] == [
        (table.label, spec.name) for table, spec, _ in fields_with_letters()
    ]
    assert all(row[7] for row in rows)


def test_no_two_headings_of_a_table_read_alike():
    for table in TABLES.values():
        for kind in ("name", "label", "heading"):
            texts = [loose(getattr(spec, kind)) for spec in table.fields]
            assert len(set(texts)) == len(texts)


def test_labels_headings_and_field_names_are_all_understood_in_any_order_and_case():
    for table in TABLES.values():
        for kind in ("name", "label", "heading"):
            texts = [getattr(spec, kind) for spec in reversed(table.fields)]
            for change in (str, str.upper, lambda t: f"\u00a0{t.lower()}  "):
                sheet = Sheet(table.label, [[change(text) for text in texts]])
                found = find_columns(sheet, table).fields
                assert found == {
                    spec.name: number for number, spec in enumerate(reversed(table.fields))
                }


def test_each_blank_workbook_is_a_source_of_its_own_and_says_so(blank, tmp_path):
    path, code, _ = blank
    assert read_workbook(path)[2] == code
    assert write_workbook(tmp_path / "another.xlsx") != code


def test_the_code_is_found_on_the_first_page_when_the_properties_were_dropped(blank, tmp_path):
    path, code, _ = blank
    book = openpyxl.load_workbook(path)
    for name in list(book.custom_doc_props.names):
        del book.custom_doc_props[name]
    book.save(tmp_path / "copy.xlsx")
    assert read_workbook(tmp_path / "copy.xlsx")[2] == code


def test_a_workbook_that_is_there_is_never_written_over(blank):
    before = blank[0].read_bytes()
    with pytest.raises(OutputError, match="there already"):
        write_workbook(blank[0])
    assert blank[0].read_bytes() == before


def test_a_place_that_cannot_be_written_to_is_said(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        write_workbook(tmp_path / "nowhere" / "blank.xlsx")
    with pytest.raises(OutputError, match=r"\.xlsx"):
        write_workbook(tmp_path / "blank.xls")


def test_typed_tables_written_into_the_workbook_come_back_the_same(workbook_path, tables, read):
    batch = read(workbook_path)
    assert not batch.held and not batch.problems
    assert batch.source_id == "W-TESTTEST22" and batch.source_kind == "workbook"
    for name, spec in TABLES.items():
        wanted = tables.get(name, spec.empty())
        pd.testing.assert_frame_equal(batch.tables[name], wanted)


def test_the_same_rows_give_the_same_bytes(tmp_path, tables):
    for name in ("one.xlsx", "two.xlsx"):
        fill_workbook(tmp_path / name, tables, source_id="W-SAME")
    assert (tmp_path / "one.xlsx").read_bytes() == (tmp_path / "two.xlsx").read_bytes()


def test_text_that_looks_like_a_formula_stays_text(tmp_path, tables):
    tables["patients"].loc[0, "sex"] = "=1+1"
    fill_workbook(tmp_path / "cases.xlsx", tables)
    cell = openpyxl.load_workbook(tmp_path / "cases.xlsx")["Patients"]["D2"]
    assert cell.value == "=1+1" and cell.data_type == "s" and cell.quotePrefix
