"""Figures of rates per person-time, drawn from estimates. They touch no file.

On a logarithmic axis, for rates differ tenfold and more; no event is drawn at the left edge as an
open mark with its upper limit. Counts and person-time stand beside every line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.figures.figure_style import ACCENT, INK, STYLE
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARKS = (0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000, 3000, 10_000)


def rate_figure(
    estimates: Sequence[Estimate], labels: Sequence[str], width_in: float, axis_label: str,
) -> Figure:
    """Rates as points with their intervals, one a line, with events and time.

    estimates: of kind "rate", all per the same person-time; one that cannot be given gets its
    words and no point. Width in inches.
    """
    import matplotlib as mpl

    from analyses.figures.figure_lines import axis_words, lay_out, line_figure

    lines = lay_out(labels, [e.number_text() for e in estimates], width_in)
    low, high = _ends(estimates)
    with mpl.rc_context(STYLE):
        figure, axes = line_figure(lines, width_in)
        for place, estimate in zip(lines.places, estimates, strict=True):
            _draw(axes, place, estimate, low)
        axes.set_xscale("log")
        marks = [mark for mark in MARKS if low <= mark <= high]
        # In one column every second mark is enough, and all that fits.
        marks = marks[:: 1 if width_in > 5 or len(marks) <= 5 else 2]
        axes.set_xlim(low, high)
        axes.set_xticks(marks, [f"{mark:g}" for mark in marks])
        axes.minorticks_off()
        axis_words(axes, axis_label, width_in)
    return figure


def _draw(axes: Axes, place: float, estimate: Estimate, left: float) -> None:
    if estimate.value is None:
        return
    if estimate.high is not None:
        axes.plot([max(estimate.low or 0.0, left), estimate.high], [place, place], color=ACCENT,
                  linewidth=2.2, solid_capstyle="butt")
    none = not estimate.events
    axes.plot([left if none else estimate.value], [place], marker="<" if none else "o",
              color=INK, markerfacecolor="white" if none else INK, markersize=5, clip_on=False,
              zorder=3)


def _ends(estimates: Sequence[Estimate]) -> tuple[float, float]:
    """The marks just outside the smallest and the largest limit above 0."""
    given = [x for e in estimates for x in (e.low, e.value, e.high) if x]
    low, high = min(given, default=0.3), max(given, default=10.0)
    return (max((m for m in MARKS if m <= low), default=MARKS[0]),
            min((m for m in MARKS if m >= high), default=MARKS[-1]))
