"""What an intake did, in lines a person reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from registry.problems.problem import Problem, errors_of, queries_of
from registry.schema import TABLES, Patients
from registry.store.batch import Batch

if TYPE_CHECKING:
    from registry.store.intake_result import IntakeResult

MOST_CODES = 12
MOST_PROBLEMS = 30


def summary_lines(
    batch: Batch, result: IntakeResult, problems: Sequence[Problem], registered: Collection[str],
) -> list[str]:
    """The outcome table by table, then what stayed out and what was absent.

    `problems` are the source's and the registry's; `registered` the study codes that were in
    the registry before.
    """
    return [
        f"{batch.source_name} ({batch.source_kind}, source {batch.source_id})",
        *_counts(batch, result),
        *_nothing_new(result),
        *_held(batch, set(registered)),
        *_weights(problems, result),
        *_removed(result),
        *_absent(batch),
        *batch.notes,
    ]


def problem_lines(problems: Sequence[Problem], most: int) -> list[str]:
    """The first `most` problems as sentences, what must be mended first; then how many more."""
    lines: list[str] = []
    left = most
    for heading, group in (("To be mended:", errors_of(problems)),
                           ("To be checked:", queries_of(problems))):
        shown = group[:left]
        left -= len(shown)
        if shown:
            lines += [heading, *(f"  {problem.sentence()}" for problem in shown)]
    if len(problems) > most:
        lines.append(f"  and {len(problems) - most} more")
    return lines


def _counts(batch: Batch, result: IntakeResult) -> list[str]:
    held = {name: sum(row.table == name for row in batch.held) for name in TABLES}
    width = max(len(table.label) for table in TABLES.values()) + 1
    lines = [f"{'':{width}}{'rows':>8}{'new':>8}{'revised':>9}{'the same':>10}{'kept out':>10}"]
    for name, table in TABLES.items():
        if batch.rows_read.get(name):
            lines.append(
                f"{table.label:{width}}{batch.rows_read[name]:>8}{result.added.get(name, 0):>8}"
                f"{result.revised.get(name, 0):>9}{result.unchanged.get(name, 0):>10}"
                f"{held[name]:>10}"
            )
    return lines


def _nothing_new(result: IntakeResult) -> list[str]:
    """That the registry holds all of it already: whoever takes a file in twice wants to know."""
    if result.changed_anything:
        return []
    return [f"Nothing {'would change' if result.dry_run else 'changed'} in the registry: of what "
            "could be taken in, it holds every value already."]


def _held(batch: Batch, registered: set[str]) -> list[str]:
    lines = []
    codes = batch.patients_held
    if codes:
        named = ", ".join(codes[:MOST_CODES])
        more = f" and {len(codes) - MOST_CODES} more" if len(codes) > MOST_CODES else ""
        lines.append(f"Patients kept out whole until mended: {len(codes)} ({named}{more}).")
        if before := len(registered & set(codes)):
            lines.append(
                f"{before} of them {'is' if before == 1 else 'are'} in the registry from an "
                "earlier intake and stay there as they were."
            )
    alone = [
        row
        for row in batch.held
        if not row.patient_id and Patients.patient_id in _fields(row.table)
    ]
    if alone:
        tables = ", ".join(
            f"{TABLES[name].label} {count}" for name in TABLES
            if (count := sum(row.table == name for row in alone))
        )
        lines.append(
            f"Rows without a study code that can be read: {len(alone)} ({tables}). They belong to "
            "nobody until mended; a patient they are meant for may be in the registry without them."
        )
    return lines


def _fields(table: str) -> tuple[str, ...]:
    return TABLES[table].columns


def _weights(problems: Sequence[Problem], result: IntakeResult) -> list[str]:
    lines = [f"Problems to be mended: {len(errors_of(problems))}; to be checked: "
             f"{len(queries_of(problems))}."]
    if result.clashes:
        lines.append(
            f"{len(result.clashes)} of those to be mended only show beside what the registry "
            "holds, such as a value that differs from another source's."
        )
    return lines


def _removed(result: IntakeResult) -> list[str]:
    """How many rows of which patients a replace removes, and why."""
    count = sum(result.removed.values())
    if not count:
        return []
    rows = Counter(
        (str(change.key[Patients.patient_id]), TABLES[change.table].label)
        for change in result.changes
        if change.field == Patients.patient_id and change.after is None
    )
    by_patient: dict[str, list[str]] = {}
    for (patient, label), number in rows.items():
        by_patient.setdefault(patient, []).append(f"{label} {number}")
    named = [f"{patient}: {', '.join(tables)}" for patient, tables in sorted(by_patient.items())]
    more = f"; and {len(named) - MOST_CODES} more patients" if len(named) > MOST_CODES else ""
    done = "would be removed" if result.dry_run else "removed"
    return [
        f"Rows {done}, because this source gave them before and has them no more (--replace): "
        f"{count} ({'; '.join(named[:MOST_CODES])}{more}). The audit trail keeps them."
    ]


def _absent(batch: Batch) -> list[str]:
    lines = [
        f"{TABLES[name].label}: columns not in the source, none of them required: "
        f"{', '.join(columns)}."
        for name, columns in batch.absent_columns.items() if columns
    ]
    if batch.absent_tables:
        labels = ", ".join(TABLES[name].label for name in batch.absent_tables)
        lines.append(f"Tables not in the source: {labels}.")
    return lines
