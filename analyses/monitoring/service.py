"""The whole quality analysis of a service, from one row a procedure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from analyses.monitoring.analysis_parts import AnalysisParts
from analyses.monitoring.analysis_rows import planned_sessions, rows_in_order, set_baseline
from analyses.monitoring.around_changes import around_each
from analyses.monitoring.chart_sentences import A_LOOK, NOT_A_VERDICT
from analyses.monitoring.service_charts import SETS_LIMITS
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.chart_choice import ChartChoice
from analyses.statistics.control_charts.cusum import Cusum
from analyses.statistics.control_charts.cusum_design import PROMISED, CusumDesign
from analyses.statistics.control_charts.funnel import Funnel
from analyses.statistics.control_charts.interrupted_series import InterruptedSeries
from analyses.statistics.control_charts.learning_curve import LearningCurve
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

RISK_TERMS = ("sm_grade", "ruptured")
TERM_WORDS = {"sm_grade": "Spetzler–Martin grade", "ruptured": "rupture"}
LOOKED_FOR = (2.0, 0.5)
EVENT = "any embolization complication"


@dataclass(frozen=True)
class QualityAnalysis(Displayed):
    """Everything a quarterly meeting looks at; parts that cannot be given are None or empty.

    sessions: the procedures in order of time, with `expected`, `baseline`, `watched` (those after
    the baseline) and `stage` added; SETS_LIMITS where the baseline was declared, whose sessions
    then set the limits of every chart. event: what is watched, a noun phrase. changes: those that
    are marked: one with too few sessions on a side is not.
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

    procedures: one row an embolization procedure with the columns that `analysis_rows` names:
    session_date a date, complication yes or no, case_number a whole number from 0; operator_id,
    case_number, sm_grade and ruptured may be blank, and sessions whose complication is blank (not
    known) are left out and told. event: what `complication` marks, a noun phrase. changes: what
    the service changed. baseline_from, baseline_until: first and last day of the baseline (else
    the first half of the sessions); what is later is watched, and a declared baseline alone sets
    every chart's limits. planned_to: the last day of the planned period (else 24 months after the
    baseline). expected: declared risks in the rows' order, with expected_source saying whose;
    else a Firth model of the baseline on `terms`. odds_ratios: the changes the CUSUM looks for;
    promised: the chance of a false signal in the planned period that 90 % of services keep.
    Raises ValueError where columns are missing or dates are blank.
    """
    sessions = rows_in_order(procedures, expected)
    set_baseline(sessions, baseline_from, baseline_until)
    arounds = around_each(sessions, changes)
    carrying = [around for around in arounds if around.enough]
    shown = tuple(sorted((*(a.change for a in carrying), *(c for c in changes if not c.new_stage)),
                         key=lambda change: change.day))
    # A declared baseline holds through every change: then no stage has limits of its own.
    sessions["stage"] = stage_of(
        sessions[Sessions.session_date].dt.date, () if SETS_LIMITS in sessions.columns else shown)
    problems: list[str] = []
    unknown = len(procedures) - len(sessions)
    if unknown:
        problems.append(f"{unknown} of {len(procedures)} sessions are left out: it is not known "
                        "whether they had the event.")
    risk = _risk(sessions, terms, expected_source, problems)
    problems += [f"Before and after: {around.too_few}, so it is not marked and nothing is "
                 "compared." for around in arounds if not around.enough]
    found = AnalysisParts(sessions, risk, problems, event)
    found.add_charts()
    found.add_before_and_after(carrying)
    if risk is not None:
        sessions["expected"] = risk.risk
        found.add_risk_adjusted(odds_ratios, planned_sessions(sessions, planned_to), promised)
    found.add_comparison()
    return _finished(found, sessions, shown)


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


def _finished(
    found: AnalysisParts, sessions: pd.DataFrame, changes: tuple[Change, ...],
) -> QualityAnalysis:
    """The analysis with what could be worked out."""
    found.sections["Always"] = (A_LOOK, NOT_A_VERDICT)
    empty: dict[str, Any] = {"difference": None, "cusums": (), "designs": (), "ewma": None,
                             "funnel": None, "funnel_adjusted": None, "learning": None}
    return QualityAnalysis(
        event=found.event, sessions=sessions, changes=changes, risk=found.risk,
        estimates=tuple(found.estimates), sections=found.sections,
        problems=tuple(found.problems), **(empty | found.parts))
