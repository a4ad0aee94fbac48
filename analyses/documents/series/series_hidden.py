"""The case series with small cells hidden: one document, for files that are published as data."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyses.content.blocks import Document, Points, Section, Table, plain
from analyses.documents.always_said import cautions, only_a_part
from analyses.documents.cells_hidden import outside_of, without_hidden
from analyses.documents.series.limitations import limitations_section
from analyses.documents.series.literature_section import (
    literature_methods,
    literature_results,
    literature_supplement,
)
from analyses.documents.series.methods import methods_sections
from analyses.documents.series.precision_section import planned, precision_section
from analyses.documents.series.references import references_section
from analyses.documents.series.results_sections import results_sections
from analyses.documents.series.said import listed
from analyses.documents.series.series_report import case_series, summary_sentences, with_checklists
from analyses.documents.series.supplement import supplement_sections
from analyses.documents.series.to_write import declarations, discussion, introduction
from analyses.literature.comparison import Literature, beside_literature
from analyses.measures.declared import about
from analyses.measures.group_words import GROUP_LABELS
from analyses.measures.results import Progress, Results
from analyses.statistics.estimate import Estimate
from registry.privacy.suppression import SMALLEST

if TYPE_CHECKING:
    from analyses.literature.published import PublishedSeries
    from analyses.measures.small_cells import Hidden
    from analyses.statistics.precision.precision_plan import Precision

NAME = "case-series-to-share"
TITLE = "Small cells"
NO_EVENTS = Table("events", "Every recorded complication", (), ())
GONE = (
    "Left out for everybody: the list of events, smallest and largest values, pictures that show "
    "single patients, comparisons of groups, models on technique, and answers to questions named "
    "beforehand, since these compare groups. They stand in the service's own report.")
STAYS = (
    "Counts of deaths, deficits and complications of all patients are shown whatever their size, "
    "and so is how many were treated and in which way, how many were left out, and how often "
    "something was not recorded. What one such count leaves of another, or of those in a report "
    "about other patients of the same service, is not looked at: whoever answers for data "
    "protection decides which files are published together.")


@dataclass(frozen=True)
class HiddenWork:
    """What the document rests on: results with small cells hidden, and numbers of the whole."""

    results: Results
    precision: tuple[Precision, ...]
    literature: Literature

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Numbers beyond those of the results that the document prints."""
        return (*(e for plan in self.precision for e in plan.estimates),
                *self.literature.estimates)


def hidden_work(
    results: Results, *, published: Iterable[PublishedSeries] | None = None,
    progress: Progress | None = None,
) -> HiddenWork:
    """Hide the small cells of results, and work out what is shown beside them.

    published: lines to be set beside our own rates; the package's where None.
    """
    tell = progress or (lambda words: None)
    tell("hiding small cells")
    outside = results.outside()
    return HiddenWork(outside, planned(outside), beside_literature(outside, published))


def hidden_document(work: HiddenWork) -> Document:
    """The case series, with nothing from which a count of 1 to 4 patients could be told."""
    results = work.results
    main = [
        Section("Summary", (*only_a_part(results.manifest), Points(summary_sentences(results)),
                            cautions(results.manifest))),
        introduction(), *methods_sections(results, ()), _small_cells(results.hidden),
        *results_sections(results, ()),
        precision_section(work.precision), discussion(), limitations_section(results, ()),
        declarations(),
    ]
    outside = outside_of((*results.estimates, *work.estimates))
    sections = without_hidden(
        [*main, *supplement_sections(results, main, [], NO_EVENTS)], outside)
    # Published series and our own overall rates beside them: no group stands there.
    at = next(place for place, s in enumerate(sections) if s.title == "Discussion")
    sections[at:at] = literature_results(work.literature)
    at = next(place for place, s in enumerate(sections) if s.title == "Results")
    sections[at:at] = literature_methods(work.literature)
    more = literature_supplement(work.literature)
    at = next(place for place, s in enumerate(sections) if s.supplement)
    sections[at:at] = [references_section([*sections, *more], work.literature.lines)]
    document = case_series(results, (*sections, *more), stays_inside=False, name=NAME)
    return with_checklists(document, results)


def _small_cells(hidden: Hidden | None) -> Section:
    """What was hidden, by which rule, and what stands all the same."""
    if hidden is None:
        raise ValueError("These results have no small cell hidden: Results.outside() gives them.")
    groups = listed(dict.fromkeys(
        _lower(GROUP_LABELS.get(column, column.replace("_", " "))) for column in hidden.groupings))
    features = listed(_lower(about(id).label) for id in hidden.characteristics)
    said = [f"This document is made to be published as data: by a grouping of patients that has a "
            f"count from 1 to {SMALLEST - 1}, or one from which it could be worked out within the "
            "grouping, nothing is shown.",
            f"Where a grouping has one such cell in any number, nothing is shown by it: {groups}."
            if groups else "No grouping has such a cell.",
            *([f"Characteristics that so few have, or do not have: {features}."]
              if features else [])]
    return Section(TITLE, (plain(*said, GONE, STAYS),), level=2)


def _lower(label: str) -> str:
    keep = label[:1].isupper() and (label[1:2].isupper() or "–" in label.split(" ")[0])
    return label if keep else label[:1].lower() + label[1:]
