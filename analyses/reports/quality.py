"""The quality report: two pages for a meeting, and the same as a page inside the service.

The charts by operator code stay inside the service; the version that may leave has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyses.catalogue import about
from analyses.counting import Estimate
from analyses.limit_frame import limit_frame
from analyses.monitoring import process_measures, quality_analysis
from analyses.procedure_frame import procedure_frame
from analyses.reports.always_said import cautions, left_out
from analyses.reports.content import (
    Block,
    Cell,
    Document,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.results import Results
from registry.practice_limits import PracticeLimits, default_limits

if TYPE_CHECKING:
    from analyses.monitoring.process import ProcessMeasures
    from analyses.monitoring.project import Project
    from analyses.monitoring.service import QualityAnalysis

MEASURES = (
    ("complication.any", "session"), ("complication.symptomatic", "session"),
    ("complication.permanent_deficit", "session"), ("complication.permanent_deficit", "patient"),
    ("complication.retained_catheter", "catheter"),
    ("obliteration.embolization_complete", "lesion"), ("obliteration.final_confirmed", "lesion"),
)
BY_OPERATOR = ("By operator code", "Learning")


@dataclass(frozen=True)
class QualityWork:
    """What the quality report rests on: the charts, the practice limits, the project's words."""

    results: Results
    analysis: QualityAnalysis
    limits: PracticeLimits
    process: ProcessMeasures
    project: Project | None

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Every estimate of the charts and the limits (beside those of the results)."""
        return (*self.analysis.estimates, *self.process.kept, *self.process.outcome)


def quality_work(
    results: Results, *, limits: PracticeLimits | None = None, project: Project | None = None,
) -> QualityWork:
    """Work out the charts and the practice limits of a freeze.

    Procedures whose outcome is not known leave the charts; the report says how many.
    """
    rows = procedure_frame(results.units)
    known = rows[rows["complication"].notna()]
    changes = project.changes if project else ()
    used = limits or default_limits()
    return QualityWork(
        results, quality_analysis(known, changes=changes), used,
        process_measures(limit_frame(results.units, used), outcome="complication"), project)


def quality_document(work: QualityWork, *, inside: bool) -> Document:
    """The report; `inside` the service it has case lists and the charts by operator code."""
    sections = [
        Section("Aim and measures", _aim(work)),
        Section("Is harm more or less frequent?", _charts(work)),
        Section("Before and after", _before_after(work)),
        Section("Practice limits", _limits(work)),
    ]
    if inside:
        sections.append(Section("Operators and learning", _operators(work)))
    sections.append(Section("Who was counted, and cautions", (
        Paragraph(left_out(work.results.manifest)), cautions())))
    manifest = work.results.manifest
    return Document(
        name="quality-report" if inside else "quality-report-to-share",
        title="Brain AVM embolization: quality report",
        subtitle=f"Data frozen on {manifest.get('date', 'an unknown day')}, freeze "
        f"{str(manifest.get('freeze_hash', ''))[:12]}",
        sections=tuple(section for section in sections if section.blocks),
        stays_inside=inside,
    )


def _aim(work: QualityWork) -> tuple[Block, ...]:
    rows = tuple(
        (Cell(about(id).label, heading=True), Cell(f"per {unit}"),
         Cell(work.results.one(id, unit).number_text(), work.results.one(id, unit)))
        for id, unit in MEASURES)
    table = Table("measures", "The measures, over the whole period",
                  ("Measure", "Unit", "Events/n (%, 95 % interval)"), rows)
    if work.project is None:
        return (table,)
    words = work.project
    named = Points(tuple(
        Sentence(f"{m.name} ({m.kind}): {m.definition}") for m in words.measures))
    return (plain(words.aim), plain(f"Baseline: {words.baseline}"), named, table)


def _charts(work: QualityWork) -> tuple[Block, ...]:
    from analyses.monitoring.figures import chart_figure, cusum_figure, difference_figure

    found = work.analysis
    blocks: list[Block] = [
        Points(_said(work, "The event", "The chart that fits")),
    ]
    if found.chart is not None:
        chart = found.chart
        blocks.append(Picture(
            "chart", "The chart that fits the event's rate",
            f"{chart.method}; {int(chart.table['signal'].astype(bool).sum())} signals.",
            lambda width: chart_figure(chart, changes=found.changes, width_in=width)))
    blocks.append(Points(_said(work, "Expected risk", "CUSUM, odds ratio 2",
                               "CUSUM, odds ratio 0.5")))
    if found.cusums:
        blocks.append(Picture(
            "cusum", "Risk-adjusted CUSUM in both directions, resets after a signal",
            "; ".join(line for line in _texts(work, "CUSUM, odds ratio 2",
                                              "CUSUM, odds ratio 0.5")),
            lambda width: cusum_figure(found.cusums, width_in=width)))
    if found.difference is not None:
        difference = found.difference
        blocks.append(Picture(
            "observed-expected", "Observed minus expected complications, session by session",
            "Running sum of observed minus expected complications.",
            lambda width: difference_figure(difference, width_in=width)))
    if found.problems:
        blocks.append(Points(tuple(map(Sentence, found.problems))))
    return tuple(blocks)


def _before_after(work: QualityWork) -> tuple[Block, ...]:
    from analyses.monitoring.figures import series_figure

    lines = _said(work, "Before and after")
    if not lines:
        return ()
    blocks: list[Block] = [Points(lines)]
    series = work.analysis.series
    if series is not None:
        blocks.append(Picture(
            "before-after", "The series around the change, with what would have been without it",
            " ".join(line.text for line in lines),
            lambda width: series_figure(series, width_in=width)))
    return tuple(blocks)


def _limits(work: QualityWork) -> tuple[Block, ...]:
    from analyses.monitoring.quality_figures import pareto_figure

    found = work.process
    missing = dict(zip(found.pareto["limit"], found.pareto["missing"], strict=True))
    wanted = dict(zip(work.limits.table()["limit"], work.limits.table()["wanted"], strict=True))
    rows = tuple(
        (Cell(_limit_of(e), heading=True), Cell(wanted.get(_limit_of(e), "")),
         Cell(e.number_text(), e), Cell(f"{int(missing.get(_limit_of(e), 0)):,}"))
        for e in found.kept)
    table = Table(
        "practice-limits", f"Within the practice limits ({work.limits.source})",
        ("Limit", "Wanted", "Within/recorded (%, 95 % interval)", "Not recorded"), rows,
        ("Liquid copolymer agents only. The product's instructions for use and local protocol "
         "come first.", *found.notes))
    broken = found.pareto[found.pareto["broken"] > 0]
    if broken.empty:
        return (table,)
    first = broken.iloc[0]
    return (table, Picture(
        "limits-broken", "Which limit is passed most often",
        f"Most often passed: {first['limit']}, {int(first['broken'])} times.",
        lambda width: pareto_figure(found, width_in=width)))


def _operators(work: QualityWork) -> tuple[Block, ...]:
    from analyses.monitoring.figures import funnel_figure, learning_figure

    blocks: list[Block] = [Points(_said(work, *BY_OPERATOR))]
    funnel, curve = work.analysis.funnel, work.analysis.learning
    if funnel is not None:
        blocks.append(Picture(
            "funnel", "Complications by operator code, with the limits chance alone would draw",
            "Funnel plot by operator code; not a ranking.",
            lambda width: funnel_figure(funnel, width_in=width)))
    if curve is not None:
        blocks.append(Picture(
            "learning", "Complications and the operator's experience",
            "Observed and risk-adjusted learning curve of the service.",
            lambda width: learning_figure(curve, width_in=width)))
    return tuple(blocks) if len(blocks) > 1 or blocks[0].items else ()  # type: ignore[union-attr]


def _limit_of(estimate: Estimate) -> str:
    return (estimate.group or {}).get("limit", estimate.id)


def _texts(work: QualityWork, *headings: str) -> list[str]:
    return [line for name in headings for line in work.analysis.sections.get(name, ())]


def _said(work: QualityWork, *headings: str) -> tuple[Sentence, ...]:
    return tuple(map(Sentence, _texts(work, *headings)))
