"""The demo: a fictional service through the same front door as a real one."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from analyses.reports import write_report
from analyses.reports.write import ReportError

DEMO_MARK = "nothing-here-is-real.txt"
DEMO_FOLDER = "nidusbook-demo"
RESEARCH, QUALITY = "freeze-research", "freeze-quality"
Doors = Mapping[str, Callable[..., Any]]


def run_demo(
    out: Path, *, patients: int, seed: int, progress: Callable[..., None], doors: Doors,
) -> list[str]:
    """Make the service, take it in, freeze it and report; returns the lines to print.

    doors: the functions that make the cohort and open the store, handed in by the command line
    (no other module of `analyses` may open a store).
    """
    lines = make_demo(out, patients=patients, seed=seed, progress=progress, doors=doors)
    for audience in ("series",):
        lines += write_report(out / RESEARCH, out / f"report-{audience}", audience=audience,
                              progress=progress)
    return lines


def make_demo(
    out: Path, *, patients: int, seed: int, progress: Callable[..., None], doors: Doors,
) -> list[str]:
    """The fictional service as far as its two freezes; as `run_demo`, without the reports."""
    _clear_earlier_demo(out)
    out.mkdir(parents=True, exist_ok=True)
    progress("making a fictional service")
    cohort = doors["make_cohort"](patients=patients, seed=seed)
    (out / DEMO_MARK).write_text("A fictional service; made again by the next demo.\n")
    book = out / "entry-workbook.xlsx"
    doors["fill_workbook"](book, cohort.tables)
    store = out / "registry.sqlite"
    progress("taking the workbook in")
    taken = doors["take_in_file"](book, doors["open_registry"](store), by="DEMO",
                                  progress=progress)
    progress("freezing the registry")
    for frozen, purpose in ((RESEARCH, "research"), (QUALITY, "quality")):
        doors["make_freeze"](doors["open_registry"](store), out / frozen, purpose=purpose)
    return [f"A fictional service of {patients} patients; nothing in it is real.",
            f"Entry workbook:  {book}", f"Registry:        {store}", taken.summary]


def is_demo(frozen: Path) -> bool:
    """Whether a freeze lies in a folder that the demo made: then nothing in it is real."""
    return (frozen.absolute().parent / DEMO_MARK).is_file()


def wanted_demo(frozen: Path) -> bool:
    """Whether this path is one of the demo's own freezes and that demo is not made yet."""
    folder = frozen.absolute().parent
    return (frozen.name in (RESEARCH, QUALITY) and folder.name == DEMO_FOLDER
            and not frozen.exists() and (not folder.exists() or is_demo(frozen)))


def _clear_earlier_demo(out: Path) -> None:
    """Remove what an earlier demo left in `out`, and nothing else.

    Raises ReportError where `out` holds a registry that the demo did not make.
    """
    if not (out / "registry.sqlite").exists():
        return
    if not (out / DEMO_MARK).exists():
        raise ReportError(f"{out} holds a registry that the demo did not make; give another --out.")
    for path in out.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()
