"""A measure over calendar time: the chart that fits how often the event happens, with its words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from analyses.content.blocks import Picture, Points, Section, Sentence, plain
from analyses.figures.chart_figures import chart_figure
from analyses.measures.measure import Share
from analyses.monitoring.chart_sentences import chart_sentences
from analyses.monitoring.service_charts import DAYS_A_MONTH, chosen_chart
from analyses.population.exclusions import hash_words
from analyses.population.unit_frames import Units
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.chart_choice import ChartChoice, choose_chart
from analyses.study.study_errors import StudyError
from analyses.study.study_frames import StudyFrame
from analyses.study.study_shown import ShowsItself
from analyses.words.estimate_text import plural
from registry.schema import Sessions

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DAY = {
    "session": Sessions.session_date,
    "injection": Sessions.session_date,
    "catheter": Sessions.session_date,
    "lesion": "first_treatment",
    "patient": "first_treatment",
}
"""The day that places a unit in time."""



@dataclass(frozen=True, repr=False)
class OverTime(ShowsItself):
    """A measure by calendar period.

    choice: the chart that fits, and why; chart: None where there are too few events for one;
    rows: one row a unit of known outcome, in order of time, with `session_date` (its day) and
    `complication` (whether it had the event).
    """

    measure: Share
    unit: str
    choice: ChartChoice
    chart: Chart | None
    rows: pd.DataFrame
    unknown: int
    manifest: Mapping[str, Any]

    @property
    def table(self) -> pd.DataFrame:
        """One row a point of the chart; no rows without a chart."""
        return pd.DataFrame() if self.chart is None else self.chart.table

    def sentence(self) -> str:
        """Why this chart, what it shows, and what it can and cannot detect."""
        said = list(self.choice.why if self.chart is None else chart_sentences(
            self.chart, self.choice))
        if self.unknown:
            said.append(f"{self.unknown} {plural(self.unit)} of unknown outcome or day left out.")
        return " ".join(said)

    def figure(self, width_in: float = 6.5) -> Figure:
        """The chart drawn. Raises StudyError where there are too few events for one."""
        if self.chart is None:
            raise StudyError(f"No chart of {self.measure.id}: {' '.join(self.choice.why)}")
        return chart_figure(self.chart, width_in=width_in, happened=self._happened(),
                            unit=self.unit)

    def content(self) -> tuple[Section, ...]:
        """The chart with its words."""
        words = plain(f"{self.measure.label}: {self.measure.definition(self.unit)}; from "
                      f"{hash_words(self.manifest)}.", self.sentence())
        if self.chart is None:
            return (Section(f"{self.measure.label} over time", (words,)),)
        caption = f"{self.measure.label} over time, per {self.unit}"
        signals = [Sentence(f"Signal at {row.label}: {row.reason}.")
                   for row in self.chart.signals.itertuples()]
        picture = Picture("over-time", caption, f"{caption}. {self.sentence()}", self.figure)
        return (Section(f"{self.measure.label} over time", (
            picture, *((Points(tuple(signals)),) if signals else ()), words)),)

    def _happened(self) -> str:
        return f"{plural(self.unit)}: {self.measure.label[:1].lower()}{self.measure.label[1:]}"


def measure_over_time(
    measure: Share, units: Units, unit: str, frame: StudyFrame, manifest: Mapping[str, Any],
) -> OverTime:
    """The chart of a share by month, quarter or half-year, or by the units between events.

    Raises StudyError where the gate refuses a point, the unit has no day, or nothing is known.
    """
    verdict = measure.verdict(units, unit)
    if not verdict:
        raise StudyError(f"No chart of {measure.id}: {verdict.why}.")
    if unit not in DAY:
        raise StudyError(f"{measure.id} is given per {unit}, which has no day of its own.")
    marked = measure.frame(units, unit)
    days = frame.frame[DAY[unit]].reindex(marked["key"].astype("string"))
    rows = pd.DataFrame({
        "key": marked["key"].to_numpy(), Sessions.session_date: days.to_numpy(), "stage": "all",
        "complication": marked["event"].astype("boolean").to_numpy(dtype=object)})
    known = rows[rows["complication"].notna() & rows[Sessions.session_date].notna()]
    known = known.assign(complication=known["complication"].astype(bool)).sort_values(
        [Sessions.session_date, "key"], kind="stable", ignore_index=True)
    if known.empty:
        raise StudyError(f"No {unit} has a known outcome and a day, so there is no chart of "
                         f"{measure.id}.")
    span = known[Sessions.session_date].iloc[-1] - known[Sessions.session_date].iloc[0]
    months = max(span.days / DAYS_A_MONTH, 1.0)
    choice = choose_chart(int(known["complication"].sum()), len(known), months, unit=unit)
    return OverTime(measure, unit, choice, chosen_chart(known, choice, unit),
                    known, len(rows) - len(known), manifest)
