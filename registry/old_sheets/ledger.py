"""The ledger of cells: nothing of an old spreadsheet is lost.

After an intake through a mapping, every cell that was not blank is in the registry, waits in the
holding tables with its patient, was left out by a line of the mapping, or is a problem. The
counts add up to the whole sheet.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from registry.intake.sheet import column_letters
from registry.old_sheets.fates import Fate
from registry.old_sheets.mapping.sheet_rows import SheetRows
from registry.schema import Patients
from registry.store.batch import Batch

Home = Literal["registry", "holding", "left out", "problem"]
HOMES: tuple[Home, ...] = ("registry", "holding", "left out", "problem")
_LEFT_OUT = (Fate.HEADING, Fate.ABOVE, Fate.LEFT_COLUMN, Fate.LEFT_ROW, Fate.BLANK_WORD,
             Fate.SHEET_BLANK_WORD, Fate.LEFT_OTHER)


@dataclass(frozen=True)
class LedgerCell:
    """One cell: its place (row as the spreadsheet counts, column letters), home, and why or where.

    `where` names the fields and the patient for a cell that was taken, the mapping's line for one
    left out, the reason for a problem. It never repeats what the cell holds.
    """

    row: int
    column: str
    home: Home
    where: str


@dataclass(frozen=True)
class LedgerColumn:
    """The counts of one column of the sheet."""

    column: str
    heading: str
    cells: int
    registry: int
    holding: int
    left_out: int
    problem: int
    goes_to: str


class Ledger:
    """Where the cells of one sheet are, once it was taken in (or tried)."""

    def __init__(self, rows: SheetRows, batch: Batch, kept_out: Collection[str] = ()) -> None:
        """`kept_out` are the study codes of patients that the registry did not take."""
        self._rows, self._codes = rows, rows.fates.codes
        taken = set(batch.tables["patients"][Patients.patient_id]) | _elsewhere(batch)
        taken -= set(kept_out) | set(batch.patients_held)
        self._in = np.array([code in taken for code in rows.patients], dtype=bool)

    @property
    def total(self) -> int:
        """How many cells of the sheet are not blank."""
        return int((self._codes != Fate.BLANK).sum())

    def counts(self) -> dict[Home, int]:
        """How many cells have which home; together they are the `total`."""
        inside = self._in[:, None] & (self._codes == Fate.TAKEN)
        return {
            "registry": int(inside.sum()),
            "holding": int((self._codes == Fate.TAKEN).sum() - inside.sum()),
            "left out": int(np.isin(self._codes, _LEFT_OUT).sum()),
            "problem": int((self._codes == Fate.PROBLEM).sum()),
        }

    @property
    def adds_up(self) -> bool:
        """Whether every cell that is not blank has a home."""
        return sum(self.counts().values()) == self.total

    def columns(self) -> list[LedgerColumn]:
        """The counts column by column, for columns with a cell."""
        found = []
        for column in range(self._codes.shape[1]):
            codes = self._codes[:, column]
            cells = int((codes != Fate.BLANK).sum())
            if cells:
                taken = codes == Fate.TAKEN
                found.append(LedgerColumn(
                    column_letters(column), self._rows.bound.headings.get(column, ""), cells,
                    int((taken & self._in).sum()), int((taken & ~self._in).sum()),
                    int(np.isin(codes, _LEFT_OUT).sum()), int((codes == Fate.PROBLEM).sum()),
                    self._goes_to(column),
                ))
        return found

    def cells(self) -> Iterator[LedgerCell]:
        """Every cell that is not blank, row by row."""
        for row, column in np.argwhere(self._codes != Fate.BLANK).tolist():
            home, where = self._home(row, column)
            yield LedgerCell(row + 1, column_letters(column), home, where)

    def lines(self) -> list[str]:
        """The counts in lines to print: the whole sheet, and what was left out by which line."""
        counts = self.counts()
        sheet = self._rows.bound.sheet.name
        lines = [f"Cells of {sheet} that are not blank: {self.total}."]
        words = {"registry": "in the registry", "holding": "kept whole in holding, with a patient "
                 "who waits", "left out": "left out by the mapping",
                 "problem": "problems, each listed"}
        lines += [f"{counts[home]:>12} {words[home]}" for home in HOMES]
        lines.append(
            f"{sum(counts.values()):>12} together: every cell is accounted for." if self.adds_up
            else f"{sum(counts.values()):>12} together, which is NOT the whole sheet."
        )
        return lines + self._left_out_lines()

    def column_lines(self) -> list[str]:
        """The counts column by column, in lines to print."""
        lines = [f"{'column':8}{'cells':>7}{'registry':>10}{'holding':>9}{'left out':>10}"
                 f"{'problem':>9}  heading → where to"]
        return lines + [
            f"{c.column:8}{c.cells:>7}{c.registry:>10}{c.holding:>9}{c.left_out:>10}"
            f"{c.problem:>9}  {c.heading} → {c.goes_to}" for c in self.columns()
        ]

    def _home(self, row: int, column: int) -> tuple[Home, str]:
        fate = Fate(self._codes[row, column])
        if fate == Fate.TAKEN:
            patient = self._rows.patients[row]
            goes = f"{self._goes_to(column)}, {patient or 'no study code'}"
            return ("registry", goes) if self._in[row] else ("holding", goes)
        if fate == Fate.PROBLEM:
            return "problem", self._rows.fates.reasons.get((row, column), "")
        if fate in _LEFT_OUT:
            return "left out", self._line_words(*self._line(fate, row, column))
        return "problem", "without a home"

    def _goes_to(self, column: int) -> str:
        bound = self._rows.bound
        if column == bound.code_column:
            return "patients.patient_id (as a study code)"
        plan = bound.columns.get(column)
        if plan is None or not plan.targets:
            return f"left out: {plan.leave_out}" if plan and plan.leave_out else "left out"
        numbers = ", ".join(f"{name} {value}" for name, value in plan.numbers)
        return ", ".join(map(str, plan.targets)) + (f" ({numbers})" if numbers else "")

    def _line(self, fate: Fate, row: int, column: int) -> tuple[int, str]:
        """The mapping's line that leaves a cell out, and in a few words why."""
        bound = self._rows.bound
        lines = bound.mapping.lines
        if fate in (Fate.HEADING, Fate.ABOVE):
            why = "a heading" if fate == Fate.HEADING else "above the headings"
            return lines.get(("sheet", "headings_in_row"), 0), why
        if fate == Fate.LEFT_ROW:
            line = bound.left_rows[row]
            because = next(w.because for w in bound.mapping.leave_out_rows if w.line == line)
            return line, f"row left out: {because}"
        if fate == Fate.SHEET_BLANK_WORD:
            return lines.get(("sheet", "blank"), 0), "counts as blank"
        if fate == Fate.LEFT_OTHER:
            return (lines.get(("sheet", "other_columns"), 0),
                    f"other columns: {bound.mapping.other_columns}")
        plan = bound.columns[column]
        why = "counts as blank" if fate == Fate.BLANK_WORD else f"column left out: {plan.leave_out}"
        return plan.line, why

    @staticmethod
    def _line_words(line: int, why: str) -> str:
        return f"line {line} of the mapping: {why}" if line else why

    def _left_out_lines(self) -> list[str]:
        counted: dict[tuple[int, str], int] = {}
        for fate in _LEFT_OUT:
            places = np.argwhere(self._codes == fate)
            whole_column = fate in (Fate.LEFT_COLUMN, Fate.BLANK_WORD)
            key, numbers = np.unique(places[:, 1 if whole_column else 0], return_counts=True)
            for at, number in zip(key.tolist(), numbers.tolist(), strict=True):
                line = self._line(fate, 0 if whole_column else at, at if whole_column else 0)
                counted[line] = counted.get(line, 0) + number
        return [f"{count:>12} left out by {self._line_words(*line)}"
                for line, count in sorted(counted.items())]


def _elsewhere(batch: Batch) -> set[str]:
    """Patients of whom the sheet has rows without a row of patients (it is registered already)."""
    return {
        str(code) for name, frame in batch.tables.items() if Patients.patient_id in frame
        for code in frame[Patients.patient_id].unique()
    }
