"""Figures of rates per person-time, drawn from estimates. They touch no file.

On a logarithmic axis, for rates differ tenfold and more; no event is drawn at the left edge as an
open mark with its upper limit. Counts and person-time stand beside every line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.estimate import Estimate
from analyses.figures import ACCENT, INK, STYLE, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARKS = (0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000, 3000, 10_000)


def rate_figure(
    estimates: Sequence[Estimate], labels: Sequence[str], width_in: float, axis_label: str,
) -> Figure:
    """Rates as points with their intervals, one a line, events and time at the right.

    estimates: of kind "rate", all per the same person-time; one that cannot be given gets its
    words and no point. Width in inches.
    """
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 0.8 + 0.32 * max(len(estimates), 1))
        low, high = _ends(estimates)
        places = list(range(len(estimates)))[::-1]
        for place, estimate in zip(places, estimates, strict=True):
            _draw(axes, place, estimate, low)
        axes.set_xscale("log")
        marks = [mark for mark in MARKS if low <= mark <= high]
        axes.set_xlim(low, high)
        axes.set_xticks(marks, [f"{mark:g}" for mark in marks])
        axes.minorticks_off()
        axes.set_yticks(places, labels)
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(-0.6, len(estimates) - 0.4)
        axes.set_xlabel(axis_label)
        axes.spines["left"].set_visible(False)
        axes.grid(axis="x", color="#d5dbde", linewidth=0.6)
        axes.set_axisbelow(True)
        for place, estimate in zip(places, estimates, strict=True):
            axes.annotate(estimate.number_text().replace(" (", "\n("), (1.02, place),
                          xycoords=("axes fraction", "data"), va="center", fontsize=7,
                          linespacing=1.05, annotation_clip=False)
    return figure


def _draw(axes: Axes, place: int, estimate: Estimate, left: float) -> None:
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
