"""A file into the registry: read, take in, hand back what stayed out.

The wiring the command line calls; it decides nothing about data itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from registry.intake.intake_summary import MOST_PROBLEMS, problem_lines, summary_lines
from registry.intake.kept_out import with_kept_out
from registry.intake.outputs import Beside
from registry.intake.sheet import Progress, silent
from registry.intake.source_reading import read_source
from registry.problems.printed_path import shorter_path
from registry.problems.problem import OutputError, Problem, SourceError, errors_of
from registry.schema import Patients
from registry.store.batch import Batch

if TYPE_CHECKING:
    from registry.store.intake_result import IntakeResult
    from registry.store.registry import Registry

DONE, DATA_HAVE_ERRORS, NOT_DONE = 0, 1, 2


@dataclass(frozen=True)
class Outcome:
    """How an intake went.

    `exit_code` is 0 (done, queries included), 1 (errors or clashes; patients without one were
    taken in) or 2 (nothing was written). `summary` are lines to print, problems among them.
    `returned` and `problem_list` are the files written beside the source, if any.
    """

    exit_code: int
    summary: str
    problems: tuple[Problem, ...] = ()
    batch: Batch | None = None
    result: IntakeResult | None = None
    returned: Path | None = None
    problem_list: Path | None = None


def take_in_form(
    path: str | Path, registry: Registry, *, by: str | None = None, replace: bool = False,
    dry_run: bool = False, progress: Progress | None = None,
) -> Outcome:
    """Take an entry workbook or a CSV folder into a registry.

    `by` is the code of who takes it in; `replace` lets values of another source be replaced;
    `dry_run` reads and checks everything and writes nothing at all. What stayed out and the
    list of problems are written beside the source, under names that are still free. Raises
    nothing for bad input: a fault of the file is an outcome with exit code 2.
    """
    from registry.store.store_error import RegistryError

    try:
        batch = read_source(path, existing=registry.tables(), progress=progress)
    except (SourceError, RegistryError) as fault:
        return _not_done(fault)
    return take_in_batch(
        batch, Path(path), registry, by=by, replace=replace, dry_run=dry_run,
        progress=progress or silent,
    )


def take_in_batch(
    batch: Batch, source: Path, registry: Registry, *, by: str | None, replace: bool,
    dry_run: bool, progress: Progress = silent,
) -> Outcome:
    """Take a batch that was read from `source` in; otherwise as `take_in_form`."""
    from registry.store.store_error import RegistryError

    beside = Beside(source)
    progress("taking in", 0, 1)
    try:
        registered = registry.tables()["patients"][Patients.patient_id]
        if not dry_run and (batch.held or batch.problems):
            beside.check_writable()
        result = registry.take_in(batch, by=by, replace=replace, dry_run=dry_run)
    except (OutputError, RegistryError) as fault:
        return _not_done(fault)
    problems = (*batch.problems, *result.clashes, *result.notices)
    if result.clashes:
        batch = with_kept_out(batch, result.kept_out, result.clashes)
    returned = problem_list = None
    notes: list[str] = []
    if not dry_run:
        try:
            returned, problem_list = beside.write(batch, problems)
        except OutputError as fault:
            notes.append(f"{fault} The rows that stayed out are kept in the registry.")
    progress("taking in", 1, 1)
    most = len(problems) if dry_run else MOST_PROBLEMS
    lines = summary_lines(batch, result, problems, registered) + problem_lines(problems, most)
    lines += [*_where(returned, problem_list, dry_run=dry_run), *notes]
    return Outcome(
        DATA_HAVE_ERRORS if errors_of(problems) else DONE, "\n".join(lines), problems, batch,
        result, returned, problem_list,
    )


def _not_done(fault: Exception) -> Outcome:
    return Outcome(NOT_DONE, f"{fault}\nNothing was written.")


def _where(returned: Path | None, problem_list: Path | None, *, dry_run: bool) -> list[str]:
    lines = []
    if returned:
        lines.append(f"To correct and take in again: {shorter_path(returned)}")
    if problem_list:
        lines.append(f"All problems: {shorter_path(problem_list)}")
    if dry_run:
        lines.append("Tried only: nothing was written.")
    return lines
