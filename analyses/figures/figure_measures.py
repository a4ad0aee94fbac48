"""Measurements and differences drawn: every value as a mark, with the median and its interval."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analyses.figures.figure_style import ACCENT, EVENT, INK, QUIET, STYLE, new_figure, whole_steps
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def strip_figure(
    groups: Sequence[tuple[str, Floats, Estimate]], axis_label: str, width_in: float,
) -> Figure:
    """One line a group: each value a small ring, the median a diamond with its interval.

    groups: (label, values, median of them). The medians' numbers stand beside.
    """
    import matplotlib as mpl

    from analyses.figures.figure_lines import axis_words, lay_out, line_figure

    lines = lay_out([label for label, _, _ in groups], [e.number_text() for _, _, e in groups],
                    width_in, least_in=0.5)
    with mpl.rc_context(STYLE):
        figure, axes = line_figure(lines, width_in)
        for place, (_, values, median) in zip(lines.places, groups, strict=True):
            axes.scatter(values, place + _spread(len(values)), s=11, facecolor="none",
                         edgecolor=QUIET, linewidth=0.6)
            _median(axes, place, median)
        axes.set_xlim(left=0)
        axis_words(axes, axis_label, width_in)
    return figure


def dose_figure(
    values: Floats, found: Estimate, limit: float, axis_label: str, width_in: float,
) -> Figure:
    """The distribution of a dose: a histogram with the median, the quartiles and a marked limit.

    values: one a session; found: their median (quartiles in `beside`).
    """
    import matplotlib as mpl
    import seaborn

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 2.5 if width_in > 5 else 3.0)
        if len(values):
            top = max(float(values.max()), limit) * 1.02
            seaborn.histplot(x=values, bins=np.linspace(0, top, 31).tolist(), color="#dfe5e8",
                             edgecolor=QUIET, linewidth=0.5, alpha=1, ax=axes)
            _dose_lines(axes, found, limit)
        else:
            axes.text(0.5, 0.5, "no dose recorded", ha="center", transform=axes.transAxes)
        axes.set_xlim(left=0)
        axes.xaxis.set_major_formatter("{x:,.0f}")
        words = f"{axis_label}, n = {len(values):,} sessions"
        axes.set_xlabel("\n".join(textwrap.wrap(words, int(width_in * 13))))
        axes.set_ylabel("Sessions")
        whole_steps(axes.yaxis)
        if len(values):
            axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3 if width_in > 5 else 1,
                        frameon=False, borderaxespad=0, fontsize=8 if width_in > 5 else 7)
    return figure


def difference_figure(
    estimates: Sequence[Estimate], labels: Sequence[str], width_in: float,
) -> Figure:
    """Differences in percentage points with their intervals, no difference marked by a line."""
    import matplotlib as mpl

    from analyses.figures.figure_lines import axis_words, lay_out, line_figure

    counts = [" against ".join(f"{a.events:,}/{a.n:,}" for a in e.arms) for e in estimates]
    lines = lay_out(labels, counts, width_in)
    with mpl.rc_context(STYLE):
        figure, axes = line_figure(lines, width_in)
        axes.axvline(0, color=QUIET, linewidth=0.9, linestyle="--")
        for place, e in zip(lines.places, estimates, strict=True):
            if e.value is None:
                continue
            if e.low is not None and e.high is not None:
                axes.plot([100 * e.low, 100 * e.high], [place, place], color=ACCENT,
                          linewidth=2.2, solid_capstyle="butt")
            axes.plot([100 * e.value], [place], marker="o", color=INK, markersize=5)
        axis_words(axes, "Difference (percentage points), 95 % interval", width_in)
    return figure


def _median(axes: Axes, place: float, median: Estimate) -> None:
    if median.value is None:
        return
    if median.low is not None and median.high is not None:
        axes.plot([median.low, median.high], [place, place], color=ACCENT, linewidth=2.2,
                  solid_capstyle="butt", zorder=3)
    axes.plot([median.value], [place], marker="D", color=INK, markersize=5.5, zorder=4)


def _spread(count: int) -> Floats:
    """Small fixed offsets in inches, the same each time: marks at one value can be told apart.

    (seaborn's strips take theirs from a generator shared by the whole program, so that a figure
    would differ each time it is drawn.)
    """
    turns: Floats = np.sin(np.arange(count) * 2.399963)
    return 0.13 * turns


def _dose_lines(axes: Axes, found: Estimate, limit: float) -> None:
    quartiles = {e.kind: e.value for e in found.beside}
    low, high = quartiles.get("lower quartile"), quartiles.get("upper quartile")
    if low is not None and high is not None:
        axes.axvspan(low, high, color=ACCENT, alpha=0.14, label=f"quartiles {low:,.0f}–{high:,.0f}")
    if found.value is not None:
        axes.axvline(found.value, color=INK, linewidth=1.6, label=f"median {found.value:,.0f}")
    axes.axvline(limit, color=EVENT, linewidth=1.4, linestyle="--",
                 label=f"substantial dose {limit:,.0f}")
