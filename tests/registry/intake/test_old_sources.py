"""Old spreadsheets in every form: .xlsx, .xls, .ods, and text in the usual encodings.

The files in old_files were written by openpyxl (.xlsx) and LibreOffice (.xls, .ods), one of each
in either of the spreadsheet's date systems (days from 1900 or from 1904).
"""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import pytest

from registry.intake.cell import is_blank
from registry.intake.sheet import Block
from registry.old_sheets.sources.open_old import open_old
from registry.problems.cell_text import ErrorValue, NoResult
from registry.problems.problem import SourceError

FILES = Path(__file__).parent / "old_files"
FORMS = [f"from_{system}.{form}" for system in (1900, 1904) for form in ("xlsx", "xls", "ods")]


def day(raw) -> dt.date:
    return raw.date() if isinstance(raw, dt.datetime) else raw


def check_cells(path: Path) -> None:
    sheet = open_old(path, "Old").sheet
    assert all(is_blank(raw) for row in sheet.rows[:2] for raw in row)
    assert [raw for raw in sheet.rows[2] if not is_blank(raw)] == [
        "Code", "Date", "Share", "Sum", "Word"]
    assert sheet.rows[3][1] == "N-0001" and sheet.rows[3][3] == 2.5
    assert sheet.rows[3][5] == "één µ"
    assert day(sheet.rows[3][2]) == dt.date(2015, 3, 4)
    assert sheet.rows[4][2] == dt.datetime(2016, 3, 4, 10, 30)
    assert sheet.rows[4][3] == "50%" and sheet.rows[5][3] == "0-1"
    assert isinstance(sheet.rows[3][4], ErrorValue | NoResult)
    assert sheet.rows[8][2] == "end"


@pytest.mark.parametrize("name", FORMS)
def test_every_form_gives_the_same_cells_in_the_same_rows(name: str) -> None:
    check_cells(FILES / name)


@pytest.mark.parametrize("name", FORMS)
def test_hidden_merged_and_coloured_cells_are_taken_and_said(name: str) -> None:
    source = open_old(FILES / name, "Old")
    assert source.sheet.merged == (Block(3, 1, 5, 1),)
    assert source.colours == {3: 1}
    said = " ".join(source.notes)
    assert "hidden row" in said and "hidden columns were read like the others (D)" in said
    assert "1 cell is coloured" in said and '"Other"' in said


def test_several_sheets_ask_which_one_is_meant() -> None:
    with pytest.raises(SourceError, match='several sheets \\("Old", "Other"\\)'):
        open_old(FILES / "from_1900.xlsx")
    with pytest.raises(SourceError, match='no sheet "New"; it has "Old", "Other"'):
        open_old(FILES / "from_1900.ods", "New")
    assert open_old(FILES / "from_1900.xls", largest=True).sheet.name == "Old"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_text_in_any_usual_encoding_and_separator(
    tmp_path: Path, encoding: str, mark: str
) -> None:
    path = tmp_path / "old.csv"
    text = mark.join(["Größe", "Datum", "Bemerkung"]) + "\r\n"
    text += mark.join(["2.5", "03/04/2015", f'"a{mark} b\nµ"']) + "\r\n"
    path.write_bytes(text.encode(encoding))
    sheet = open_old(path).sheet
    assert sheet.rows == [["Größe", "Datum", "Bemerkung"], ["2.5", "03/04/2015", f"a{mark} b\nµ"]]
    assert sheet.name == "old.csv"


@pytest.mark.parametrize(("name", "content", "said"), [
    ("no.xlsx", None, "There is no file"),
    ("empty.csv", b"", "is empty"),
    ("blank.csv", b",,\n,,\n", "holds no cells"),
    ("picture.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "not a text file"),
    ("cut.xls", bytes.fromhex("D0CF11E0A1B11AE1") + b"\0" * 600, "damaged"),
    ("open.csv", b'a,b\n"1,2\n', "quotation mark"),
])
def test_a_file_that_is_no_spreadsheet_ends_in_a_sentence(
    tmp_path: Path, name: str, content: bytes | None, said: str
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SourceError, match=said):
        open_old(path)


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("cut", [0.3, 0.7, 0.95])
def test_a_file_cut_short_ends_in_a_sentence(tmp_path: Path, name: str, cut: float) -> None:
    content = (FILES / name).read_bytes()
    path = tmp_path / name
    path.write_bytes(content[: int(len(content) * cut)])
    try:
        open_old(path, "Old")
    except SourceError as fault:
        assert len(str(fault)) > 20


@pytest.mark.desktop
@pytest.mark.parametrize("form", ["xls", "ods"])
def test_what_libreoffice_writes_today_is_read_the_same(tmp_path: Path, form: str) -> None:
    shutil.copy(FILES / "from_1904.xlsx", tmp_path / "now.xlsx")
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless",
         "--convert-to", form, "--outdir", str(tmp_path), str(tmp_path / "now.xlsx")],
        check=True, capture_output=True, timeout=180,
    )
    check_cells(tmp_path / f"now.{form}")
