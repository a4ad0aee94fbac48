"""Which column of a sheet is which field.

Headings may be the workbook's (label, unit, star) or the schema's field names, in any order.
What is wrong with the headings of a sheet is a fault of the file: no cell below them can be
trusted. A heading of an earlier version is taken for the field that it was renamed to, and said.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from typing import Any

from registry.intake.cell import is_blank
from registry.intake.names import loose, nearest, split_unit
from registry.intake.sheet import Sheet, column_letters, row_label
from registry.problems.cell_text import as_text, clean
from registry.problems.problem import SourceError
from registry.schema import FieldSpec, TableSpec
from registry.schema.migrations.numbered import former_names

# Written by ourselves beside the held rows; not data when the workbook comes back.
WHY_HEADING = "Why it stayed out"

ROWS_LOOKED_AT = 30


@dataclass(frozen=True)
class Columns:
    """Where the headings stand, and the column of each field.

    All zero-based. `unknown` are columns with a heading that is no field of the table, by
    their position; `absent` the fields without a column; `notes` are sentences for the summary.
    """

    heading_row: int
    fields: dict[str, int]
    unknown: dict[int, str]
    absent: tuple[str, ...]
    notes: tuple[str, ...] = ()


def find_columns(sheet: Sheet, table: TableSpec) -> Columns:
    """The columns of `sheet` read as `table`.

    Raises SourceError, with every such fault in a sentence of its own: no headings, a required
    column missing, a field twice, merged headings, a heading in another unit.
    """
    row = _heading_row(sheet, table)
    if row is None:
        raise SourceError(
            f"{sheet.name}: no row of headings was found. The first row must hold headings such "
            f'as "{table.fields[0].heading}" and "{table.fields[1].heading}"; a blank workbook '
            "shows them all."
        )
    names = _field_names(table)
    headings = {c: clean(as_text(raw)) for c, raw in enumerate(sheet.rows[row])
                if not is_blank(raw)}
    found, unknown, faults = _match(sheet, table, row, headings, names)
    absent = tuple(spec.name for spec in table.fields if spec.name not in found)
    faults += _merged(sheet, row) + _missing(sheet, table, row, absent, unknown)
    if faults:
        raise SourceError(*faults)
    return Columns(row, found, unknown, absent,
                   tuple(_former_notes(sheet, table, row, found, headings)))


def _field_names(table: TableSpec) -> dict[str, FieldSpec]:
    """Every loose spelling of a heading → its field; field names win over labels."""
    labels = {loose(spec.label): spec for spec in table.fields}
    headings = {loose(spec.heading): spec for spec in table.fields}
    now = labels | headings | {loose(spec.name): spec for spec in table.fields}
    return _former(table) | now


def _former(table: TableSpec) -> dict[str, FieldSpec]:
    """Every loose spelling of a heading of earlier versions → the field that it is now."""
    return {loose(one.heading): table.by_name[one.now] for one in former_names(table.name)
            if one.now in table.by_name}


def _former_notes(
    sheet: Sheet, table: TableSpec, row: int, found: dict[str, int], headings: dict[int, str],
) -> list[str]:
    """That a column bears the heading of an earlier version, and what it was taken for."""
    until = {loose(one.heading): one.until for one in former_names(table.name)}
    notes = []
    for name, column in found.items():
        spec, heading = table.by_name[name], headings[column]
        if {loose(heading), loose(split_unit(heading)[0])} & {
                loose(spec.name), loose(spec.label), loose(spec.heading)}:
            continue
        version = until.get(loose(heading)) or until.get(loose(split_unit(heading)[0]))
        notes.append(
            f'{sheet.name}, row {row_label(row)}, column {column_letters(column)}: the heading '
            f'"{heading}" is that of version {version}; it was taken as "{spec.heading}", as the '
            "field is called now.")
    return notes


def _heading_row(sheet: Sheet, table: TableSpec) -> int | None:
    """The first row most of whose cells are headings of this table."""
    names = _field_names(table)
    filled = _first_filled(sheet, 1 if sheet.heading_is_first else ROWS_LOOKED_AT)
    for number, cells in filled:
        texts = [as_text(raw) for raw in cells if not is_blank(raw)]
        known = sum(loose(t) in names or loose(split_unit(t)[0]) in names for t in texts)
        if known >= 2 and 2 * known >= len(texts) or known >= 5 or known == len(texts):
            return number
    return None


def _first_filled(sheet: Sheet, count: int) -> list[tuple[int, list[Any]]]:
    """The first `count` rows that are not blank, with their positions."""
    filled = (
        (number, cells) for number, cells in enumerate(sheet.rows)
        if any(not is_blank(raw) for raw in cells)
    )
    return list(islice(filled, count))


def _match(
    sheet: Sheet, table: TableSpec, row: int, headings: dict[int, str],
    names: dict[str, FieldSpec],
) -> tuple[dict[str, int], dict[int, str], list[str]]:
    found: dict[str, int] = {}
    unknown: dict[int, str] = {}
    faults: list[str] = []
    for column, heading in headings.items():
        label, unit = split_unit(heading)
        spec = names.get(loose(heading)) or names.get(loose(label))
        where = f"{sheet.name}, row {row_label(row)}, column {column_letters(column)}"
        if spec is None:
            if loose(heading) != loose(WHY_HEADING):
                unknown[column] = heading
        elif loose(heading) not in names and spec.unit and loose(unit) != loose(spec.unit):
            faults.append(
                f'{where}: found the heading "{heading}"; wanted: "{spec.heading}". Convert the '
                f"values to {spec.unit} and correct the heading."
            )
        elif spec.name in found:
            faults.append(
                f'{where}: found the heading "{heading}" a second time (first in column '
                f"{column_letters(found[spec.name])}); wanted: each column once. Delete or rename "
                "the one that is not meant."
            )
        else:
            found[spec.name] = column
    return found, unknown, faults


def _merged(sheet: Sheet, row: int) -> list[str]:
    """Merged headings: the columns under them have no heading of their own."""
    return [
        f"{sheet.name}, row {row_label(row)}: found the merged cells {block} among the headings; "
        "wanted: one heading a column, in one row. Undo the merging and give each column its own "
        "heading."
        for block in sheet.merged
        if block.first_row <= row <= block.last_row
    ]


def _missing(
    sheet: Sheet, table: TableSpec, row: int, absent: tuple[str, ...], unknown: dict[int, str]
) -> list[str]:
    faults = []
    for spec in (table.by_name[name] for name in absent if name in table.required):
        near = nearest(spec.label, unknown.values()) or nearest(spec.name, unknown.values())
        mend = (
            f'The column "{near}" looks like it: correct its heading.' if near
            else "Add the column and fill it in."
        )
        faults.append(
            f'{sheet.name}, row {row_label(row)}: the required column "{spec.label}" '
            f"({spec.name}) is missing. {mend}"
        )
    return faults
