"""The parts of a quality analysis as they are worked out, each with its sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from analyses.monitoring.analysis_rows import years_of
from analyses.monitoring.around_changes import (
    Around,
    TooFewAround,
    difference_at,
    series_of_change,
)
from analyses.monitoring.chart_sentences import (
    beside_sentences,
    chart_sentences,
    cusum_sentences,
    difference_sentences,
    learning_sentences,
    risk_sentences,
    series_sentences,
)
from analyses.monitoring.service_charts import chosen_chart, fitting_choice, quarterly_run_chart
from analyses.statistics.control_charts.cusum import risk_adjusted_cusum
from analyses.statistics.control_charts.cusum_design import BaselineTooSmall, design_cusum
from analyses.statistics.control_charts.ewma import event_ewma_chart
from analyses.statistics.control_charts.funnel import funnel_plot
from analyses.statistics.control_charts.learning_curve import learning_curve
from analyses.statistics.control_charts.observed_expected import (
    observed_expected_ratio,
    observed_minus_expected,
)
from analyses.statistics.control_charts.risk_model import ExpectedRisk
from analyses.statistics.control_charts.stages import Change
from analyses.statistics.estimate import Estimate
from registry.schema import Patients, Sessions

if TYPE_CHECKING:
    import pandas as pd


class AnalysisParts:
    """What could be worked out so far.

    sessions: as of `QualityAnalysis`; parts: its fields by name; problems: why a part is missing.
    """

    def __init__(self, sessions: pd.DataFrame, risk: ExpectedRisk | None, problems: list[str],
                 event: str) -> None:
        self.sessions, self.risk, self.problems, self.event = sessions, risk, problems, event
        self.parts: dict[str, Any] = {}
        self.estimates: list[Estimate] = []
        self.sections: dict[str, tuple[str, ...]] = {}

    def add_charts(self) -> None:
        """The whole, the chart that fits, and the run chart."""
        from analyses.statistics.proportions.clustered import clustered_proportion

        frame = self.sessions
        whole = clustered_proportion(
            frame["complication"].to_numpy(float),
            frame[Patients.patient_id].tolist(),
            unit="session",
            id="monitoring.watched",
            keys=frame["procedure_key"].tolist(),
        )
        self.estimates.append(whole)
        self.sections["The event"] = (whole.sentence(self.event),)
        choice = fitting_choice(frame)
        chart = chosen_chart(frame, choice)
        run = quarterly_run_chart(frame)
        self.parts |= {"choice": choice, "chart": chart, "run": run}
        self.sections["The chart that fits"] = (
            chart_sentences(chart, choice) if chart is not None else choice.why)
        if run is not None:
            self.sections["Run chart"] = beside_sentences(run)

    def add_before_and_after(self, arounds: Sequence[Around]) -> None:
        """The difference from the counts around each change; a line where there is enough."""
        compared: list[tuple[Change, Estimate]] = []
        said: list[str] = []
        for around in arounds:
            change = around.change
            try:
                difference = difference_at(around)
            except TooFewAround as why:
                self.problems.append(f"Before and after: {why}")
                continue
            compared.append((change, difference))
            said += difference_sentences(difference, change.what, self.event)
        self.parts["compared"] = tuple(compared)
        self.estimates += [difference for _, difference in compared]
        series, changed = series_of_change(arounds, self.problems)
        self.parts |= {"series": series, "series_change": changed}
        if series is not None and changed is not None:
            self.estimates.extend(series.estimates)
            said += series_sentences(series, changed.what)
        if said:
            self.sections["Before and after"] = tuple(said)

    def add_risk_adjusted(
        self, odds_ratios: Sequence[float], planned: int, promised: float,
    ) -> None:
        """Observed minus expected, CUSUM in each direction, EWMA."""
        frame, risk = self.sessions, self.risk
        assert risk is not None
        y, p = frame["complication"].to_numpy(float), risk.risk
        later = frame["watched"].to_numpy()
        self.estimates += [risk.ratio, *risk.calibration]
        self.sections["Expected risk"] = risk_sentences(risk)
        labels = frame[Sessions.session_date].dt.strftime("%Y-%m-%d").tolist()
        self.parts["difference"] = observed_minus_expected(y, p, labels=labels)
        if not later.any():
            self.problems.append("No session lies after the baseline: nothing to monitor yet.")
            return
        since = observed_expected_ratio(
            y[later], p[later], frame[Patients.patient_id][later].tolist(),
            id="monitoring.observed_expected", unit="session",
            keys=frame["procedure_key"][later].tolist())
        self.estimates.append(since)
        self.sections["Observed against expected"] = (since.sentence("since the baseline"),)
        try:
            for ratio in odds_ratios:
                self._add_cusum(ratio, planned, promised)
        except BaselineTooSmall as why:
            self.problems.append(str(why))
            return
        names = [label for label, now in zip(labels, later, strict=True) if now]
        ewma = event_ewma_chart(y[later], p[later], labels=names, unit="session")
        self.parts["ewma"] = ewma
        self.sections["Observed against expected"] += beside_sentences(ewma)

    def _add_cusum(self, ratio: float, planned: int, promised: float) -> None:
        """One direction, its limit from the baseline alone."""
        frame = self.sessions
        base, later = frame[frame["baseline"]], frame[frame["watched"]]
        design = design_cusum(base["expected"], base["complication"],
                              base[Patients.patient_id].tolist(), odds_ratio=ratio,
                              trials=planned, promised=promised, unit="session")
        cusum = risk_adjusted_cusum(
            later["complication"], later["expected"], odds_ratio=ratio, limit=design.limit,
            labels=later[Sessions.session_date].dt.strftime("%Y-%m-%d").tolist(), unit="session")
        self.parts["cusums"] = (*self.parts.get("cusums", ()), cusum)
        self.parts["designs"] = (*self.parts.get("designs", ()), design)
        self.estimates.extend(design.estimates)
        self.sections[f"CUSUM, odds ratio {ratio:g}"] = cusum_sentences(cusum, design)

    def add_comparison(self) -> None:
        """Funnel by operator code, and the learning curve."""
        frame = self.sessions
        known = frame[Sessions.operator_id].notna().to_numpy()
        if known.any():
            self._funnel(frame[known], int((~known).sum()))
        numbered = (frame["case_number"].notna().to_numpy() & known)
        if self.risk is not None and numbered.any():
            rows = frame[numbered]
            curve = learning_curve(rows["case_number"].astype(float), rows["complication"],
                                   rows["expected"], rows[Patients.patient_id].tolist(),
                                   calendar=years_of(rows[Sessions.session_date]),
                                   group=rows[Sessions.operator_id].tolist(), unit="session",
                                   group_name="operator")
            self.parts["learning"] = curve
            self.estimates += [*curve.observed, *curve.adjusted]
            self.estimates += [curve.slope] if curve.slope is not None else []
            self.sections["Learning"] = learning_sentences(curve, self.event)

    def _funnel(self, rows: pd.DataFrame, unknown: int) -> None:
        columns = (
            rows[Sessions.operator_id].tolist(),
            rows["complication"],
            rows[Patients.patient_id].tolist(),
        )
        names = ("session", "operator")
        plain = funnel_plot(*columns, unit=names[0], group_name=names[1])
        self.parts["funnel"] = plain
        said = [f"{unknown} sessions without an operator's code are left out."] if unknown else []
        self.sections["By operator code"] = (*said, *plain.notes)
        self.estimates.extend(plain.estimates)
        if self.risk is not None:
            adjusted = funnel_plot(*columns, expected=rows["expected"], unit=names[0],
                                   group_name=names[1])
            self.parts["funnel_adjusted"] = adjusted
            self.estimates.extend(e for e in adjusted.estimates if e.kind.endswith("ratio"))
