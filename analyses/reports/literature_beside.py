"""The service's own rates beside those of published series, each with its interval.

Nothing is pooled here: series differ in whom they treated, with what, and in what they counted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analyses.catalogue import about
from analyses.estimate import Estimate
from analyses.figures import interval_figure
from analyses.literature import PublishedSeries, published_series
from analyses.reports.content import Block, Cell, Picture, Section, Table, plain
from analyses.results import Results

NEEDED_STEPS = ("obliteration", "complications")
"""The steps of the results that these sections draw on."""
INDEPENDENT = (
    "Intervals of published series are exact and take their rows as independent, because a "
    "paper's counts do not say which rows are of one patient; where patients had several sessions "
    "they are too narrow. The service's own interval allows for it.")


@dataclass(frozen=True)
class Beside:
    """One of our measures, and the words of the published ones that count most nearly the same."""

    id: str
    unit: str
    published: tuple[str, ...]
    difference: str


COMPARED = (
    Beside("complication.any", "session", ("any complication",),
           "Papers differ in how long after a session they look, and in whether an event without "
           "symptoms counts; ours counts 30 days and every recorded event."),
    Beside("complication.symptomatic", "session", ("clinically significant", "any new deficit"),
           "A clinically significant complication and a new deficit are not the same as a "
           "symptomatic event; they are the nearest that was printed."),
    Beside("complication.symptomatic", "patient", ("clinically significant", "any new deficit"),
           "As for sessions; a patient with several sessions has several chances of an event."),
    Beside("complication.permanent_deficit", "session", ("permanent deficit",),
           "Ours includes death; the paper's own words stand in its line."),
    Beside("complication.permanent_deficit", "patient", ("permanent deficit",),
           "Ours includes death; the paper's own words stand in its line."),
    Beside("complication.haemorrhagic", "session", ("haemorrhagic complication",),
           "Ours includes vessel perforation without symptoms."),
    Beside("complication.haemorrhagic_without_navigation", "session",
           ("haemorrhage unrelated to navigation",),
           "The published line is of a transvenous cohort."),
    Beside("obliteration.embolization_complete", "lesion",
           ("complete obliteration by embolization",),
           "A service that embolizes before a resection does not aim at closing the nidus by "
           "embolization alone."),
)
"""What is set beside what, and why the two are not quite the same."""


def literature_sections(results: Results) -> tuple[Section, ...]:
    """A section a measure, and last the whole list of published lines.

    results: with the steps NEEDED_STEPS at least.
    """
    compared = [Section(_title(one), _beside(results, one)) for one in COMPARED]
    return (*compared, Section("Every published line", (all_published(),)))


def lines_for(one: Beside) -> list[PublishedSeries]:
    """The published lines of the same unit whose measure begins with one of the words."""
    return [line for line in published_series() if line.unit == one.unit
            and line.measure.startswith(one.published)]


def all_published() -> Table:
    """Every line of the table of published series, with its source."""
    rows = tuple(
        (Cell(line.citation, heading=True), Cell(line.measure), Cell(f"per {line.unit}"),
         Cell(line.agent_group), Cell(*_number(line)), Cell(line.identifier))
        for line in published_series())
    return Table("published", "Published series", (
        "Series", "What was counted", "Unit", "Agent", "Events/n (%, 95 % interval)", "Source"),
        rows, (INDEPENDENT,), folded=True)


def _title(one: Beside) -> str:
    return f"{about(one.id).label}, per {one.unit}"


def _beside(results: Results, one: Beside) -> tuple[Block, ...]:
    ours, lines = results.one(one.id, one.unit), lines_for(one)
    rows = (
        (Cell("This service", heading=True), Cell(about(one.id).label), Cell("all agents"),
         Cell(ours.as_text(), ours)),
        *((Cell(line.citation, heading=True), Cell(line.measure), Cell(line.agent_group),
           Cell(*_number(line))) for line in lines))
    name = f"beside-{one.id.replace('.', '-')}-{one.unit}"
    table = Table(name, f"{_title(one)}: this service and published series", (
        "Series", "What was counted", "Agent", "Events/n (%, 95 % interval)"), rows,
        (INDEPENDENT,) if one.unit != "patient" else ())
    return (plain(one.difference), *_picture(one, ours, lines), table)


def _picture(
    one: Beside, ours: Estimate, lines: Iterable[PublishedSeries],
) -> tuple[Picture, ...]:
    drawn = [line for line in lines if line.estimate.value is not None]
    if not drawn or ours.value is None:
        return ()
    found = [ours, *(line.estimate for line in drawn)]
    labels = ["This service", *(_short(line) for line in drawn)]
    caption = f"{_title(one)}: this service and published series, with 95 % intervals; not pooled"
    alt = f"{caption}: " + "; ".join(
        f"{label} {e.number_text()}" for label, e in zip(labels, found, strict=True))
    return (Picture(
        f"beside-{one.id.replace('.', '-')}-{one.unit}-figure", caption, alt,
        lambda width: interval_figure(found, labels, width, f"Per {one.unit} (%)"),
        tuple(found)),)


def _number(line: PublishedSeries) -> tuple[str, Estimate]:
    if line.estimate.value is None:
        return line.as_printed, line.estimate
    return line.estimate.number_text(), line.estimate


def _short(line: PublishedSeries) -> str:
    return line.citation.partition(",")[0]
