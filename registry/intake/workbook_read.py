"""An .xlsx workbook → its sheets, with every row where the spreadsheet counts it.

python-calamine gives the values (both date systems, rich text, shared text); the scan of the
sheets' own XML adds what it leaves out.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

from registry.intake.cell import is_blank
from registry.intake.names import table_of
from registry.intake.sheet import Block, Progress, Sheet, column_letters, silent
from registry.intake.workbook_pages import CODE_LABEL, FIRST_PAGE
from registry.intake.xlsx_facts import Facts, scan
from registry.intake.xlsx_parts import (
    UNREADABLE,
    SheetPart,
    check_workbook_file,
    damaged,
    open_parts,
    percent_styles,
    sheet_parts,
    source_code,
)
from registry.problems.cell_text import ErrorValue, NoResult, as_text, clean
from registry.problems.problem import SourceError


def read_workbook(
    path: Path, *, progress: Progress = silent
) -> tuple[dict[str, Sheet], list[str], str | None]:
    """The sheets of our tables by table name, the names of other sheets, the workbook's code.

    Raises SourceError where the file is no workbook, is protected, damaged or too large, or
    holds two sheets for one table.
    """
    check_workbook_file(path)
    with open_parts(path) as archive:
        parts = sheet_parts(archive)
        ours, others = _sort_out(parts)
        percent = percent_styles(archive)
        facts = {}
        for done, (table, part) in enumerate(ours.items()):
            progress("reading the workbook", done, len(ours))
            facts[table] = scan(archive, part.part, part.name, percent)
        code = source_code(archive)
    first_page = FIRST_PAGE if FIRST_PAGE in others else None
    sheets, shown_code = _values(path, ours, facts, first_page)
    progress("reading the workbook", len(ours), len(ours))
    return sheets, others, code or shown_code


def _sort_out(parts: list[SheetPart]) -> tuple[dict[str, SheetPart], list[str]]:
    ours: dict[str, SheetPart] = {}
    others: list[str] = []
    for part in parts:
        table = table_of(part.name)
        if table is None:
            others.append(part.name)
        elif table in ours:
            raise SourceError(
                f'Two sheets hold the table {table}: "{ours[table].name}" and "{part.name}". Put '
                "their rows on one sheet, or give the one that is not meant another name."
            )
        else:
            ours[table] = part
    return ours, others


def _values(
    path: Path, ours: dict[str, SheetPart], facts: dict[str, Facts], first_page: str | None
) -> tuple[dict[str, Sheet], str | None]:
    """The sheets' values, and the code the first page shows.

    Whatever a damaged inside makes the reader raise becomes one sentence.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        with CalamineWorkbook.from_path(path) as workbook:
            sheets = {
                table: sheet_of(part, workbook.get_sheet_by_name(part.name), facts[table])
                for table, part in ours.items()
            }
            page = workbook.get_sheet_by_name(first_page).to_python() if first_page else []
            return sheets, _shown_code(page)
    except (CalamineError, *UNREADABLE) as fault:
        raise SourceError(damaged(path)) from fault
    except BaseException as fault:
        # The reader is compiled code; where it gives up altogether it raises this kind.
        if type(fault).__name__ == "PanicException":
            raise SourceError(damaged(path)) from fault
        raise


def _shown_code(page: list[list[Any]]) -> str | None:
    """The code as the first page shows it: some programs drop a file's properties on saving."""
    for cells in page[:100]:
        words = [clean(as_text(cell)) for cell in cells if not is_blank(cell)]
        if words[:1] == [CODE_LABEL] and len(words) > 1:
            return words[1]
    return None


def sheet_of(part: SheetPart, sheet: Any, facts: Facts) -> Sheet:
    """A sheet's values from the fast reader, completed by the facts of the scan."""
    rows = [list(row) for row in sheet.to_python(skip_empty_area=False)]
    for row, column in facts.no_result:
        _put(rows, row, column, NoResult())
    for (row, column), text in facts.errors.items():
        _put(rows, row, column, ErrorValue(text))
    for row, column in facts.percents:
        _put(rows, row, column, percent_text(rows[row][column]))
    merged = tuple(Block(*first, *last) for first, last in sheet.merged_cell_ranges or [])
    return Sheet(
        part.name, rows, frozenset(facts.formulas - facts.no_result), merged,
        notes=tuple(_notes(part, rows, facts)),
    )


def _put(rows: list[list[Any]], row: int, column: int, value: Any) -> None:
    while len(rows) <= row:
        rows.append([])
    rows[row].extend([None] * (column + 1 - len(rows[row])))
    rows[row][column] = value


def percent_text(value: Any) -> Any:
    """A number shown as per cent, as the text a person sees; anything else as it is."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    return f"{(Decimal(repr(value)) * 100).normalize():f}%"


def _notes(part: SheetPart, rows: list[list[Any]], facts: Facts) -> list[str]:
    """Hidden parts are taken in like all others, and said."""
    notes = []
    if part.hidden:
        notes.append(f"{part.name}: the sheet is hidden; it was taken in all the same.")
    hidden = sorted(row for row in facts.hidden_rows if row < len(rows) and any(rows[row]))
    if hidden:
        notes.append(
            f"{part.name}: {len(hidden)} hidden rows were taken in like the others (the first is "
            f"row {hidden[0] + 1})."
        )
    columns = sorted(c for c in facts.hidden_columns if c <= facts.last_column)
    if columns:
        letters = ", ".join(column_letters(c) for c in columns[:10])
        notes.append(f"{part.name}: hidden columns were read like the others ({letters}).")
    return notes
