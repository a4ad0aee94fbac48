"""From a freeze to a report's folder: read, work out, build the document, write all of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analyses.reports.write import ReportError, Writer, results_text, text_writer, write_folder

Progress = Callable[[str], None]


def write_report(
    frozen: Path, out: Path, *, audience: str = "series", case: str | None = None,
    limits: Path | None = None, plan: Path | None = None, progress: Progress | None = None,
) -> list[str]:
    """Write the report of a freeze into `out`; returns lines that say what to open.

    audience: series, conference or quality. Raises FreezeError for a freeze that was changed,
    ReportError where the call or the folder is wrong; then nothing has been written.
    """
    from analyses.results import work_out
    from registry import read_freeze

    tell = progress or (lambda words: None)
    if audience not in AUDIENCES:
        raise ReportError(f"There is no report for {audience} yet; series is there.")
    tell("reading the freeze")
    freeze = read_freeze(frozen)
    results = work_out(freeze.tables, freeze.manifest, progress=tell)
    tell("writing the report")
    write_folder(out, AUDIENCES[audience](results))
    return [f"Report:          {out / 'case-series.html'}",
            f"All numbers:     {out / 'results.json'}"]


def series_files(results: object) -> dict[str, Writer]:
    """The files of a case series: name → writer."""
    from analyses.reports.cases import write_cases
    from analyses.reports.html import page
    from analyses.reports.series import series_document

    document = series_document(results)  # type: ignore[arg-type]
    return {
        "results.json": text_writer(results_text(results)),  # type: ignore[arg-type]
        "cases.parquet": lambda path: write_cases(results.estimates, path),  # type: ignore
        f"{document.name}.html": text_writer(page(document)),
    }


AUDIENCES: dict[str, Callable[..., dict[str, Writer]]] = {"series": series_files}
