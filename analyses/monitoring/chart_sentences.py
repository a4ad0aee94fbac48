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
MOST_NAMED = 5


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


def cusum_sentences(cusum: Cusum, design: CusumDesign, baseline: Estimate) -> tuple[str, ...]:
    """One direction of the CUSUM: signals, false alarms, delay, and how sure all this is."""
    direction = "a higher" if cusum.worse else "a lower"
    labels = [str(label) for label in cusum.signals["label"]]
    seen = (f"The CUSUM for {direction} risk signalled at {_listed(labels)}."
            if labels else f"The CUSUM for {direction} risk did not signal in "
                           f"{len(cusum.table)} sessions. {NO_SIGNAL}")
    return (
        seen,
        f"It looks for odds multiplied by {design.odds_ratio:g}, with the limit "
        f"{design.limit:.2f}. With risks as expected it gives a false alarm once in "
        f"{_plain(design.in_control)} on average, and within 12 months with a chance of "
        f"{design.false_within_year.number_text()}.",
        f"After {design.change} it takes {_plain(design.delay)} on average to signal, which is "
        f"{_plain(design.delay_months)} at the present volume; the chance of a signal within 12 "
        f"months is {design.within_year.number_text()}.",
        _how_sure(design, baseline),
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


def difference_sentences(difference: Estimate, change: str) -> tuple[str, ...]:
    """Since the change against before, where no line can be fitted."""
    return (
        difference.sentence(f"a complication, since “{change}” less before"),
        "Anything else that changed at the same time changes the difference as well.",
    )


def learning_sentences(curve: LearningCurve) -> tuple[str, ...]:
    """The learning curve in words."""
    if curve.slope is None:
        return curve.notes
    return (
        curve.slope.sentence("the association of complications with each doubling of the "
                             "operator's experience, within operators and beside calendar time, "
                             "expected risk allowed for"),
        *curve.notes,
    )


def _signals(chart: Chart) -> str:
    found = chart.signals
    if found.empty:
        return f"The {chart.kind} chart has {len(chart.table)} points and no signal. {NO_SIGNAL}"
    said = [f"{_listed([str(label) for label in rows['label']])} ({reason})"
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


def _how_sure(design: CusumDesign, baseline: Estimate) -> str:
    if not design.at_ends:
        return ("How sure that run length is cannot be said: the baseline's observed/expected "
                "has no interval.")
    low, high = (_run_words(end.value) for end in design.at_ends)
    return (f"The baseline itself is uncertain ({baseline.number_text()}, {baseline.events} "
            f"events): at the two ends of that interval the average run length would be {low} "
            f"and {high} instead.")


def _run_words(value: float | None) -> str:
    if value is None or value > 1e6:
        return "more than a million sessions"
    return f"{value:,.0f} sessions"


def _plain(estimate: Estimate) -> str:
    """Value and measure without the bounds, which have sentences of their own."""
    value = estimate.value or 0.0
    return f"{value:,.0f} {estimate.measure}" if value >= 20 else f"{value:.1f} {estimate.measure}"


def _listed(names: list[str]) -> str:
    shown = names[:MOST_NAMED]
    more = len(names) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")
