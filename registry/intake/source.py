"""What a path holds: an entry workbook or a folder of CSV files; and which source it is.

Two files are the same source when they carry the same workbook code. A source without a code
(a CSV folder, a workbook made elsewhere) is known by where it lies: the same place read again
is a newer state of the same source, another place is another source. That errs on the safe
side: a moved copy shows as a clash, which is listed, and never overwrites in silence.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from registry.intake.csv_folder import csv_files, folder_sha256, read_csv_folder
from registry.intake.sheet import Progress, Source, silent
from registry.intake.workbook_pages import OUR_PAGES
from registry.intake.workbook_read import read_workbook
from registry.problems.cell_text import as_text, clean
from registry.problems.problem import SourceError
from registry.schema import REQUIRED_TABLES, TABLES


def open_source(path: Path, *, progress: Progress = silent) -> Source:
    """The sheets of a workbook or CSV folder. Raises SourceError where it is neither."""
    if not path.exists():
        raise SourceError(f"There is no file or folder {path.name} at that place.")
    try:
        source = _folder(path, progress) if path.is_dir() else _file(path, progress)
    except PermissionError:
        raise SourceError(f"{path.name} may not be read with this account.") from None
    return source


def _folder(path: Path, progress: Progress) -> Source:
    files, others = csv_files(path)
    if not files:
        raise SourceError(
            f"The folder {path.name} holds no CSV file of a table; at least patients.csv, "
            "lesions.csv and sessions.csv are wanted."
        )
    sheets = read_csv_folder(files, progress=progress)
    return Source(_place_id("folder", path), "csv folder", path.name, folder_sha256(files),
                  sheets, unread_sheets=tuple(others))


def _file(path: Path, progress: Progress) -> Source:
    if path.suffix.lower() in {".csv", ".tsv", ".txt"}:
        raise SourceError(
            f"{path.name} is a single text file. Put patients.csv, lesions.csv, sessions.csv and "
            "the other tables into one folder, and give the folder."
        )
    sheets, others, code = read_workbook(path, progress=progress)
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    unread = tuple(name for name in others if clean(as_text(name)) not in OUR_PAGES)
    return Source(code or _place_id("workbook", path), "workbook", path.name, digest, sheets,
                  unread_sheets=unread)


def _place_id(kind: str, path: Path) -> str:
    place = hashlib.sha256(str(path.resolve()).encode()).hexdigest()
    return f"{kind}-{place[:16]}"


def check_tables(source: Source) -> None:
    """Refuse a source without a required table: a registry without patients begins with those.

    The other tables may be absent. Raises SourceError.
    """
    missing = [table for table in REQUIRED_TABLES if table not in source.sheets]
    if not missing:
        return
    what = "file" if source.kind == "csv folder" else "sheet"
    names = [f"{t}.csv" if what == "file" else f'"{TABLES[t].label}"' for t in missing]
    there = ", ".join(
        [sheet.name for sheet in source.sheets.values()] + list(source.unread_sheets)
    ) or "none"
    raise SourceError(
        f"{source.name}: the required {what}{'s' if len(missing) > 1 else ''} "
        f"{' and '.join(names)} {'are' if len(missing) > 1 else 'is'} missing or empty. Found: "
        f"{there}. Name the {what}s as in a blank workbook, and take all tables in together."
    )
