"""The charts of the quality report, low enough for two pages, and their few words."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import TYPE_CHECKING

from analyses.content.blocks import Block, Picture, Points, Sentence
from analyses.documents.quality.chart_words import baseline_words, chart_words, cusum_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from analyses.monitoring.process import ProcessMeasures
    from analyses.monitoring.service import QualityAnalysis

AROUND = "Before and after"
"""How a problem of a change begins; it stands in the section of that name."""
LOW, LETTERS_BESIDE = 0.27, 16
"""Height over width of a chart in the report for a meeting; letters a line beside it."""


def low(draw: Callable[[float], Figure], shape: float = LOW) -> Callable[[float], Figure]:
    """The same figure, made lower."""
    def drawn(width_in: float) -> Figure:
        figure = draw(width_in)
        figure.set_size_inches(width_in, shape * width_in)
        for axes in figure.axes:
            axes.set_ylabel(_in_lines(axes.get_ylabel()))
        return figure
    return drawn


def _in_lines(label: str) -> str:
    """A label in short lines: low axes have little room beside them."""
    return "\n".join(textwrap.wrap(label, LETTERS_BESIDE))


def event_blocks(found: QualityAnalysis) -> tuple[Block, ...]:
    """How often, and the chart that fits how often."""
    from analyses.figures.chart_figures import chart_figure

    whole = next(e for e in found.estimates if e.id == "monitoring.watched")
    words = (Sentence(whole.sentence(found.event), (whole,)),
             *chart_words(found.chart, found.choice))
    chart = found.chart
    if chart is None:
        return (Points(words),)
    return (Points(words), Picture(
        "chart", f"{chart.kind} chart of the sessions with {found.event}",
        " ".join(s.text for s in words),
        low(lambda width: chart_figure(chart, changes=found.changes, width_in=width),
            LOW + 0.02 * len(found.changes))))


def cusum_blocks(found: QualityAnalysis) -> tuple[Block, ...]:
    """The CUSUM in both directions beside observed minus expected, and how sure they are."""
    if found.difference is None:
        said = [p for p in found.problems if not p.startswith(AROUND)]
        return tuple(Points((Sentence(p),)) for p in said[:1])
    words = [s for cusum, design in zip(found.cusums, found.designs, strict=True)
             for s in cusum_words(cusum, design)]
    if found.risk is not None and found.designs:
        words.append(baseline_words(found.risk.ratio))
    since = [e for e in found.estimates
             if e.id == "monitoring.observed_expected" and not e.group]
    words += [Sentence(e.sentence("observed against expected since the baseline"), (e,))
              for e in since[-1:]]
    caption = f"Observed minus expected sessions with {found.event}"
    if found.cusums:
        caption = f"Risk-adjusted CUSUM since the baseline; {caption[0].lower()}{caption[1:]}"
    return (*((Points(tuple(words)),) if words else ()), Picture(
        "cusum", caption, " ".join(s.text for s in words) or caption,
        lambda width: _running_figure(found, width)))


def _running_figure(found: QualityAnalysis, width_in: float) -> Figure:
    """CUSUM at the left, observed minus expected at the right."""
    import matplotlib as mpl

    from analyses.figures.chart_figures import draw_cusums, draw_difference
    from analyses.figures.figure_style import STYLE, new_figure

    assert found.difference is not None
    with mpl.rc_context(STYLE):
        figure, first = new_figure(width_in, 0.285 * width_in)
        first.remove()
        panels = figure.subplots(1, 2 if found.cusums else 1, squeeze=False)[0]
        if found.cusums:
            draw_cusums(panels[0], found.cusums)
        draw_difference(panels[-1], found.difference, int(found.sessions["baseline"].sum()))
        panels[-1].get_legend().remove()
        panels[-1].set_xlabel(f"{len(found.difference)} sessions; grey: by chance alone")
    return figure


def change_blocks(found: QualityAnalysis) -> tuple[Block, ...]:
    """The difference from the counts around each change, the series, or why there is none."""
    from analyses.figures.chart_figures import series_figure

    words = [Sentence(difference.sentence(f"{found.event}, since “{change.what}” less before"),
                      (difference,)) for change, difference in found.compared]
    words += [Sentence(line) for line in found.problems if line.startswith(AROUND)]
    series, change = found.series, found.series_change
    if series is not None:
        words.append(Sentence(series.level.sentence("the change of level"), (series.level,)))
    if words:
        words.append(Sentence(
            "Other things changed too: it does not show what brought the difference about."))
    blocks: tuple[Block, ...] = (Points(tuple(words)),) if words else ()
    if series is None or change is None:
        return blocks
    return (*blocks, Picture(
        "before-after", f"The series around “{change.what}”, with the earlier line carried on",
        " ".join(s.text for s in words),
        low(lambda width: series_figure(series, change.what, width_in=width))))


def pareto_blocks(found: ProcessMeasures) -> tuple[Block, ...]:
    """Which limit is passed most often."""
    from analyses.figures.quality_figures import pareto_figure

    broken = found.pareto[found.pareto["broken"] > 0]
    if broken.empty:
        return ()
    first = broken.iloc[0]
    return (Picture(
        "limits-broken", "Which limit is passed most often",
        f"Most often passed: {first['limit']}, {int(first['broken'])} of "
        f"{int(first['recorded'])} recorded.",
        low(lambda width: pareto_figure(found, width_in=width), 0.25)),)
