"""Proportions as points with their intervals, one a line; drawn from estimates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.figures.figure_lines import axis_words, lay_out, line_figure
from analyses.figures.figure_style import ACCENT, INK, STYLE
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def interval_figure(
    estimates: Sequence[Estimate], labels: Sequence[str], width_in: float, axis_label: str,
) -> Figure:
    """Proportions as points with their intervals, one a line, with their counts.

    estimates: proportions (0–1), drawn in per cent; those that cannot be given get their words
    and no point. labels: what stands at the left of each line.
    """
    import matplotlib as mpl

    lines = lay_out(labels, [e.number_text() for e in estimates], width_in)
    with mpl.rc_context(STYLE):
        figure, axes = line_figure(lines, width_in)
        for place, estimate in zip(lines.places, estimates, strict=True):
            _draw_interval(axes, place, estimate)
        axes.set_xlim(0, _upper_end(estimates))
        axis_words(axes, axis_label, width_in)
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
