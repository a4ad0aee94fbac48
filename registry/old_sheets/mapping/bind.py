"""A mapping put onto a sheet: which column is which, and what is wrong between the two."""

from __future__ import annotations

from dataclasses import dataclass

from registry.intake.names import loose, nearest
from registry.intake.sheet import Sheet, column_letters
from registry.old_sheets.mapping.cell_reader import says_nothing
from registry.old_sheets.mapping.entry import Faults, loose_word
from registry.old_sheets.mapping.statements import (
    ColumnPlan,
    DateOrder,
    Mapping,
    MappingError,
    RowsWhere,
)
from registry.problems.cell_text import as_text, clean

JOIN = " / "


@dataclass(frozen=True)
class Bound:
    """A mapping on its sheet. Columns are zero-based positions, rows zero-based numbers.

    `left_rows` maps rows that the mapping leaves out to the statement's line; `orders` the rows
    with a date order of their own; `row_by_default` is the line that leaves out other columns.
    """

    mapping: Mapping
    sheet: Sheet
    headings: dict[int, str]
    first_row: int
    columns: dict[int, ColumnPlan]
    code_column: int | None
    left_rows: dict[int, int]
    orders: dict[int, DateOrder]
    unnamed: tuple[int, ...]


def headings_of(sheet: Sheet, rows: tuple[int, ...]) -> dict[int, str]:
    """Column → heading, word for word; headings in several rows are joined with " / ".

    `rows` are zero-based. A merged heading counts for each of its columns.
    """
    pieces: dict[int, list[str]] = {}
    for row in rows:
        if row >= len(sheet.rows):
            continue
        cells = list(sheet.rows[row])
        for block in sheet.merged:
            if block.first_row <= row <= block.last_row:
                top = sheet.cell(block.first_row, block.first_column)
                cells += [None] * (block.last_column + 1 - len(cells))
                for column in range(block.first_column, block.last_column + 1):
                    cells[column] = top
        for column, raw in enumerate(cells):
            text = clean(as_text(raw))
            if text and pieces.get(column, [None])[-1:] != [text]:
                pieces.setdefault(column, []).append(text)
    return {column: JOIN.join(words) for column, words in sorted(pieces.items())}


def bind(mapping: Mapping, sheet: Sheet) -> Bound:
    """Find every column of the mapping on the sheet. Raises MappingError with all faults."""
    faults = Faults(mapping.name)
    heading_rows = tuple(row - 1 for row in mapping.heading_rows)
    headings = headings_of(sheet, heading_rows)
    if not headings:
        faults.add(mapping.lines.get(("sheet", "headings_in_row"), 0),
                   f"{sheet.name} has no headings in row "
                   f"{', '.join(map(str, mapping.heading_rows))}", "the row of the headings")
        raise MappingError(*faults.sentences)
    finder = _Finder(headings, faults)
    columns: dict[int, ColumnPlan] = {}
    for plan in mapping.columns:
        at = finder.find(plan.heading, plan.column, plan.line, "[[column]]")
        if at in columns:
            faults.add(plan.line, f'[[column]] "{plan.heading}": column {column_letters(at)} '
                       f"stands in line {columns[at].line} as well", "each column once")
        elif at is not None:
            columns[at] = plan
    codes = mapping.study_codes
    code_column = finder.find(codes.heading, codes.column, codes.line, "[study_codes]") \
        if codes else None
    if code_column is not None and code_column in columns:
        faults.add(columns[code_column].line, f'[[column]] "{columns[code_column].heading}": the '
                   "study codes are made from this column", "no [[column]] for it")
    first_row = heading_rows[-1] + 1
    left = _rows(mapping.leave_out_rows, sheet, first_row, finder, "[[leave_out_rows]]")
    dated = _rows(mapping.dates_in_rows, sheet, first_row, finder, "[[dates_in_rows]]")
    unnamed = _unnamed(sheet, first_row, headings, {*columns, code_column})
    if mapping.other_columns is None:
        _complain(unnamed, headings, faults)
    if faults.sentences:
        raise MappingError(*faults.sentences)
    return Bound(
        mapping, sheet, headings, first_row, dict(sorted(columns.items())), code_column,
        {row: where.line for row, where in left.items()},
        {row: where.order for row, where in dated.items() if where.order}, unnamed,
    )


class _Finder:
    """Finds columns by heading, and by letters where headings repeat."""

    def __init__(self, headings: dict[int, str], faults: Faults) -> None:
        self.headings, self.faults = headings, faults
        self.by_heading: dict[str, list[int]] = {}
        for column, heading in headings.items():
            self.by_heading.setdefault(clean(heading), []).append(column)

    def find(self, heading: str, letters: str | None, line: int, what: str) -> int | None:
        """The column's position; None, with the fault noted, where it cannot be told."""
        wanted, named = clean(heading), f'{what} "{heading}"'
        if letters is not None:
            at = _position(letters)
            if clean(self.headings.get(at, "")) != wanted:
                there = self.headings.get(at)
                self.faults.add(line, f"{named}: column {letters} is headed "
                                + (f'"{there}"' if there else "by nothing"),
                                "the heading and the letters of one column")
                return None
            return at
        found = self.by_heading.get(wanted, [])
        if len(found) == 1:
            return found[0]
        if found:
            listed = ", ".join(column_letters(column) for column in found)
            self.faults.add(line, f"{named}: {len(found)} columns have this heading ({listed})",
                            f'column = "{column_letters(found[0])}", or whichever is meant')
        else:
            near = nearest(wanted, self.headings.values()) if loose(wanted) else None
            self.faults.add(line, f"{named}: the sheet has no such heading",
                            f'"{near}", if that is meant' if near
                            else "a heading of the sheet, word for word")
        return None


def _position(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1


def _rows(
    statements: tuple[RowsWhere, ...], sheet: Sheet, first: int, finder: _Finder, what: str
) -> dict[int, RowsWhere]:
    """Row → the first statement that means it."""
    found: dict[int, RowsWhere] = {}
    for where in statements:
        if where.heading is not None:
            at = finder.find(where.heading, where.column, where.line, what)
            if at is None:
                continue
            rows = [r for r in range(first, len(sheet.rows))
                    if loose_word(sheet.cell(r, at)) in where.values]
        else:
            rows = [r for low, high in where.ranges
                    for r in range(max(low - 1, first), min(high, len(sheet.rows)))]
        for row in rows:
            found.setdefault(row, where)
    return found


def _unnamed(
    sheet: Sheet, first_row: int, headings: dict[int, str], named: set[int | None]
) -> tuple[int, ...]:
    """Columns with a heading or with cells that the mapping does not name."""
    filled = set(headings)
    for row in range(first_row, len(sheet.rows)):
        cells = sheet.rows[row]
        filled.update(c for c, raw in enumerate(cells) if c not in filled
                      and raw is not None and not says_nothing(raw))
    return tuple(sorted(filled - named))


def _complain(unnamed: tuple[int, ...], headings: dict[int, str], faults: Faults) -> None:
    for column in unnamed:
        heading = headings.get(column)
        named = f'"{heading}"' if heading else "without a heading"
        faults.add(0, f"column {column_letters(column)} {named} is not named",
                   f'[[column]] with heading = "{heading or ""}" and field or leave_out'
                   + ("" if heading else f', and column = "{column_letters(column)}"')
                   + "; or other_columns under [sheet]")
