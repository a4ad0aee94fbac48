"""The whole quality analysis of a service, from one row a procedure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.monitoring.chart_sentences import (
    A_LOOK,
    NOT_A_VERDICT,
    beside_sentences,
    chart_sentences,
    cusum_sentences,
    difference_sentences,
    learning_sentences,
    risk_sentences,
    series_sentences,
)
from analyses.monitoring.service_charts import (
    TooFewAround,
    around_each,
    chosen_chart,
    difference_at,
    quarterly_run_chart,
    series_of_change,
)
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.chart_choice import ChartChoice, choose_chart
from analyses.statistics.control_charts.cusum import Cusum, risk_adjusted_cusum
from analyses.statistics.control_charts.cusum_design import (
    PROMISED,
    BaselineTooSmall,
    CusumDesign,
    design_cusum,
)
from analyses.statistics.control_charts.ewma import event_ewma_chart
from analyses.statistics.control_charts.funnel import Funnel, funnel_plot
from analyses.statistics.control_charts.interrupted_series import InterruptedSeries
from analyses.statistics.control_charts.learning_curve import LearningCurve, learning_curve
from analyses.statistics.control_charts.observed_expected import (
    observed_expected_ratio,
    observed_minus_expected,
)
from analyses.statistics.control_charts.risk_model import (
    ExpectedRisk,
    NoRiskModel,
    declared_risk,
    expected_risk,
)
from analyses.statistics.control_charts.stages import Change, stage_of
from analyses.statistics.estimate import Estimate
from analyses.words.self_showing import Displayed, Summary
from registry.schema import Patients, Sessions

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    Patients.patient_id,
    "procedure_key",
    Sessions.session_date,
    Sessions.operator_id,
    "case_number",
    "sm_grade",
    "ruptured",
    "complication",
)
RISK_TERMS = ("sm_grade", "ruptured")
TERM_WORDS = {"sm_grade": "Spetzler–Martin grade", "ruptured": "rupture"}
LOOKED_FOR = (2.0, 0.5)
PLANNED_MONTHS = 24
"""How long is planned where no plan says it."""
MOST_PLANNED = 1000
EVENT = "any embolization complication"


@dataclass(frozen=True)
class QualityAnalysis(Displayed):
    """Everything a quarterly meeting looks at; parts that cannot be given are None or empty.

    sessions: the procedures in order of time, with `expected`, `baseline`, `watched` (those after
    the baseline) and `stage` added. event: what is watched, a noun phrase.
    choice, chart: the chart that fits the event's rate (chart is None where there are too few
    events). run: run chart by quarter. difference: running observed minus expected. cusums and
    designs: one a direction, none where the baseline is too small. problems: why a part is
    missing, in words. compared: the difference from the counts around each change that carries
    one. sections: the sentences, by heading. estimates: every number in them.
    """

    event: str
    sessions: pd.DataFrame
    changes: tuple[Change, ...]
    choice: ChartChoice
    chart: Chart | None
    run: Chart | None
    risk: ExpectedRisk | None
    difference: pd.DataFrame | None
    cusums: tuple[Cusum, ...]
    designs: tuple[CusumDesign, ...]
    ewma: Chart | None
    funnel: Funnel | None
    funnel_adjusted: Funnel | None
    learning: LearningCurve | None
    series: InterruptedSeries | None
    series_change: Change | None
    compared: tuple[tuple[Change, Estimate], ...]
    estimates: tuple[Estimate, ...]
    sections: dict[str, tuple[str, ...]] = field(default_factory=dict)
    problems: tuple[str, ...] = ()

    @property
    def sentences(self) -> tuple[str, ...]:
        """All sentences, in order."""
        return tuple(line for lines in self.sections.values() for line in lines)

    def summary(self) -> Summary:
        """Every sentence under its heading."""
        rows = tuple((heading if place == 0 else "", sentence)
                     for heading, sentences in self.sections.items()
                     for place, sentence in enumerate(sentences))
        return Summary("Quality analysis", ("About", "What is said"), rows, self.problems)


def quality_analysis(
    procedures: pd.DataFrame,
    *,
    event: str = EVENT,
    changes: Sequence[Change] = (),
    baseline_from: Any = None,
    baseline_until: Any = None,
    planned_to: Any = None,
    expected: Iterable[Any] | None = None,
    expected_source: str = "",
    terms: Sequence[str] = RISK_TERMS,
    odds_ratios: Sequence[float] = LOOKED_FOR,
    promised: float = PROMISED,
) -> QualityAnalysis:
    """Work out the quality analysis of a service.

    procedures: one row an embolization procedure with the columns of COLUMNS: session_date a
    date, complication yes or no, case_number a whole number from 0; operator_id, case_number,
    sm_grade and ruptured may be blank, and sessions whose complication is blank (not known) are
    left out and told. event: what `complication` marks, a noun phrase. changes: what the service
    changed. baseline_from, baseline_until: first and last day of the baseline (else the first
    half of the sessions); what is later is watched. planned_to: the last day of the planned
    period (else 24 months after the baseline). expected: declared risks in the rows' order, with
    expected_source saying whose; else a Firth model of the baseline on `terms`. odds_ratios: the
    changes the CUSUM looks for; promised: the chance of a false signal in the planned period that
    90 % of services keep. Raises ValueError where columns are missing or dates are blank.
    """
    sessions = _ordered(procedures, expected)
    _set_baseline(sessions, baseline_from, baseline_until)
    sessions["stage"] = stage_of(sessions[Sessions.session_date].dt.date, changes)
    problems: list[str] = []
    unknown = len(procedures) - len(sessions)
    if unknown:
        problems.append(f"{unknown} of {len(procedures)} sessions are left out: it is not known "
                        "whether they had the event.")
    risk = _risk(sessions, terms, expected_source, problems)
    found = _Parts(sessions, tuple(sorted(changes, key=lambda c: c.day)), risk, problems, event)
    found.add_charts()
    if risk is not None:
        sessions["expected"] = risk.risk
        found.add_risk_adjusted(odds_ratios, planned_sessions(sessions, planned_to), promised)
    found.add_comparison()
    return found.finished()


def planned_sessions(sessions: pd.DataFrame, planned_to: Any) -> int:
    """Sessions to be expected from the baseline's end to the planned period's.

    At the baseline's own volume, so that what comes later does not move the limit; 10 to 1,000.
    """
    import pandas as pd

    days = sessions.loc[sessions["baseline"], Sessions.session_date]
    months = max(1.0, ((days.max() - days.min()).days + 1) / 30.4375)
    ahead = float(PLANNED_MONTHS) if planned_to is None else (
        (pd.Timestamp(planned_to) - days.max()).days / 30.4375)
    return int(np.clip(round(len(days) / months * ahead), 10, MOST_PLANNED))


def years_of(days: pd.Series) -> np.ndarray:
    """Days as calendar time in years, 365.25 days each, from the first of them."""
    found: np.ndarray = ((days - days.min()).dt.days / 365.25).to_numpy(float)
    return found


def _ordered(procedures: pd.DataFrame, expected: Iterable[Any] | None) -> pd.DataFrame:
    """The procedures in order of time, checked; all faults are told at once."""
    import pandas as pd

    missing = [name for name in COLUMNS if name not in procedures.columns]
    if missing:
        raise ValueError(f"procedures: no column {', '.join(missing)}")
    sessions = procedures.copy()
    if expected is not None:
        sessions["declared"] = list(expected)
    days = pd.to_datetime(sessions[Sessions.session_date], errors="coerce")
    faults = [
        f"{name} is blank or unreadable in {int(blank.sum())} rows"
        for name, blank in (
            (Sessions.session_date, days.isna()),
            (Patients.patient_id, sessions[Patients.patient_id].isna()),
        )
        if blank.any()
    ]
    if sessions["complication"].notna().sum() == 0:
        faults.append("there is no procedure whose outcome is known")
    if faults:
        raise ValueError(f"procedures: {'; '.join(faults)}; leave such rows out and say how many")
    sessions[Sessions.session_date] = days
    sessions = sessions[sessions["complication"].notna()].copy()
    sessions["complication"] = sessions["complication"].astype(int)
    return sessions.sort_values([Sessions.session_date, "procedure_key"], kind="stable",
                                ignore_index=True)


def _set_baseline(sessions: pd.DataFrame, first: Any, last: Any) -> None:
    """Mark the baseline's sessions, and as watched those after its last day.

    Raises ValueError where no session lies in the baseline.
    """
    import pandas as pd

    days = sessions[Sessions.session_date]
    if last is None:
        sessions["baseline"] = np.arange(len(sessions)) < (len(sessions) + 1) // 2
        sessions["watched"] = ~sessions["baseline"]
        return
    chosen = days <= pd.Timestamp(last)
    if first is not None:
        chosen &= days >= pd.Timestamp(first)
    if not chosen.any():
        raise ValueError(f"the baseline ends on {last}: no session lies in it")
    sessions["baseline"], sessions["watched"] = chosen, days > pd.Timestamp(last)


def _risk(
    sessions: pd.DataFrame, terms: Sequence[str], source: str, problems: list[str]
) -> ExpectedRisk | None:
    """Declared risks where there are any, else the baseline's own model; None is explained."""
    if "declared" in sessions.columns:
        return declared_risk(
            sessions["declared"],
            sessions["complication"],
            sessions[Patients.patient_id].tolist(),
            source=source or "declared risks",
            baseline=sessions["baseline"],
            unit="session",
        )
    try:
        return expected_risk(sessions, outcome="complication", terms=terms,
                             baseline=sessions["baseline"], cluster=Patients.patient_id,
                             words=TERM_WORDS, unit="session")
    except NoRiskModel as why:
        problems.append(str(why))
        return None


class _Parts:
    """The parts of the analysis as they are worked out, with their sentences."""

    def __init__(self, sessions: pd.DataFrame, changes: tuple[Change, ...],
                 risk: ExpectedRisk | None, problems: list[str], event: str) -> None:
        self.sessions, self.changes, self.risk, self.problems = sessions, changes, risk, problems
        self.event = event
        self.parts: dict[str, Any] = {}
        self.estimates: list[Estimate] = []
        self.sections: dict[str, tuple[str, ...]] = {}

    def add_charts(self) -> None:
        """The whole, the chart that fits, the run chart, and the series around a change."""
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
        days = frame[Sessions.session_date]
        months = ((days.max() - days.min()).days + 1) / 30.4375
        choice = choose_chart(int(frame["complication"].sum()), len(frame), max(months, 0.1),
                              unit="session")
        chart = chosen_chart(frame, choice)
        run = quarterly_run_chart(frame)
        self.parts |= {"choice": choice, "chart": chart, "run": run}
        self.sections["The chart that fits"] = (
            chart_sentences(chart, choice) if chart is not None else choice.why)
        if run is not None:
            self.sections["Run chart"] = beside_sentences(run)
        self._add_before_and_after()

    def _add_before_and_after(self) -> None:
        """The difference from the counts around each change; a line where there is enough."""
        frame = self.sessions
        stages = [change for change in self.changes if change.new_stage]
        compared: list[tuple[Change, Estimate]] = []
        said: list[str] = []
        for change, rows in around_each(frame, stages):
            try:
                difference = difference_at(rows, change)
            except TooFewAround as why:
                self.problems.append(f"Before and after: {why}")
                continue
            compared.append((change, difference))
            said += difference_sentences(difference, change.what, self.event)
        self.parts["compared"] = tuple(compared)
        self.estimates += [difference for _, difference in compared]
        series, around = series_of_change(frame, stages, self.problems)
        self.parts |= {"series": series, "series_change": around}
        if series is not None and around is not None:
            self.estimates.extend(series.estimates)
            said += series_sentences(series, around.what)
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

    def finished(self) -> QualityAnalysis:
        """The analysis with what could be worked out."""
        self.sections["Always"] = (A_LOOK, NOT_A_VERDICT)
        empty: dict[str, Any] = {"difference": None, "cusums": (), "designs": (), "ewma": None,
                                 "funnel": None, "funnel_adjusted": None, "learning": None}
        return QualityAnalysis(
            event=self.event, sessions=self.sessions, changes=self.changes, risk=self.risk,
            estimates=tuple(self.estimates), sections=self.sections,
            problems=tuple(self.problems), **(empty | self.parts))
