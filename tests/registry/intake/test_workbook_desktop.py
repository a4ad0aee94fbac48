"""The entry workbook opens and works in LibreOffice."""

from __future__ import annotations

import shutil
import subprocess

import openpyxl
import pandas as pd
import pytest

from registry.intake.workbook_write import write_workbook
from registry.schema import TABLES

pytestmark = pytest.mark.desktop


def convert(path, kind, folder):
    """Let LibreOffice open `path` and save it as `kind`; a missing program is a failure."""
    program = shutil.which("soffice") or shutil.which("libreoffice")
    assert program, "LibreOffice is not installed; this check needs it"
    subprocess.run(
        [program, "--headless", f"-env:UserInstallation=file://{folder}/profile",
         "--convert-to", kind, "--outdir", str(folder), str(path)],
        check=True, capture_output=True, timeout=240,
    )
    return folder / f"{path.stem}.{kind}"


def test_a_filled_workbook_saved_by_libreoffice_reads_the_same(workbook_path, tmp_path, read):
    saved = convert(workbook_path, "xlsx", tmp_path / "saved")
    before, after = read(workbook_path), read(saved)
    assert after.source_id == before.source_id == "W-TESTTEST22"
    assert not after.problems and not after.notes
    for name in TABLES:
        pd.testing.assert_frame_equal(before.tables[name], after.tables[name])


def test_lists_checks_and_notes_survive_libreoffice(tmp_path):
    path = tmp_path / "blank.xlsx"
    write_workbook(path)
    book = openpyxl.load_workbook(convert(path, "xlsx", tmp_path / "saved"))
    for table in TABLES.values():
        sheet = book[table.label]
        assert all(cell.comment and cell.comment.text for cell in sheet[1])
        kinds = {check.type for check in sheet.data_validations.dataValidation}
        asked = {"choice": "list", "int": "whole"}
        wanted = {asked[field.type] for field in table.fields if field.type in asked}
        assert wanted and wanted <= kinds, table.name


def test_it_can_be_printed(tmp_path):
    path = tmp_path / "blank.xlsx"
    write_workbook(path)
    printed = convert(path, "pdf", tmp_path / "printed")
    assert printed.read_bytes().startswith(b"%PDF") and printed.stat().st_size > 20_000


@pytest.mark.parametrize(("kind", "words"), [("xls", "old .xls form"), ("ods", "OpenDocument")])
def test_other_forms_that_libreoffice_writes_are_named(workbook_path, tmp_path, read, kind, words):
    from registry.problems.problem import SourceError

    with pytest.raises(SourceError, match=words):
        read(convert(workbook_path, kind, tmp_path / "saved"))
