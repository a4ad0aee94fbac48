"""What a notebook opens: a freeze, or an old spreadsheet; the demo's own is made where missing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from analyses.commands.demo import make_demo, wanted_demo

if TYPE_CHECKING:
    from analyses.commands.old_sheet_look import OldSheetLook
    from registry.freeze.freeze_reading import Freeze


def open_freeze(path: str | Path, *, patients: int = 120, seed: int = 1) -> Freeze:
    """Read a freeze for a notebook; the demo's own is made first where it is not there yet.

    Only a path like `nidusbook-demo/freeze-research` (or `freeze-quality`) is made, with
    `patients` fictional patients: a path that was mistyped must not turn into invented numbers.
    Raises FreezeError where there is no freeze at the path, or it was changed.
    """
    from registry import read_freeze

    frozen = Path(path)
    if wanted_demo(frozen):
        make_demo(frozen.parent, patients=patients, seed=seed, progress=lambda *words: None)
    return read_freeze(frozen)


def open_old_sheet(sheet: str | Path, mapping: str | Path = "") -> OldSheetLook:
    """Look at an old spreadsheet in a notebook, with its mapping if there is one yet.

    Nothing is taken in. The demo's own sheet (`nidusbook-demo/old-sheet.xlsx`) is made first
    where it is not there yet.
    """
    from analyses.commands.old_sheet_look import look_at

    return look_at(Path(sheet), Path(mapping) if mapping else None)
