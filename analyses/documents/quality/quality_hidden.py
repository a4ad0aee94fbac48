"""The quality report with small cells hidden: measures and limits of all the time, no charts."""

from __future__ import annotations

from dataclasses import replace

from analyses.content.blocks import Document
from analyses.documents.cells_hidden import outside_of, without_hidden
from analyses.documents.quality.quality_report import quality_document
from analyses.documents.quality.quality_work import QualityWork
from analyses.statistics.estimate import Estimate


def limits_kept(work: QualityWork) -> tuple[Estimate, ...]:
    """The share of each practice limit kept, without the rows counted."""
    kept = work.process.kept if work.process is not None else ()
    return tuple(replace(e, counted=()) for e in kept)


def hidden_quality(work: QualityWork) -> Document:
    """The report to share without what draws single sessions or divides the period.

    work: of results with small cells hidden (`Results.outside`).
    """
    document = quality_document(work, inside=False)
    outside = outside_of((*work.results.estimates, *limits_kept(work)))
    return replace(document, sections=tuple(without_hidden(document.sections, outside)))
