"""The front door for files: an entry workbook, a CSV folder, or an old sheet with its mapping."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from registry.intake.sheet import Progress, silent
from registry.intake.take_in import Outcome, take_in_form

if TYPE_CHECKING:
    from registry.store.registry import Registry


def take_in_file(
    path: str | Path, registry: Registry, *, mapping: str | Path | None = None,
    by: str | None = None, replace: bool = False, dry_run: bool = False,
    progress: Progress | None = None,
) -> Outcome:
    """Take a workbook, a CSV folder, or an old spreadsheet with its `mapping` into a registry.

    As `take_in_form`; with a mapping the outcome is a `MappedOutcome`, which has the ledger of
    the sheet's cells. Raises nothing for bad input.
    """
    if mapping is None:
        return take_in_form(path, registry, by=by, replace=replace, dry_run=dry_run,
                            progress=progress)
    from registry.old_sheets.mapping.take_in_old import take_in_mapped

    return take_in_mapped(path, mapping, registry, by=by, replace=replace, dry_run=dry_run,
                          progress=progress or silent)
