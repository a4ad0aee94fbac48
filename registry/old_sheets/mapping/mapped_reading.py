"""An old spreadsheet with its mapping → a batch, and what became of every cell."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from registry.intake.cells import Habits
from registry.intake.convert import RowProblem
from registry.intake.kept_whole import sort_out
from registry.intake.sheet import Progress, silent
from registry.intake.union import rule_problems
from registry.old_sheets.mapping.assemble import Assembler
from registry.old_sheets.mapping.bind import bind
from registry.old_sheets.mapping.mapped_rows import read_rows
from registry.old_sheets.mapping.read_statements import read_mapping
from registry.old_sheets.mapping.sheet_rows import SheetRows
from registry.old_sheets.mapping.statements import Mapping as Plan
from registry.old_sheets.mapping.statements import MappingError
from registry.old_sheets.mapping.typed import Assembled, typed_table
from registry.old_sheets.sources.old_source import OldSource
from registry.old_sheets.sources.open_old import open_old
from registry.privacy.key_file import KeyFileError
from registry.privacy.study_codes import StudyCodes
from registry.problems.problem import Place, Problem, SourceError
from registry.schema import TABLES
from registry.store.batch import Batch


@dataclass(frozen=True)
class MappedBatch:
    """A batch read through a mapping, the cells it came from, and the service's study codes.

    `codes` is None where the sheet has study codes of its own; its table is to be saved before
    the batch is taken in.
    """

    batch: Batch
    rows: SheetRows
    codes: StudyCodes | None


def read_mapped(
    path: str | Path, mapping_path: str | Path, *,
    existing: Mapping[str, pd.DataFrame] | None = None, today: dt.date | None = None,
    trial: bool = False, progress: Progress | None = None,
) -> MappedBatch:
    """Read an old spreadsheet through its mapping and check everything in it.

    `existing` are the tables already registered (typed); with `trial`, no key file is made.
    Raises MappingError or SourceError, with every fault at once, where nothing can be read;
    cells and rows never raise.
    """
    watch = progress or silent
    plan = read_mapping(mapping_path)
    _refuse_draft(plan)
    source = open_old(path, plan.sheet, progress=watch)
    bound = bind(plan, source.sheet)
    codes = _codes(plan, Path(mapping_path), trial=trial)
    habits = Habits(today or dt.date.today())
    try:
        rows = read_rows(bound, habits, codes, watch)
    except KeyFileError as fault:
        raise SourceError(str(fault)) from fault
    watch("checking the rows", 0, 1)
    known = existing or {}
    converted = {
        name: typed_table(TABLES[name], found, rows, habits, known.get(name))
        for name, found in Assembler(rows).tables().items()
    }
    batch = _batch(source, rows, converted, known)
    watch("checking the rows", 1, 1)
    notes = [f"Read through the mapping {plan.name}."]
    if codes is not None and codes.temporary:
        notes.append(
            "There is no key file yet: the study codes of this trial are made up and will not be "
            "those of the intake."
        )
    batch.notes[:0] = notes
    return MappedBatch(batch, rows, codes)


def _refuse_draft(plan: Plan) -> None:
    sentences = []
    if plan.open_columns:
        lines = ", ".join(str(c.line) for c in plan.columns if c.open)
        sentences.append(
            f"{plan.name}: {plan.open_columns} columns are still open (lines {lines}): give each a "
            "field or leave it out, and delete its line open = true."
        )
    if plan.draft:
        sentences.append(
            f"{plan.name} is a draft, and a draft takes nothing in: read it through, correct it, "
            "and delete its line draft = true."
        )
    if sentences:
        raise MappingError(*sentences)


def _codes(plan: Plan, mapping_path: Path, *, trial: bool) -> StudyCodes | None:
    if plan.study_codes is None:
        return None
    place = mapping_path.resolve().parent / plan.study_codes.key_file
    try:
        return StudyCodes(place, plan.study_codes.prefix, trial=trial)
    except KeyFileError as fault:
        raise SourceError(str(fault)) from fault


def _batch(
    source: OldSource, rows: SheetRows, converted: dict[str, Assembled],
    existing: Mapping[str, pd.DataFrame],
) -> Batch:
    problems = [item for table in converted.values() for item in table.problems]
    problems += [*rule_problems(converted, existing), *_asides(rows)]
    order = {name: number for number, name in enumerate(TABLES)}
    problems.sort(key=lambda item: (
        order.get(item.problem.table, -1), -1 if item.row is None else item.row))
    parted = sort_out(converted, problems)
    return Batch(
        source.id, source.kind, source.name, source.sha256, parted.tables, parted.places,
        [item.problem for item in problems], parted.held,
        absent_columns={n: list(t.columns.absent) for n, t in converted.items()},
        absent_tables=[name for name in TABLES if name not in converted],
        rows_read={n: len(converted[n].frame) if n in converted else 0 for n in TABLES},
        notes=source.notes,
    )


def _asides(rows: SheetRows) -> Iterator[RowProblem]:
    """What is asked once of the whole sheet: formulas, merged cells."""
    bound = rows.bound
    body = sorted(cell for cell in bound.sheet.formulas
                  if cell[0] >= bound.first_row and cell[1] in bound.columns
                  and bound.columns[cell[1]].targets)
    if body:
        yield _query(rows, "formula", body[0][0], f"formulas in {len(body)} cells",
                     "values", "the results stored in the file were taken; paste the cells back "
                     "as values so that they cannot change")
    if bound.mapping.merged_each_row is None:
        for block in bound.sheet.merged:
            plan = bound.columns.get(block.first_column)
            named = (plan and plan.targets) or block.first_column == bound.code_column
            if block.first_row >= bound.first_row and block.last_row > block.first_row and named:
                yield _query(rows, "merged-cells", block.first_row, f"the merged cells {block}",
                             "one cell a row", "they counted for their first row only; state "
                             'merged_cells = "each row" or "first row" under [sheet]')


def _query(
    rows: SheetRows, rule: str, row: int, found: str, wanted: str, mend: str
) -> RowProblem:
    place = Place(rows.bound.sheet.name, row + 1)
    return RowProblem(None, Problem("query", rule, "", None, None, place, found, wanted, mend))
