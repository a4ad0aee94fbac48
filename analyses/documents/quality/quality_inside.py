"""The parts of the quality report that stay inside: every sentence, operator codes, the data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from analyses.content.blocks import (
    Block,
    Cell,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.documents.quality.data_quality_sections import data_quality_sections
from analyses.documents.quality.quality_work import QualityWork
from analyses.documents.quality.squire import squire_section
from analyses.measures.declared import about

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from analyses.monitoring.service import QualityAnalysis
    from analyses.statistics.control_charts.chart import Chart
    from analyses.statistics.control_charts.funnel import Funnel
    from analyses.statistics.control_charts.stages import Change

Draw = Callable[[float], "Figure"]

SHOWN_ABOVE = ("By operator code", "Learning")


def inside_sections(work: QualityWork) -> tuple[Section, ...]:
    """Charts in full, limits over time, operators and learning, data quality, SQUIRE."""
    full = _in_full(work.analysis) if work.analysis else ()
    operators = (operators_section(work.analysis),) if work.analysis else ()
    data = data_quality_sections(work.results.units.tables, work.results.manifest)
    sections = (*full, _limits_over_time(work), *operators, *data, squire_section(work))
    return tuple(section for section in sections if section.blocks)


def charts_in_full(found: QualityAnalysis) -> tuple[Picture, ...]:
    """The run chart by quarter and the EWMA, where there are any."""
    pictures = []
    for kind, chart, caption in (
        ("run-chart", found.run, f"Run chart of the share with {found.event} by quarter"),
        ("ewma", found.ewma, "EWMA of observed minus expected, since the baseline"),
    ):
        if chart is not None:
            pictures.append(Picture(kind, caption, f"{caption}. {chart.method}", _drawn(chart)))
    return tuple(pictures)


def _in_full(found: QualityAnalysis) -> tuple[Section, ...]:
    blocks = charts_in_full(found)
    told = [(name, lines) for name, lines in found.sections.items() if name not in SHOWN_ABOVE]
    if found.problems:
        told.append(("What could not be given", found.problems))
    return (Section("The charts in full", blocks or (plain("No chart is given."),)), *(
        Section(f"In full: {name}", (Points(tuple(map(Sentence, lines))),), level=2)
        for name, lines in told))


def operators_section(found: QualityAnalysis) -> Section:
    """Funnel, learning and running figure by operator code; no ranking."""
    from analyses.figures.chart_figures import learning_figure, running_figure

    said = [Sentence(line) for name in SHOWN_ABOVE for line in found.sections.get(name, ())]
    blocks: list[Block] = [Points(tuple(said))] if said else []
    for name, funnel, caption in (
        ("funnel", found.funnel, f"Sessions with {found.event} by operator code; not a ranking"),
        ("funnel-adjusted", found.funnel_adjusted,
         f"Observed over expected sessions with {found.event}, by operator code; not a ranking"),
    ):
        if funnel is not None:
            told = "; ".join(f"{row['group']} {row['events']}/{row['trials']}"
                             for row in funnel.table.to_dict("records"))
            blocks.append(Picture(
                name, caption, f"{caption}: {told}.", _funnel(funnel)))
    curve = found.learning
    if curve is not None:
        blocks += [
            Picture("learning", f"{found.event} by the operator's experience, the service together",
                    "Observed share and observed over expected by block of experience.",
                    lambda width: learning_figure(curve, width_in=width)),
            Picture("running", "Observed minus expected by experience, one line an operator code",
                    "Running observed minus expected events; the codes are not compared.",
                    lambda width: running_figure(curve, width_in=width)),
        ]
    rows = [e for e in found.estimates if "operator" in (e.group or {})]
    if rows:
        blocks.append(Table("by-operator", "The numbers by operator code; not a ranking", (
            "Operator code", "Measure", "Number"), tuple(
            (Cell((e.group or {})["operator"], heading=True), Cell(
                "observed/expected" if e.kind.endswith("ratio") else f"with {found.event}"),
             Cell(e.number_text(), e)) for e in rows), folded=True))
    return Section("Operators and learning", tuple(blocks))


def _limits_over_time(work: QualityWork) -> Section:
    """The share within the limit most often passed, over time, and how limits go with outcome."""
    found = work.process
    if found is None:
        return Section("Practice limits over time", ())
    blocks: list[Block] = []
    for number, name in enumerate(found.pareto["limit"]):
        chart = found.charts.get(name)
        if chart is not None and number < 2:
            caption = f"Share within the limit by quarter: {name}"
            blocks.append(Picture(
                f"limit-over-time-{number + 1}", caption, f"{caption}. {chart.method}",
                _share_within(chart, work.changes)))
    rows = tuple(
        (Cell((e.group or {})["limit"], heading=True), Cell((e.group or {})["was"]),
         Cell(e.number_text(), e)) for e in found.outcome)
    blocks.append(Table(
        "limits-and-outcome",
        f"Checks in sessions with {about(work.measure).subject}, by whether the limit was kept",
        ("Limit", "Was", "With the event/checks (%, 95 % interval)"), rows,
        found.notes, folded=True))
    return Section("Practice limits over time", tuple(blocks))


def _drawn(chart: Chart, changes: Sequence[Change] = ()) -> Draw:
    from analyses.figures.chart_figures import chart_figure

    return lambda width: chart_figure(chart, changes=changes, width_in=width)


def _share_within(chart: Chart, changes: Sequence[Change]) -> Draw:
    """The chart, its share named as what it is of."""
    def drawn(width: float) -> Figure:
        figure = _drawn(chart, changes)(width)
        figure.axes[0].set_ylabel("checks within the limit, %")
        return figure
    return drawn


def _funnel(funnel: Funnel) -> Draw:
    from analyses.figures.chart_figures import funnel_figure

    return lambda width: funnel_figure(funnel, width_in=width)
