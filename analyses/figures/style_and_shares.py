"""Figures drawn from estimates. They return a matplotlib figure and touch no file.

Readable in grey and by colour-blind readers: groups differ by marker and label, never by colour
alone; every axis names its unit and every point its numerator and denominator.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = "#1b2a33"
QUIET = "#6b7880"
ACCENT = "#0a5c6b"
EVENT = "#b3411e"

STYLE = {
    "font.family": "DejaVu Sans", "font.size": 8.5, "axes.edgecolor": QUIET,
    "axes.labelcolor": INK, "text.color": INK, "xtick.color": INK, "ytick.color": INK,
    "axes.spines.top": False, "axes.spines.right": False, "svg.hashsalt": "nidusbook",
    "svg.fonttype": "none", "pdf.fonttype": 42, "axes.titlesize": 9.5,
}
"""matplotlib settings of every figure. The fixed salt keeps SVG files the same byte for byte."""


def new_figure(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """An empty figure of this size with one axes, in our style and outside pyplot's state."""
    import matplotlib as mpl
    from matplotlib.figure import Figure as MplFigure

    with mpl.rc_context(STYLE):
        figure = MplFigure(figsize=(width_in, height_in), layout="constrained")
        return figure, figure.add_subplot()


def interval_figure(
    estimates: Sequence[Estimate], labels: Sequence[str], width_in: float, axis_label: str,
) -> Figure:
    """Proportions as points with their intervals, one a line, with their counts.

    estimates: proportions (0–1), drawn in per cent; those that cannot be given get their words
    and no point. labels: what stands at the left of each line.
    """
    import matplotlib as mpl

    from analyses.figures.figure_lines import axis_words, lay_out, line_figure

    lines = lay_out(labels, [e.number_text() for e in estimates], width_in)
    with mpl.rc_context(STYLE):
        figure, axes = line_figure(lines, width_in)
        for place, estimate in zip(lines.places, estimates, strict=True):
            _draw_interval(axes, place, estimate)
        axes.set_xlim(0, _upper_end(estimates))
        axis_words(axes, axis_label, width_in)
    return figure


def session_timeline(sessions: pd.DataFrame, events: pd.Series, width_in: float) -> Figure:
    """Every procedure as a mark, stacked by quarter; those with a complication stand out.

    sessions: procedure frame with `session_date`; events: boolean Series on the same index.
    Beyond 60 in a quarter the marks become bars, or they could not be told apart.
    """
    import matplotlib as mpl

    quarters = sessions["session_date"].dt.to_period("Q")
    counts = _quarter_counts(quarters, events)
    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 2.6)
        if counts.empty:
            axes.text(0.5, 0.5, "no sessions", ha="center", transform=axes.transAxes)
        elif counts["all"].max() > 60:
            _draw_bars(axes, counts)
        else:
            _draw_marks(axes, counts)
        _finish_timeline(axes, counts, width_in)
    return figure


def _draw_interval(axes: Axes, place: float, estimate: Estimate) -> None:
    if estimate.value is None:
        return
    if estimate.low is not None and estimate.high is not None:
        axes.plot([100 * estimate.low, 100 * estimate.high], [place, place],
                  color=ACCENT, linewidth=2.2, solid_capstyle="butt")
    axes.plot([100 * estimate.value], [place], marker="o", color=INK, markersize=5,
              clip_on=False, zorder=3)


def _upper_end(estimates: Sequence[Estimate]) -> float:
    highs = [e.high for e in estimates if e.high is not None]
    top = 100 * max(highs, default=1.0)
    return 100.0 if top > 60 else max(5.0, 5 * (int(top / 5) + 1))


def _quarter_counts(quarters: pd.Series, events: pd.Series) -> pd.DataFrame:
    import pandas as pd

    happened = events.fillna(False).astype(bool)
    counts = pd.DataFrame({
        "all": quarters.value_counts(), "events": quarters[happened].value_counts(),
    }).fillna(0).astype(int)
    if counts.empty:
        return counts
    return counts.reindex(
        pd.period_range(counts.index.min(), counts.index.max(), freq="Q"), fill_value=0)


def _draw_marks(axes: Axes, counts: pd.DataFrame) -> None:
    for x, (everything, events) in enumerate(counts.itertuples(index=False)):
        axes.scatter([x] * (everything - events), range(events, everything), s=12,
                     facecolor="white", edgecolor=QUIET, linewidth=0.8)
        axes.scatter([x] * events, range(events), s=18, marker="D", color=EVENT, linewidth=0)


def _draw_bars(axes: Axes, counts: pd.DataFrame) -> None:
    x = range(len(counts))
    axes.bar(x, counts["all"], color="#dfe5e8", edgecolor=QUIET, linewidth=0.5)
    axes.bar(x, counts["events"], color=EVENT, hatch="///", edgecolor="white")


def _finish_timeline(axes: Axes, counts: pd.DataFrame, width_in: float) -> None:
    from matplotlib.lines import Line2D

    first = [x for x, quarter in enumerate(counts.index) if quarter.quarter == 1]
    # In one column every second year is enough, and all that fits.
    first = first[:: 1 if width_in > 5 or len(first) <= 6 else 2]
    axes.set_xticks(first, [str(counts.index[x].year) for x in first])
    axes.set_ylabel("Sessions in the quarter")
    axes.set_xlabel("Calendar year")
    axes.yaxis.get_major_locator().set_params(integer=True)
    axes.legend(
        handles=[
            Line2D([], [], marker="o", markerfacecolor="white", markeredgecolor=QUIET,
                   linestyle="", label="session without a complication"),
            Line2D([], [], marker="D", color=EVENT, linestyle="",
                   label="session with an embolization complication"),
        ],
        loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2 if width_in > 5 else 1, frameon=False,
        borderaxespad=0, fontsize=8.5 if width_in > 5 else 7,
    )
