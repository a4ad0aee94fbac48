"""A file that cannot be read as a whole gets a sentence: what was found, and what is wanted."""

from __future__ import annotations

import re
import zipfile

import pytest
from bad_sources import refused, rewrite

from registry.intake import csv_text, xlsx_facts, xlsx_parts


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


def test_a_blank_workbook_holds_no_rows(tmp_path, read):
    from registry.intake.workbook_write import write_workbook

    write_workbook(tmp_path / "cases.xlsx")
    refused(read, tmp_path / "cases.xlsx", "holds no rows")


def test_limits_are_wide_enough_for_fifty_thousand_rows_of_two_hundred_columns():
    assert xlsx_facts.MAX_AREA >= 50_000 * 200 and csv_text.MAX_CELLS >= 50_000 * 200


def test_the_quick_look_and_the_full_scan_agree_on_what_is_plain(workbook_path, monkeypatch):
    from registry.intake.workbook_read import read_workbook

    quick = read_workbook(workbook_path)
    monkeypatch.setattr(xlsx_facts, "is_plain", lambda *_: False)
    full = read_workbook(workbook_path)
    assert quick == full
