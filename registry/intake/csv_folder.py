"""A folder of CSV files, one a table, → sheets."""

from __future__ import annotations

import hashlib
from pathlib import Path

from registry.intake.csv_text import read_csv_text
from registry.intake.names import table_of
from registry.intake.sheet import Progress, Sheet, silent
from registry.problems.problem import SourceError
from registry.schema import TABLES

# R and pandas write a missing value as NA or nan; no list or code of the schema has them.
CSV_BLANKS = frozenset({"NA", "NaN", "nan", "<NA>"})


def csv_files(folder: Path) -> tuple[dict[str, Path], list[str]]:
    """Table name → its CSV file, and the names of CSV files of no table.

    Raises SourceError where two files hold one table.
    """
    found: dict[str, Path] = {}
    others: list[str] = []
    for path in sorted(folder.iterdir()):
        if not path.is_file() or path.suffix.lower() not in {".csv", ".tsv"}:
            continue
        table = table_of(path.stem)
        if table is None:
            others.append(path.name)
        elif table in found:
            raise SourceError(
                f"Two files hold the table {table}: {found[table].name} and {path.name}. Keep one."
            )
        else:
            found[table] = path
    return found, others


def read_csv_folder(
    files: dict[str, Path], *, progress: Progress = silent
) -> dict[str, Sheet]:
    """The files' sheets by table name; an empty file counts as absent.

    Raises SourceError, with all such faults at once, where a file cannot be read as CSV.
    """
    sheets: dict[str, Sheet] = {}
    faults: list[str] = []
    for done, (table, path) in enumerate(files.items()):
        progress("reading the files", done, len(files))
        try:
            sheet = _sheet(table, path)
        except SourceError as fault:
            faults += fault.sentences
            continue
        if any(any(cell.strip() for cell in row) for row in sheet.rows):
            sheets[table] = sheet
    if faults:
        raise SourceError(*faults)
    progress("reading the files", len(files), len(files))
    return sheets


def folder_sha256(files: dict[str, Path]) -> str:
    """One hash of the files' names and contents, the same wherever the folder lies."""
    total = hashlib.sha256()
    for table in sorted(files):
        with files[table].open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
        total.update(f"{table}.csv {digest}\n".encode())
    return total.hexdigest()


def _sheet(table: str, path: Path) -> Sheet:
    text = read_csv_text(path, TABLES[table])
    headings = next((len(row) for row in text.rows if any(cell.strip() for cell in row)), 0)
    too_long = frozenset(
        number for number, row in enumerate(text.rows)
        if any(cell.strip() for cell in row[headings:])
    )
    return Sheet(
        path.name, text.rows, too_long=too_long, blanks=CSV_BLANKS, notes=text.notes,
        heading_is_first=True,
    )
