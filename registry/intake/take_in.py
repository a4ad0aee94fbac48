"""A file into the registry: read, take in, hand back what stayed out.

The wiring the command line calls; it decides nothing about data itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from registry.intake.batch import Batch
from registry.intake.kept_out import with_kept_out
from registry.intake.outputs import Beside
from registry.intake.problems import OutputError, Problem, SourceError, errors_of
from registry.intake.reading import read_source
from registry.intake.sheet import Progress
from registry.intake.summary import summary_lines

if TYPE_CHECKING:
    from registry.store import IntakeResult, Registry

DONE, DATA_HAVE_ERRORS, NOT_DONE = 0, 1, 2


@dataclass(frozen=True)
class Outcome:
    """How an intake went.

    `exit_code` is 0 (done, queries included), 1 (errors or clashes; patients without one were
    taken in) or 2 (nothing was written). `summary` are lines to print. `returned` and
    `problem_list` are the files written beside the source, if any.
    """

    exit_code: int
    summary: str
    problems: tuple[Problem, ...] = ()
    batch: Batch | None = None
    result: IntakeResult | None = None
    returned: Path | None = None
    problem_list: Path | None = None


def take_in_file(
    path: str | Path, registry: Registry, *, by: str | None = None, replace: bool = False,
    dry_run: bool = False, progress: Progress | None = None,
) -> Outcome:
    """Take a workbook or CSV folder into an open registry.

    `by` is the code of who takes it in; `replace` lets values of another source be replaced;
    `dry_run` reads and checks everything and writes nothing at all. What stayed out and the
    list of problems are written beside the source, under names that are still free. Raises
    nothing for bad input: a fault of the file is an outcome with exit code 2.
    """
    from registry.store import RegistryError

    source = Path(path)
    try:
        existing = registry.tables()
        batch = read_source(source, existing=existing, progress=progress)
        beside = Beside(source)
        if not dry_run and (batch.held or batch.problems):
            beside.check_writable()
        result = registry.take_in(batch, by=by, replace=replace, dry_run=dry_run)
    except (SourceError, OutputError, RegistryError) as fault:
        return Outcome(NOT_DONE, f"{fault}\nNothing was written.")
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
    lines = summary_lines(batch, result, problems, existing["patients"]["patient_id"])
    lines += [*_where(returned, problem_list, dry_run=dry_run), *notes]
    return Outcome(
        DATA_HAVE_ERRORS if errors_of(problems) else DONE, "\n".join(lines), problems, batch,
        result, returned, problem_list,
    )


def _where(returned: Path | None, problem_list: Path | None, *, dry_run: bool) -> list[str]:
    lines = []
    if returned:
        lines.append(f"To correct and take in again: {returned}")
    if problem_list:
        lines.append(f"All problems: {problem_list}")
    if dry_run:
        lines.append("Tried only: nothing was written.")
    return lines
