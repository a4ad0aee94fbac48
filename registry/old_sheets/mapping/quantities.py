"""Numbers of an old sheet: units converted, ranges taken only where a rule says which end."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from registry.intake.cell import Cell, Remark, fault
from registry.intake.cells import Habits, read_cell
from registry.old_sheets.mapping.parts import Quantity, quantity
from registry.old_sheets.mapping.units_written import convert, known_units
from registry.problems.cell_text import clean, plain_dashes
from registry.schema import FieldSpec

_RANGE = re.compile(
    r"(\d+(?:\.\d+)?)\s*(?:-|\bto\b)\s*(\d+(?:\.\d+)?)\s*([^\W\d].*)?", re.IGNORECASE)


def read_quantity(
    raw: Any, spec: FieldSpec, habits: Habits, *, unit: str | None = None, end: str | None = None
) -> Cell:
    """A cell of an int or number field, in the field's unit.

    `unit` is the column's own unit (the field's where None); a unit in the cell wins over it.
    `end` is "higher" or "lower": which end of a range such as 0-1 counts. A range without it is
    a fault.
    """
    if isinstance(raw, str):
        text = plain_dashes(clean(raw))
        if match := _RANGE.fullmatch(text):
            return _range(raw, match, spec, habits, unit, end)
        found = quantity(text)
        if found is not None and (found[1] or unit):
            return _converted(raw, [found], spec, habits, unit)
        return read_cell(raw, spec, habits)
    if unit is None or isinstance(raw, bool) or not isinstance(raw, int | float):
        return read_cell(raw, spec, habits)
    return _converted(raw, [(repr(raw), "")], spec, habits, unit)


def read_sum(
    raw: Any, found: Sequence[Quantity], spec: FieldSpec, habits: Habits, unit: str | None
) -> Cell:
    """Several quantities of one cell, each converted, added up.

    "1 L + 200" is a fault: nobody can say whether the second is in litres as well.
    """
    units = {own for _, own in found}
    if len(units) > 1 and "" in units:
        factors = {convert(Decimal(1), own or unit or spec.unit, spec.unit) for own in units}
        if len(factors) > 1:
            return fault("unknown-unit", raw, spec.wanted, "write every part with its unit")
    return _converted(raw, found, spec, habits, unit)


def _range(
    raw: str, match: re.Match[str], spec: FieldSpec, habits: Habits, unit: str | None,
    end: str | None,
) -> Cell:
    if end is None:
        return fault(
            "range-undecided", raw, spec.wanted,
            'write one value, or state range = "higher" or "lower" for this column in the mapping',
        )
    low, high = sorted((match[1], match[2]), key=Decimal)
    number = high if end == "higher" else low
    return _converted(raw, [(number, match[3] or "")], spec, habits, unit)


def _converted(
    raw: Any, found: Sequence[Quantity], spec: FieldSpec, habits: Habits, unit: str | None
) -> Cell:
    total = Decimal(0)
    remarks: tuple[Remark, ...] = ()
    plain = FieldSpec(spec.name, "number", spec.label, spec.definition)
    for number, own in found:
        cell = read_cell(number, plain, habits)
        if cell.faulty or cell.value is None:
            return fault("not-a-number", raw, spec.wanted, cell.remarks[0].mend if cell.remarks
                         else "write the number in figures")
        named = own or unit or spec.unit
        value = convert(Decimal(repr(cell.value)), named, spec.unit)
        if value is None:
            listed = ", ".join(known_units(spec.unit)) or "no unit"
            return fault("unknown-unit", raw, spec.wanted,
                         f"a unit that is known here ({listed}), or the number alone")
        total, remarks = total + value, (*remarks, *cell.remarks)
    done = read_cell(float(total), spec, habits)
    if done.faulty:
        first = done.remarks[0]
        return fault(first.rule, raw, spec.wanted, first.mend)
    return Cell(done.value, (*remarks, *done.remarks))
