"""Three tidy patients as an entry workbook and as CSV files, to be spoiled a cell at a time."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from intake_samples import TODAY, tidy_tables

from registry.intake.source_reading import read_source
from registry.intake.workbook_write import fill_workbook
from registry.schema import TABLES
from registry.store.batch import Batch


@pytest.fixture
def tables() -> dict[str, pd.DataFrame]:
    return tidy_tables()


@pytest.fixture(scope="session")
def tidy_workbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Written once; tests spoil copies of it."""
    path = tmp_path_factory.mktemp("tidy") / "cases.xlsx"
    fill_workbook(path, tidy_tables(), source_id="W-TESTTEST22")
    return path


@pytest.fixture
def workbook_path(tmp_path: Path, tidy_workbook: Path) -> Path:
    """The tidy patients in an entry workbook whose code is W-TESTTEST22."""
    return Path(shutil.copy(tidy_workbook, tmp_path / "cases.xlsx"))


@pytest.fixture
def csv_path(tmp_path: Path, tables: dict[str, pd.DataFrame]) -> Path:
    """The tidy patients as a folder of CSV files, written by pandas."""
    folder = tmp_path / "cases-csv"
    folder.mkdir()
    for name, frame in tables.items():
        frame.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    return folder


@pytest.fixture
def spoil(workbook_path: Path) -> Callable[..., Path]:
    """Put values into cells: spoil({("Patients", "C3"): "abc"}) and give the path."""

    def put(cells: dict[tuple[str, str], Any]) -> Path:
        book = openpyxl.load_workbook(workbook_path)
        for (sheet, cell), value in cells.items():
            book[sheet][cell] = value
        book.save(workbook_path)
        return workbook_path

    return put


@pytest.fixture
def column() -> Callable[[str, str], str]:
    """The spreadsheet's letters of a field in the entry workbook."""

    def letters(table: str, field: str) -> str:
        return openpyxl.utils.get_column_letter(TABLES[table].columns.index(field) + 1)

    return letters


@pytest.fixture
def read() -> Callable[..., Batch]:
    """Read a source on a fixed day."""
    return lambda path, **more: read_source(path, today=TODAY, **more)
