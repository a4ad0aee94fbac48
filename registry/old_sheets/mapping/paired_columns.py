"""Two columns whose cells give rows of the same table: as many arteries as volumes, or a problem.

The first volume goes to the first artery and so on; where their numbers differ, nobody can say
which belongs to which.
"""

from __future__ import annotations

from itertools import combinations

from registry.intake.cell import Remark, shown
from registry.old_sheets.mapping.cell_reader import says_nothing
from registry.old_sheets.mapping.sheet_rows import CellFault, SheetRows
from registry.old_sheets.mapping.statements import ColumnPlan


def check_side_by_side(rows: SheetRows) -> None:
    """Add a fault for every row in which two such columns give different numbers of rows."""
    makers = [(column, plan) for column, plan in rows.bound.columns.items()
              if plan.targets and plan.makes_rows]
    for (first, one), (second, other) in combinations(makers, 2):
        if _parent(rows, one) == _parent(rows, other):
            _compare(rows, first, second, other)


def _parent(rows: SheetRows, plan: ColumnPlan) -> tuple[object, ...]:
    identity = rows.identity(plan.targets[0], plan)
    return (identity.table, identity.tokens[:-1], identity.beside)


def _compare(rows: SheetRows, first: int, second: int, plan: ColumnPlan) -> None:
    target = plan.targets[0]
    for row in range(rows.bound.first_row, len(rows.bound.sheet.rows)):
        one, other = _count(rows, row, first), _count(rows, row, second)
        if one and other and one != other:
            heading = rows.bound.headings.get(first, "")
            remark = Remark(
                "error", "numbers-differ",
                f'{shown(rows.cell(row, second))}, which is {other}, beside {one} under '
                f'"{heading}"',
                "as many in both cells", "correct one of the two cells",
            )
            identity = rows.identity(target, plan)
            rows.faults.append(CellFault(identity, row, target.field, second, remark))
            rows.fates.problem(row, second, remark.rule)


def _count(rows: SheetRows, row: int, column: int) -> int:
    """How many rows a cell gives; 0 where it is blank, left out, or faulty as a whole."""
    if row in rows.bound.left_rows or says_nothing(rows.cell(row, column)):
        return 0
    reading = rows.reading(row, column)
    whole = len(reading.given) == 1 and reading.faulty
    return 0 if whole else 1 + max((given.part for given in reading.given), default=-1)
