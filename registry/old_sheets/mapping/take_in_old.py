"""An old spreadsheet through its mapping into a registry, with the ledger of its cells."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING

from registry.intake.sheet import Progress
from registry.intake.take_in import NOT_DONE, Outcome, take_in_batch
from registry.old_sheets.ledger import Ledger
from registry.old_sheets.mapping.mapped_reading import read_mapped
from registry.privacy.key_file import KeyFileError
from registry.problems.problem import SourceError

if TYPE_CHECKING:
    from registry.store.registry import Registry


@dataclass(frozen=True)
class MappedOutcome(Outcome):
    """How the intake of an old spreadsheet went; `ledger` says where each of its cells is."""

    ledger: Ledger | None = None


def take_in_mapped(
    path: str | Path, mapping: str | Path, registry: Registry, *, by: str | None = None,
    replace: bool = False, dry_run: bool = False, progress: Progress,
) -> MappedOutcome:
    """Take an old spreadsheet in through its mapping.

    As `take_in_form`; the outcome's lines end with the ledger, and its `ledger` says of every
    cell where it is. With `dry_run` nothing is written, no key file either, and the ledger is
    printed column by column. Raises nothing for bad input.
    """
    from registry.store.store_error import RegistryError

    try:
        read = read_mapped(path, mapping, existing=registry.tables(), trial=dry_run,
                           progress=progress)
        if read.codes is not None:
            # Before the rows: a code without rows does no harm, rows without a code would.
            read.codes.save()
    except (SourceError, KeyFileError, RegistryError) as fault:
        return MappedOutcome(NOT_DONE, f"{fault}\nNothing was written.")
    outcome = take_in_batch(read.batch, Path(path), registry, by=by, replace=replace,
                            dry_run=dry_run, progress=progress)
    given = {field.name: getattr(outcome, field.name) for field in fields(outcome)}
    if outcome.result is None or outcome.batch is None:
        return MappedOutcome(**given)
    ledger = Ledger(read.rows, outcome.batch, outcome.result.kept_out)
    lines = ledger.lines() + (ledger.column_lines() if dry_run else [])
    given["summary"] = "\n".join([outcome.summary, *lines])
    return MappedOutcome(**given, ledger=ledger)
