"""The demo: a fictional service through the same front door as a real one."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from analyses.documents.fictional import is_demo, mark_demo
from analyses.renderers.report_folder import ReportError

if TYPE_CHECKING:
    from analyses.study.one_study import Study

DEMO_FOLDER = "nidusbook-demo"
RESEARCH, QUALITY = "freeze-research", "freeze-quality"
WORDS = "quality-project.toml"


def run_demo(
    out: Path, *, patients: int, seed: int, progress: Callable[..., None],
) -> list[str]:
    """Make the service, take it in, freeze it and report; returns the lines to print."""
    lines = make_demo(out, patients=patients, seed=seed, progress=progress)
    return [*lines, "", *_reports(out, progress), ""]


def _reports(out: Path, progress: Callable[..., None]) -> list[str]:
    """All three reports of the two freezes; the lines that say where to look."""
    from analyses.study.one_study import open_study

    lines = open_study(out / RESEARCH).report(out / "report-series", progress=progress)
    study = open_study(out / QUALITY)
    lines += study.report(out / "report-quality", audience="quality", project=out / WORDS,
                          progress=progress)
    case = _case_to_discuss(study)
    if case is None:
        return [*lines, "No complication is recorded, so there is no case for a conference."]
    return [*lines, *study.report(out / "report-conference", audience="conference", case=case,
                                  progress=progress)]


def _case_to_discuss(study: Study) -> str | None:
    """The study code of the case with the gravest complication; None where there is none."""
    from analyses.cases.case_choice import gravest_case
    from analyses.cases.one_case import CaseError

    try:
        return gravest_case(study.units)
    except CaseError:
        return None


def make_demo(
    out: Path, *, patients: int, seed: int, progress: Callable[..., None],
) -> list[str]:
    """The fictional service as far as its two freezes; as `run_demo`, without the reports."""
    from registry import open_registry
    from registry.freeze.freeze_writing import make_freeze
    from registry.intake.workbook_write import fill_workbook
    from registry.old_sheets.front_door import take_in_file
    from synthetic_cohort import CohortSettings, make_cohort
    from synthetic_cohort.contacts_tables import contacts_tables
    from synthetic_cohort.monitoring_tables import monitoring_tables
    from synthetic_cohort.quality_words import quality_words
    from synthetic_cohort.reviews_tables import reviews_tables

    _clear_earlier_demo(out)
    out.mkdir(parents=True, exist_ok=True)
    progress("making a fictional service")
    # The demo's service learns, and changes its practice at a known procedure.
    cohort = make_cohort(patients=patients, seed=seed, settings=CohortSettings.demo())
    mark_demo(out)
    (out / WORDS).write_text(quality_words(cohort.change_date), encoding="utf-8")
    book = out / "entry-workbook.xlsx"
    fill_workbook(book, {
        **cohort.tables, **monitoring_tables(cohort), **reviews_tables(cohort),
        **contacts_tables(cohort)})
    store = out / "registry.sqlite"
    progress("taking the workbook in")
    taken = take_in_file(book, open_registry(store), by="DEMO", progress=progress)
    progress("freezing the registry")
    for frozen, purpose in ((RESEARCH, "research"), (QUALITY, "quality")):
        make_freeze(open_registry(store), out / frozen, purpose=purpose)
    return [f"A fictional service of {patients} patients; nothing in it is real.",
            f"Entry workbook:  {book}", f"Registry:        {store}", taken.summary]


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
    if not is_demo(out / RESEARCH):
        raise ReportError(f"{out} holds a registry that the demo did not make; give another --out.")
    for path in out.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()
