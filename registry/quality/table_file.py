"""A table of text as a new file: .xlsx or .csv, never over a file that is there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path

import pandas as pd

from registry.problems.sentence_error import SentenceError

Writer = Callable[[Path], None]


class TableFileError(SentenceError, ValueError):
    """The file cannot be written where it was asked for."""


def write_new(path: Path, writers: Mapping[str, Writer]) -> None:
    """Write a file by the writer of its name's ending.

    Raises TableFileError, with nothing written, for another ending, a file that is there
    already, or a folder that is not.
    """
    write = writers.get(path.suffix.lower())
    if write is None:
        *first, last = writers
        raise TableFileError(
            f"The name {path.name} does not end in {', '.join(first)} or {last}; give one that "
            "does.")
    if path.exists():
        raise TableFileError(f"{path} is there already; give another name, or move it away.")
    if not path.parent.is_dir():
        raise TableFileError(f"The folder {path.parent} does not exist; make it first.")
    write(path)


def as_xlsx(sheets: Mapping[str, pd.DataFrame]) -> Writer:
    """How to write tables of text (no blanks), a sheet each; the same rows, the same bytes."""
    def write(path: Path) -> None:
        from xlsxwriter import Workbook

        with Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False}) as book:
            book.set_properties({"created": dt.datetime(2024, 1, 1)})
            bold = book.add_format({"bold": True})
            for sheet, frame in sheets.items():
                page = book.add_worksheet(sheet)
                page.freeze_panes(1, 2)
                page.write_row(0, 0, [name.capitalize() for name in frame.columns], bold)
                for number, row in enumerate(frame.to_numpy().tolist(), start=1):
                    for at, cell in enumerate(row):
                        page.write_string(number, at, cell)

    return write


def as_csv(frame: pd.DataFrame) -> Writer:
    """How to write a table of text with commas, a heading row and line ends \\n."""
    return as_text(frame.to_csv(index=False, lineterminator="\n"))


def as_text(text: str) -> Writer:
    """How to write a text in UTF-8."""
    def write(path: Path) -> None:
        path.write_text(text, encoding="utf-8", newline="\n")

    return write
