"""What is said once of a whole column: headings nobody knows, formulas."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from registry.intake.cell import is_blank
from registry.intake.convert import Converted, RowProblem
from registry.intake.names import nearest
from registry.intake.sheet import column_letters, row_label
from registry.intake.workbook_pages import LIST_HEADINGS
from registry.privacy.headings import identifying_heading
from registry.problems.problem import Place, Problem


def asides(converted: Converted) -> list[RowProblem]:
    """Queries on whole columns of a sheet, in the order of its columns."""
    return [
        RowProblem(None, problem)
        for problem in (*_unknown_columns(converted), *_formulas(converted))
    ]


def _unknown_columns(converted: Converted) -> Iterator[Problem]:
    """Columns that were not read. Their content is never repeated: it may name people."""
    columns, sheet = converted.columns, converted.sheet
    place = Place(sheet.name, row_label(columns.heading_row))
    filled = _filled_cells(converted)
    labels = [converted.table.by_name[name].label for name in columns.absent]
    for column in sorted(set(columns.unknown) | set(filled)):
        heading = columns.unknown.get(column, "")
        if heading in LIST_HEADINGS and converted.table.offered:
            continue
        named = f'headed "{heading}"' if heading else "without a heading"
        near = nearest(heading, [*labels, *columns.absent]) if heading else None
        kind = identifying_heading(heading)
        mend = (
            f"it looks like {kind}, which is never taken in: delete the column from the file"
            if kind else
            f'if "{near}" is meant, correct the heading' if near
            else "nothing, if it is a note of your own; data belong in columns of the workbook"
        )
        yield Problem(
            "query", "unknown-column", converted.table.name, None, None, place,
            f"column {column_letters(column)} {named}, which is not a column of this table; its "
            f"{filled[column]} filled cells were not read",
            "only headings of this table", mend,
        )


def _filled_cells(converted: Converted) -> Counter[int]:
    """Column → how many cells below the headings hold something, for columns not read."""
    columns, sheet = converted.columns, converted.sheet
    heading = sheet.rows[columns.heading_row]
    ours = {c for c in range(len(heading)) if not is_blank(heading[c])} - set(columns.unknown)
    filled: Counter[int] = Counter()
    for number in range(columns.heading_row + 1, len(sheet.rows)):
        if number not in sheet.too_long:
            filled.update(
                c for c, raw in enumerate(sheet.rows[number]) if c not in ours and not is_blank(raw)
            )
    return filled


def _formulas(converted: Converted) -> Iterator[Problem]:
    """Columns with formulas: their stored results were taken.

    A query and not an error, because the stored result is what the person saw on the screen;
    but it may be out of date if another program wrote the file.
    """
    rows_of = {position: row for row, position in enumerate(converted.positions)}
    by_column: dict[int, list[int]] = {}
    for position, column in sorted(converted.sheet.formulas):
        if position in rows_of:
            by_column.setdefault(column, []).append(rows_of[position])
    for name, column in converted.columns.fields.items():
        rows = by_column.get(column)
        if rows:
            yield Problem(
                "query", "formula", converted.table.name, name, None, converted.place(rows[0]),
                f"a formula in {'1 cell' if len(rows) == 1 else f'{len(rows)} cells'}, first in "
                "this row",
                "values", "the results stored in the file were taken; paste the cells back as "
                "values so that they cannot change",
            )
