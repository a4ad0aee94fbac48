"""Ratios with their intervals on a logarithmic axis, one a line, with what stands behind each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.figures.figure_lines import axis_words, is_narrow, lay_out, line_figure
from analyses.figures.figure_style import ACCENT, INK, QUIET, STYLE
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import ratio, span

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)
FARTHEST = 64.0
"""Beyond this ratio, and its inverse, an interval is cut and ends in an arrow."""


def ratio_figure(estimates: Sequence[Estimate], labels: Sequence[str], width_in: float) -> Figure:
    """A forest of ratios: squares with their intervals, no association marked by a dashed line.

    estimates: ratios of one kind with a value; labels: what stands at the left of each line.
    """
    import matplotlib as mpl

    lines = lay_out(labels, [_counts(e) for e in estimates], width_in)
    low, high = _ends(estimates)
    with mpl.rc_context(STYLE):
        figure, axes = line_figure(lines, width_in)
        axes.set_xscale("log")
        axes.axvline(1, color=QUIET, linewidth=0.9, linestyle="--")
        for place, e in zip(lines.places, estimates, strict=True):
            _draw(axes, place, e, low, high)
        marks = [mark for mark in MARKS if low <= mark <= high]
        most = 4 if is_narrow(width_in) else 8
        if len(marks) > most:
            marks = [m for m in marks if f"{m:g}".rstrip("0").endswith("1")]
        axes.set_xlim(low, high)
        axes.set_xticks(marks, [f"{mark:g}" for mark in marks])
        axes.minorticks_off()
        kind = estimates[0].kind if estimates else "ratio"
        axis_words(axes, f"{kind[:1].upper()}{kind[1:]}, 95 % interval (log scale)", width_in)
    return figure


def _counts(e: Estimate) -> str:
    """`1.84 (1.10–3.07), 15/133 sessions`."""
    if e.value is None or e.low is None or e.high is None:
        return "no number can be given"
    events = "" if e.events is None else f"{e.events:,}/"
    return (f"{ratio(e.value)} ({span(ratio(e.low), ratio(e.high))}), {events}{e.n:,} "
            f"{plural(e.unit)}")


def _ends(estimates: Sequence[Estimate]) -> tuple[float, float]:
    lows = [e.low for e in estimates if e.low]
    highs = [e.high for e in estimates if e.high]
    return (max(min([0.5, *(0.9 * low for low in lows)]), 1 / FARTHEST),
            min(max([2.0, *(1.1 * high for high in highs)]), FARTHEST))


def _draw(axes: Axes, place: float, e: Estimate, low: float, high: float) -> None:
    if e.value is None or e.low is None or e.high is None:
        return
    start, end = max(e.low, low), min(e.high, high)
    axes.plot([start, end], [place, place], color=ACCENT, linewidth=2.2, solid_capstyle="butt")
    for edge, cut, marker in ((start, e.low < low, "<"), (end, e.high > high, ">")):
        if cut:
            axes.plot([edge], [place], marker=marker, color=ACCENT, markersize=6, clip_on=False)
    if low <= e.value <= high:
        axes.plot([e.value], [place], marker="s", color=INK, markersize=5, zorder=3)
