"""The notebooks as tests want them: read, pointed at a freeze, executed."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import nbformat
from small_cohort import small_tables

from analyses.commands.opening import open_freeze
from registry import open_registry
from registry.freeze.freeze_writing import make_freeze
from registry.intake.workbook_write import fill_workbook
from registry.old_sheets.front_door import take_in_file

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "notebooks"
NAMES = ("case-series", "conference-case", "data-quality", "durability", "literature",
         "quality-monitoring", "technique-model")
"""The notebooks that start from a freeze."""
TAG = "the-cell-to-change"
DEMO = "nidusbook-demo"
PATIENTS, SEED = 60, 3


def read(name: str) -> Any:
    return nbformat.read(FOLDER / f"{name}.ipynb", as_version=4)


def code_cells(book: Any) -> list[Any]:
    return [cell for cell in book.cells if cell.cell_type == "code"]


def cell_to_change(book: Any) -> Any:
    found = [cell for cell in book.cells if TAG in cell.metadata.get("tags", [])]
    assert len(found) == 1, "exactly one cell is to be changed"
    return found[0]


def pointed_at(book: Any, freeze: Path | str) -> Any:
    """The notebook with nothing changed but the paths in its one cell: no file of the demo's."""
    cell = cell_to_change(book)
    changed, times = re.subn(r'^FREEZE = ".*"$', f"FREEZE = {str(freeze)!r}", cell.source,
                             flags=re.MULTILINE)
    assert times == 1
    cell.source = re.sub(rf'"{DEMO}/.*"$', '""', changed, flags=re.MULTILINE)
    return book


def executed(book: Any, folder: Path) -> Any:
    """The notebook run top to bottom in `folder`; an error in a cell fails the test."""
    from nbclient import NotebookClient

    return NotebookClient(book, timeout=280, kernel_name="python3",
                          resources={"metadata": {"path": str(folder)}}).execute()


def shown(book: Any) -> str:
    """All that the outputs show, as one text of HTML."""
    parts = []
    for cell in code_cells(book):
        for output in cell.outputs:
            parts.append(output.get("data", {}).get("text/html", ""))
    return "\n".join(parts)


def small_demo(folder: Path) -> Path:
    """The demo's folder, made small, inside `folder`: what an unchanged notebook finds there."""
    open_freeze(folder / DEMO / "freeze-quality", patients=PATIENTS, seed=SEED)
    return folder / DEMO


def own_freeze(folder: Path, only: str | None = None) -> Path:
    """The ten patients made by hand (or one of them), through the front door."""
    tables = small_tables()
    if only:
        tables = {name: frame[frame["patient_id"] == only] if "patient_id" in frame else frame
                  for name, frame in tables.items()}
    fill_workbook(folder / "cases.xlsx", tables)
    registry = open_registry(folder / "avm.sqlite")
    take_in_file(folder / "cases.xlsx", registry, by="AB")
    return make_freeze(registry, folder / "freeze-of-ours", purpose="quality")
