"""Is a case part of a signal? The service's charts around one case, without a date in them.

Points are numbered in order of time instead of dated, so that slides can show them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from analyses.cases.case_measures import charted_measure
from analyses.measures.declared import about
from analyses.measures.harm import ANY
from analyses.monitoring.procedure_frame import procedure_frame
from analyses.statistics.estimate import Estimate, replaced
from registry.schema import Sessions

if TYPE_CHECKING:
    import pandas as pd

    from analyses.cases.one_case import OneCase
    from analyses.monitoring.service import QualityAnalysis
    from analyses.population.unit_frames import Units
    from analyses.statistics.control_charts.chart import Chart
    from analyses.statistics.control_charts.cusum import Cusum

FEWEST_EVENTS = 8
"""Fewer events of a kind carry no chart; all complications are then shown."""
NOT_OF_THE_CASE = ("operator", "case number")


@dataclass(frozen=True)
class CaseSignal:
    """The charts of a service around a case.

    measure: the estimate's id whose events are charted. chart, cusum: as of `QualityAnalysis`,
    the points numbered. marked: the case's own event's place among the chart's points (from 0);
    marked_procedure: its procedure's place among the CUSUM's; None where it has none there.
    """

    measure: str
    analysis: QualityAnalysis
    chart: Chart | None
    cusum: Cusum | None
    marked: int | None
    marked_procedure: int | None

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The numbers behind the charts, without any by operator; the group names the measure."""
        from analyses.statistics.control_charts.detection import detection_estimates

        found = list(self.analysis.estimates)
        if self.chart is not None and self.chart.kind in ("p", "g"):
            found += detection_estimates(self.chart)
        kept = [e for e in found if not set(e.group or {}) & set(NOT_OF_THE_CASE)
                and not e.id.startswith("monitoring.learning")]
        return tuple(self.named(e) for e in kept)

    def named(self, estimate: Estimate) -> Estimate:
        """The estimate with the charted measure in its group."""
        return replaced(estimate, group={**(estimate.group or {}), "charted": self.measure})


def case_signal(units: Units, case: OneCase) -> CaseSignal | None:
    """The charts around a case; None where no procedure's outcome is known.

    All procedures of the freeze are charted, those after the case too: a signal is a matter of
    the service, not of the case.
    """
    from analyses.monitoring.service import quality_analysis

    measure = charted_measure(case)
    rows = _known(units, measure)
    if rows["complication"].sum() < FEWEST_EVENTS:
        measure, rows = ANY.id, _known(units, ANY.id)
    if rows.empty:
        return None
    analysis = quality_analysis(rows, event=about(measure).subject)
    worse = next((c for c in analysis.cusums if c.worse), None)
    place = _place(analysis, case)
    first = int(analysis.sessions["baseline"].sum())
    return CaseSignal(
        measure, analysis, _numbered(analysis.chart),
        None if worse is None else replace(worse, table=worse.table.assign(
            label=[f"session {first + 1 + k}" for k in range(len(worse.table))])),
        _point(analysis, place), None if place is None or place < first else place - first)


def _known(units: Units, measure: str) -> pd.DataFrame:
    rows = procedure_frame(units, measure)
    return rows[rows["complication"].notna()]


def _numbered(chart: Chart | None) -> Chart | None:
    if chart is None:
        return None
    word = "event" if chart.kind in ("g", "t") else "period"
    return replace(chart, table=chart.table.drop(columns="day", errors="ignore").assign(
        label=[f"{word} {k + 1}" for k in range(len(chart.table))]))


def _place(analysis: QualityAnalysis, case: OneCase) -> int | None:
    """The place of the event's procedure in order of time, from 0."""
    if case.index_event is None or not bool(case.index_event["counted"]):
        return None
    keys = analysis.sessions["procedure_key"].tolist()
    key = case.index_event["session_key"]
    return keys.index(key) if key in keys else None


def _point(analysis: QualityAnalysis, place: int | None) -> int | None:
    """The place among the chart's points: of events in a g chart, of periods in a p chart."""
    chart = analysis.chart
    if chart is None or place is None:
        return None
    sessions = analysis.sessions
    if chart.kind == "g":
        events = sessions["complication"].to_numpy()
        return int(events[:place + 1].sum()) - 1 if events[place] else None
    began = chart.table["day"].to_numpy()
    return int((began <= sessions[Sessions.session_date].to_numpy()[place]).sum()) - 1
