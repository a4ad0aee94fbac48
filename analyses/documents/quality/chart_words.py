"""What the charts say, in the few sentences that a meeting needs; each with its estimates."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.content.blocks import Sentence
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import whole

if TYPE_CHECKING:
    from analyses.statistics.control_charts.chart import Chart
    from analyses.statistics.control_charts.chart_choice import ChartChoice
    from analyses.statistics.control_charts.cusum import Cusum
    from analyses.statistics.control_charts.cusum_design import CusumDesign

NO_SIGNAL = "No signal is not evidence of safety."
MOST_NAMED = 3
A_MILLION = 1e6


def chart_words(chart: Chart | None, choice: ChartChoice) -> tuple[Sentence, ...]:
    """The chart that fits: what it shows, and what it could have shown."""
    if chart is None:
        return tuple(map(Sentence, choice.why))
    points = f"{len(chart.table)} {'events' if chart.kind == 'g' else plural(choice.period)}"
    labels = [str(label) for label in chart.signals["label"]]
    seen = f"signals at {_listed(labels)}." if labels else f"shows no signal. {NO_SIGNAL}"
    return (Sentence(f"The {chart.kind} chart of {points} {seen}"), *_power(chart, choice))


def detection(chart: Chart | None) -> tuple[Estimate, ...]:
    """The estimates of what a p or g chart can detect; none of another chart."""
    from analyses.statistics.control_charts.detection import detection_estimates

    return detection_estimates(chart) if chart is not None and chart.kind in ("p", "g") else ()


def _power(chart: Chart, choice: ChartChoice) -> tuple[Sentence, ...]:
    found = detection(chart)
    if not found:
        return ()
    doubled = found[0]
    point = f"one {choice.period}" if chart.kind == "p" else "one gap"
    if not doubled.value:
        return (Sentence(
            "It can show an improvement, by a long gap, but not a doubled risk: the CUSUM can.",
            (doubled,)),)
    return (Sentence(f"If the risk doubled, {point} would signal with a chance of "
                     f"{doubled.number_text()}.", (doubled,)),)


def cusum_words(cusum: Cusum, design: CusumDesign) -> tuple[Sentence, ...]:
    """One direction: whether it signalled, how soon it would, how often it does falsely."""
    direction = "higher" if cusum.worse else "lower"
    labels = [str(label) for label in cusum.signals["label"]]
    seen = f"signalled at {_listed(labels)}." if labels else (
        f"no signal in {whole(len(cusum.table))} sessions since the baseline.")
    delay, months, false = design.delay, design.delay_months, design.in_control
    return (
        Sentence(f"CUSUM for a {direction} risk: {seen}"),
        Sentence(f"It takes {short(delay)} ({short(months)}) on average to see {design.change}, "
                 f"and gives a false alarm once in {short(false)}.", (delay, months, false)),
    )


def baseline_words(design: CusumDesign, baseline: Estimate) -> tuple[Sentence, ...]:
    """How sure the run length is: the same at the two ends of the baseline's interval."""
    if not design.at_ends:
        return (Sentence("How sure that run length is cannot be said: the baseline has no "
                         "interval."),)
    low, high = (_run(end) for end in design.at_ends)
    return (Sentence(
        f"The baseline rests on {baseline.events} events ({baseline.number_text()}): at the ends "
        f"of that interval a false alarm would come once in {low} or in {high}.",
        (baseline, *design.at_ends)),)


def short(estimate: Estimate) -> str:
    """Value and measure without the bounds: `52 sessions`, `14.9 months`."""
    value = estimate.value or 0.0
    return f"{value:,.0f} {estimate.measure}" if value >= 20 else f"{value:.1f} {estimate.measure}"


def _run(estimate: Estimate) -> str:
    if estimate.value is None or estimate.value > A_MILLION:
        return "more than a million sessions"
    return f"{estimate.value:,.0f} sessions"


def _listed(names: list[str]) -> str:
    shown = names[:MOST_NAMED]
    more = len(names) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")
