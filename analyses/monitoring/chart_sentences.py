"""What the charts say, in sentences: what was seen, and what the chart can and cannot detect.

Every number comes from an estimate or from the chart's own table. Signals are described, never
explained: a signal asks for a look, and no signal is not evidence of safety.
"""

from __future__ import annotations

from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.chart_choice import ChartChoice
from analyses.statistics.control_charts.cusum import Cusum
from analyses.statistics.control_charts.cusum_design import CusumDesign
from analyses.statistics.control_charts.detection import detection_estimates
from analyses.statistics.control_charts.interrupted_series import InterruptedSeries
from analyses.statistics.control_charts.learning_curve import LearningCurve
from analyses.statistics.control_charts.risk_model import ExpectedRisk
from analyses.statistics.estimate import Estimate

NO_SIGNAL = "No signal is not evidence of safety."
A_LOOK = ("A signal asks for a look, in this order: the data, the case mix, the place and the "
          "equipment, the process, and only then the person.")
NOT_A_VERDICT = ("These charts describe the service. They do not decide the treatment of a "
                 "patient and do not rank operators.")


def chart_sentences(chart: Chart, choice: ChartChoice) -> tuple[str, ...]:
    """The chosen chart: why it was chosen, what it shows, what it can and cannot detect."""
    if chart.kind in ("p", "g"):
        doubled, chance = detection_estimates(chart)
        can = _p_can(doubled, chance, choice) if chart.kind == "p" else _g_can(doubled)
    else:
        can = ()
    return (*choice.why, _signals(chart), *can, *chart.notes)


def beside_sentences(chart: Chart) -> tuple[str, ...]:
    """A chart shown beside the chosen one: its signals, unless it was not judged, and its notes."""
    if chart.facts.get("stages_judged") == 0:
        return chart.notes
    return (_signals(chart), *chart.notes)


def risk_sentences(risk: ExpectedRisk) -> tuple[str, ...]:
    """Where expected risks come from, and how well they fit the baseline."""
    groups = "; ".join(
        f"expected risk {(group.group or {}).get('expected risk', '')}: "
        f"{group.events} of {group.n} sessions, {group.number_text()}" for group in risk.calibration
    )
    return (
        f"Expected risks come from {risk.source}.",
        risk.ratio.sentence("the baseline"),
        f"Calibration in the baseline: {groups}.",
        *risk.notes,
    )


def cusum_sentences(cusum: Cusum, design: CusumDesign) -> tuple[str, ...]:
    """One direction of the CUSUM: signals, false signals, power, and what the limit rests on."""
    direction = "a higher" if cusum.worse else "a lower"
    labels = newest_first(cusum)
    seen = (f"The CUSUM for {direction} risk signalled at {', '.join(labels)}."
            if labels else f"The CUSUM for {direction} risk did not signal in "
                           f"{len(cusum.table)} sessions. {NO_SIGNAL}")
    return (seen, *design_sentences(design))


def newest_first(cusum: Cusum) -> list[str]:
    """The labels of all its signals, the newest first."""
    return [str(label) for label in reversed(cusum.signals["label"].tolist())]


def design_sentences(design: CusumDesign) -> tuple[str, str, str]:
    """What the limit promises, what it can see, and what it rests on."""
    wait = ("" if design.delay.value is None else
            f", half of them within {design.delay.value:,.0f} sessions")
    return (
        f"The chance of a false signal in the {design.trials:,} sessions planned is up to "
        f"{design.false_signal.number_text()}, the uncertainty of the baseline included; in 90 % "
        f"of services it is no more than {100 * design.promised:g} %.",
        f"After {design.change} the chance of a signal in the planned period is "
        f"{design.seen.number_text()}{wait}.",
        f"It looks for odds multiplied by {design.odds_ratio:g}. Its limit, {design.limit:.2f}, "
        f"comes from the baseline alone and holds up to {design.guarded.value:.2f} times the "
        "expected risk: as far as a lucky baseline may have misled."
        if design.odds_ratio > 1 else
        f"It looks for odds multiplied by {design.odds_ratio:g}. Its limit, {design.limit:.2f}, "
        f"comes from the baseline alone and holds down to {design.guarded.value:.2f} times the "
        "expected risk: as far as an unlucky baseline may have misled.",
    )


def series_sentences(series: InterruptedSeries, change: str) -> tuple[str, ...]:
    """The interrupted series: level, slope, and the caution."""
    return (
        series.level.sentence(f"the change of level at “{change}”"),
        series.slope.sentence(f"the change of slope from “{change}” on"),
        series.effect_at_end.sentence(
            "the last period against the earlier line carried on"),
        *series.notes,
    )


def difference_sentences(
    difference: Estimate, change: str, event: str,
) -> tuple[str, ...]:
    """Since the change against before, from the counts."""
    return (
        difference.sentence(f"{event}, since “{change}” less before"),
        "Anything else that changed at the same time changes the difference as well.",
    )


def learning_sentences(curve: LearningCurve, event: str) -> tuple[str, ...]:
    """The learning curve in words."""
    if curve.slope is None:
        return curve.notes
    return (
        curve.slope.sentence(f"the association of {event} with each doubling of the "
                             "operator's experience, within operators and beside calendar time, "
                             "expected risk allowed for"),
        *curve.notes,
    )


def _signals(chart: Chart) -> str:
    found = chart.signals.iloc[::-1]  # The newest first.
    if found.empty:
        return f"The {chart.kind} chart has {len(chart.table)} points and no signal. {NO_SIGNAL}"
    said = [f"{', '.join(map(str, rows['label']))} ({reason})"
            for reason, rows in found.groupby("reason", sort=False)]
    return f"The {chart.kind} chart signals at {'; '.join(said)}."


def _p_can(doubled: Estimate, chance: Estimate, choice: ChartChoice) -> tuple[str, ...]:
    """Power of a point, and how many periods that means."""
    value = doubled.value or 0.0
    wait = (f"on average {1 / value:.1f} {choice.period}s until a point passes the limit"
            if value > 0.001 else "so it would hardly ever be seen")
    return (f"If the risk doubled, one {choice.period}'s point would lie above the upper limit "
            f"with a chance of {doubled.number_text()}: {wait}. With an unchanged risk that "
            f"happens with a chance of {chance.number_text()} a {choice.period}.",)


def _g_can(doubled: Estimate) -> tuple[str, ...]:
    if not doubled.value:
        return ("This chart can show an improvement, by a long gap. It cannot show a doubled "
                "risk at all: read it together with the CUSUM.",)
    return (f"If the risk doubled, one gap would lie below the lower limit with a chance of "
            f"{doubled.number_text()}: this chart sees a deterioration late or never. Read it "
            "together with the CUSUM.",)
