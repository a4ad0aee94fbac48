"""The demo: a fictional service through the same front door as a real one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from analyses.reports import write_report


def run_demo(
    out: Path, *, patients: int, seed: int, progress: Callable[[str], None],
    doors: Mapping[str, Callable[..., Any]],
) -> list[str]:
    """Make the service, take it in, freeze it and report; returns the lines to print.

    doors: the functions that make the cohort and open the store, handed in by the command line
    (no other module of `analyses` may open a store).
    """
    out.mkdir(parents=True, exist_ok=True)
    progress("making a fictional service")
    cohort = doors["make_cohort"](patients=patients, seed=seed)
    book = out / "entry-workbook.xlsx"
    doors["fill_workbook"](book, cohort.tables)
    store = out / "registry.sqlite"
    progress("taking the workbook in")
    taken = doors["take_in_file"](book, store, by="DEMO", progress=progress)
    progress("freezing the registry")
    lines = [f"A fictional service of {patients} patients; nothing in it is real.",
             f"Entry workbook:  {book}", f"Registry:        {store}", *taken.lines[-1:]]
    for purpose, audiences in (("research", ("series",)), ("quality", ())):
        frozen = out / f"freeze-{purpose}"
        if not frozen.exists():
            doors["make_freeze"](doors["open_registry"](store), frozen, purpose=purpose)
        for audience in audiences:
            lines += write_report(frozen, out / f"report-{audience}", audience=audience,
                                  progress=progress)
    return lines
