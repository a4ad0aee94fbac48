"""The cells of a mapped sheet → groups of rows, with every fault and every cell's fate."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from registry.intake.cell import Remark
from registry.intake.cell_numbers import writes_decimal_comma
from registry.intake.cells import Habits
from registry.intake.sheet import Progress
from registry.old_sheets.fates import Fate, fates_of
from registry.old_sheets.mapping.bind import Bound
from registry.old_sheets.mapping.cell_reader import CellReader, Given, Reading, says_nothing
from registry.old_sheets.mapping.entry import Faults, loose_word
from registry.old_sheets.mapping.feeds import feeds_of
from registry.old_sheets.mapping.groups import Identity, identity_of
from registry.old_sheets.mapping.paired_columns import check_side_by_side
from registry.old_sheets.mapping.sheet_rows import CellFault, SheetRows
from registry.old_sheets.mapping.stated_dates import DateRule
from registry.old_sheets.mapping.statements import ColumnPlan, MappingError, Target
from registry.privacy.study_codes import StudyCodes
from registry.problems.cell_text import ErrorValue, NoResult, as_text
from registry.schema import Patients


def read_rows(
    bound: Bound, habits: Habits, codes: StudyCodes | None, watch: Progress
) -> SheetRows:
    """Read every mapped cell. Raises MappingError where two columns feed one field of a row."""
    rows = SheetRows(bound, fates_of(bound.sheet))
    size = len(bound.sheet.rows)
    rows.patients = [None] * size
    rows.key_values = {name: [None] * size for name in rows.key_columns}
    rows.filled_down = _fill_down(bound)
    _check_slots(rows)
    _settle_fixed(rows)
    live = [r for r in range(bound.first_row, size) if r not in bound.left_rows]
    if codes is not None and bound.code_column is not None:
        _read_codes(rows, bound.code_column, live, codes)
    mapped = {c: p for c, p in bound.columns.items() if p.targets}
    for done, (column, plan) in enumerate(mapped.items()):
        watch("reading the columns", done, len(mapped))
        _read_column(rows, column, plan, live, habits)
    watch("reading the columns", len(mapped), len(mapped))
    check_side_by_side(rows)
    return rows


def _fill_down(bound: Bound) -> dict[tuple[int, int], Any]:
    """Row and column → the content of the merged cell it belongs to (not its first row)."""
    found: dict[tuple[int, int], Any] = {}
    if not bound.mapping.merged_each_row:
        return found
    for block in bound.sheet.merged:
        if block.last_row > block.first_row >= bound.first_row:
            raw = bound.sheet.cell(block.first_row, block.first_column)
            for row in range(block.first_row + 1, min(block.last_row + 1, len(bound.sheet.rows))):
                if says_nothing(bound.sheet.cell(row, block.first_column)):
                    found[row, block.first_column] = raw
    return found


def _check_slots(rows: SheetRows) -> None:
    """Numbers stated in different places may mean the same row: then a field would be fed twice."""
    seen: dict[tuple[Identity, str], ColumnPlan] = {}
    faults = Faults(rows.bound.mapping.name)
    for plan in rows.bound.columns.values():
        for target in feeds_of(plan):
            slot = (rows.identity(target, plan), target.field)
            if slot in seen and seen[slot] is not plan:
                faults.add(plan.line, f'[[column]] "{plan.heading}": {target} of the same row is '
                           f'fed by "{seen[slot].heading}" as well', "each field from one column")
            seen.setdefault(slot, plan)
    if faults.sentences:
        raise MappingError(*faults.sentences)


def _settle_fixed(rows: SheetRows) -> None:
    """The fate of cells that no reading decides: headings, left-out columns and rows."""
    bound, codes = rows.bound, rows.fates.codes
    waiting = codes == Fate.NOT_YET
    headings = [r - 1 for r in bound.mapping.heading_rows]
    above = [r for r in range(min(bound.first_row, len(codes))) if r not in headings]
    left = np.array(sorted(bound.left_rows), dtype=int)
    for chosen, fate in ((headings, Fate.HEADING), (above, Fate.ABOVE), (left, Fate.LEFT_ROW)):
        chosen = [r for r in chosen if r < len(codes)]
        codes[chosen] = np.where(waiting[chosen], fate, codes[chosen])
    body = np.zeros(len(codes), dtype=bool)
    body[bound.first_row:] = True
    body[list(bound.left_rows)] = False
    for column, plan in bound.columns.items():
        if plan.leave_out is not None and column < codes.shape[1]:
            codes[body & waiting[:, column], column] = Fate.LEFT_COLUMN
    for column in bound.unnamed:
        if column < codes.shape[1]:
            codes[body & waiting[:, column], column] = Fate.LEFT_OTHER


def _read_codes(rows: SheetRows, column: int, live: list[int], codes: StudyCodes) -> None:
    known: dict[tuple[type, Any], str] = {}
    for row in live:
        raw = rows.cell(row, column)
        if says_nothing(raw):
            continue
        if loose_word(raw) in rows.bound.mapping.blank:
            rows.fates.codes[row, column] = Fate.SHEET_BLANK_WORD
            continue
        if isinstance(raw, NoResult | ErrorValue) or not re.search(r"[1-9]", as_text(raw)):
            _no_number(rows, row, column)
            continue
        key = (type(raw), raw)
        if key not in known:
            known[key] = codes.code(raw)
        rows.patients[row] = known[key]
        if (row, column) not in rows.filled_down:
            rows.fates.taken(row, column)


def _no_number(rows: SheetRows, row: int, column: int) -> None:
    """A cell of the service's own numbers without one; its content may be a name."""
    target = Target("patients", Patients.patient_id)
    identity = identity_of(target, (), 0, rows.bound.mapping.numbers, rows.key_columns)
    remark = Remark(
        "error", "no-number", "content without a figure (not repeated here)",
        "the service's own number of the patient",
        "give the number, or leave the row out in the mapping",
    )
    rows.group(identity).put(Patients.patient_id, row, None, column, 0)
    rows.faults.append(CellFault(identity, row, Patients.patient_id, column, remark))
    rows.fates.problem(row, column, remark.found)


def _read_column(
    rows: SheetRows, column: int, plan: ColumnPlan, live: list[int], habits: Habits
) -> None:
    mapping = rows.bound.mapping
    raws = [(row, raw) for row in live if not says_nothing(raw := rows.cell(row, column))]
    if any(writes_decimal_comma(raw) for _, raw in raws):
        habits = Habits(habits.today, habits.blanks, comma_decimals=True)
    years = plan.short_years_from
    rule = DateRule(plan.dates or mapping.dates,
                    mapping.short_years_from if years is None else years, plan.part_dates)
    rows.readers[column] = CellReader(plan, habits, mapping.blank, rule)
    identities: dict[tuple[Target, int], Identity] = {}
    for row, _ in raws:
        reading = rows.reading(row, column)
        for given in reading.given:
            where = (given.target, given.part)
            if where not in identities:
                identities[where] = rows.identity(given.target, plan, given.part)
            _take(rows, identities[where], row, column, given)
        if (row, column) not in rows.filled_down:
            _settle(rows, row, column, reading)


def _take(rows: SheetRows, identity: Identity, row: int, column: int, given: Given) -> None:
    name, cell = given.target.field, given.cell
    if name == Patients.patient_id:
        rows.patients[row] = cell.value
    elif name in rows.key_values and given.target.spec.key:
        rows.key_values[name][row] = cell.value
    rows.group(identity).put(name, row, cell.value, column, given.part)
    rows.faults += [CellFault(identity, row, name, column, remark) for remark in cell.remarks]


def _settle(rows: SheetRows, row: int, column: int, reading: Reading) -> None:
    """The fate of a cell that was read."""
    if reading.faulty:
        fault = next(r for g in reading.given for r in g.cell.remarks if r.severity == "error")
        rows.fates.problem(row, column, fault.rule)
    elif reading.blank_by == "sheet":
        rows.fates.codes[row, column] = Fate.SHEET_BLANK_WORD
    elif reading.blank_by == "column" or not reading.given:
        rows.fates.codes[row, column] = Fate.BLANK_WORD
    else:
        rows.fates.taken(row, column)
