"""Any chart of the quality analysis by its name, as it stands alone with its words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from analyses.content.blocks import Picture
from analyses.documents.quality.quality_charts import change_blocks, cusum_blocks, event_blocks
from analyses.documents.quality.quality_inside import charts_in_full, operators_section
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    from analyses.monitoring.monitoring_plan import MonitoringPlan
    from analyses.monitoring.service import QualityAnalysis

INSIDE = "Inside the service only: days of sessions, or operator codes."


class NoSuchChart(SentenceError, ValueError):
    """The analysis has no chart of this name; the message names those it has."""


def single_chart(found: QualityAnalysis, name: str) -> Picture:
    """The chart of this name as the quality report has it, drawn higher where that has it low.

    Raises NoSuchChart with the names that there are.
    """
    charts = _charts(found)
    if name not in charts:
        raise NoSuchChart(f"There is no chart {name!r} here; there are: "
                          f"{', '.join(charts) or 'none, for too few events'}.")
    return charts[name]


def words_of(chart: Picture, plan: MonitoringPlan) -> tuple[str, ...]:
    """What stands below a chart that stands alone: its sentences, whose plan, who may see it."""
    said = chart.alt.removeprefix(f"{chart.caption}. ")
    return (*((said,) if said != chart.caption else ()),
            f"Monitoring plan {plan.code}, declared on {plan.declared_on}: baseline from "
            f"{plan.baseline_from} to {plan.baseline_to}.", INSIDE)


def _charts(found: QualityAnalysis) -> dict[str, Picture]:
    from analyses.figures.chart_figures import chart_figure, series_figure

    blocks = (*event_blocks(found), *cusum_blocks(found), *change_blocks(found),
              *charts_in_full(found), *operators_section(found).blocks)
    charts = {block.name: block for block in blocks if isinstance(block, Picture)}
    chart, series, change = found.chart, found.series, found.series_change
    if chart is not None:
        charts["chart"] = replace(charts["chart"], draw=lambda width: chart_figure(
            chart, changes=found.changes, width_in=width))
    if series is not None and change is not None:
        charts["before-after"] = replace(charts["before-after"], draw=lambda width: series_figure(
            series, change.what, width_in=width))
    return charts
