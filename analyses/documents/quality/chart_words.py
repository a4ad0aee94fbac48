"""What the charts say, in the few sentences that a meeting needs; each with its estimates."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.content.blocks import Sentence
from analyses.monitoring.chart_sentences import design_sentences, newest_first
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import whole

if TYPE_CHECKING:
    from analyses.statistics.control_charts.chart import Chart
    from analyses.statistics.control_charts.chart_choice import ChartChoice
    from analyses.statistics.control_charts.cusum import Cusum
    from analyses.statistics.control_charts.cusum_design import CusumDesign

NO_SIGNAL = "No signal is not evidence of safety."


def chart_words(chart: Chart | None, choice: ChartChoice) -> tuple[Sentence, ...]:
    """The chart that fits: what it shows, and what it could have shown."""
    if chart is None:
        return tuple(map(Sentence, choice.why))
    points = f"{len(chart.table)} {'events' if chart.kind == 'g' else plural(choice.period)}"
    labels = [str(label) for label in reversed(chart.signals["label"].tolist())]
    seen = f"signals at {', '.join(labels)}." if labels else f"shows no signal. {NO_SIGNAL}"
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
    """One direction: whether it signalled, and what its limit promises and can see."""
    direction = "higher" if cusum.worse else "lower"
    labels = newest_first(cusum)
    seen = f"signalled at {', '.join(labels)}." if labels else (
        f"no signal in {whole(len(cusum.table))} sessions since the baseline.")
    false, power, limit = design_sentences(design)
    return (
        Sentence(f"CUSUM for a {direction} risk: {seen}"),
        Sentence(false, (design.false_signal,)),
        Sentence(power, (design.seen, design.delay)),
        Sentence(limit, (design.threshold, design.guarded)),
    )


def baseline_words(baseline: Estimate) -> Sentence:
    """What the limits rest on."""
    return Sentence(f"The baseline rests on {baseline.events} events "
                    f"({baseline.number_text()}).", (baseline,))
