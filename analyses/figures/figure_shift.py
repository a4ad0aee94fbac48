"""The shift of the modified Rankin Scale: stacked bars before treatment, at worst, and at last."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from analyses.figures.figure_style import INK, QUIET, STYLE, new_figure
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHADES = ("#ffffff", "#e4eaed", "#c6d1d6", "#a0b0b8", "#748892", "#475a64", "#1b2a33")
"""From no symptoms to death, light to dark, so that grey print keeps the order."""

NARROW = 0.028


def shift_figure(
    bars: Sequence[tuple[str, Sequence[Estimate]]], width_in: float,
) -> Figure:
    """One bar a moment, its segments the shares of mRS 0 to 6, each with its number of patients.

    bars: (label, seven proportions with the same denominator). The line between 2 and 3 of
    neighbouring bars is joined, so that the share who are independent can be followed.
    """
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, (0.95 if width_in > 5 else 1.3) + 0.55 * len(bars))
        places = list(range(len(bars)))[::-1]
        ends = [_bar(axes, place, found) for place, (_, found) in
                zip(places, bars, strict=True)]
        for (upper, lower), (a, b) in zip(zip(places, places[1:], strict=False),
                                          zip(ends, ends[1:], strict=False), strict=True):
            axes.plot([a, b], [upper - 0.31, lower + 0.31], color=INK, linewidth=1, linestyle=":")
        narrow = width_in < 5
        axes.set_yticks(places, [textwrap.fill(label, 11 if narrow else 30) for label, _ in bars])
        axes.tick_params(axis="y", length=0)
        axes.set_xlim(0, 1)
        axes.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0", "25", "50", "75", "100"])
        n = bars[0][1][0].n if bars else 0
        words = f"Patients (%), n = {n or 0:,}; numbers of patients in the bars"
        axes.set_xlabel(textwrap.fill(words, 34 if narrow else 80))
        axes.spines["left"].set_visible(False)
        _legend(axes, 3 if narrow else 7)
    return figure


def _bar(axes: Axes, place: int, found: Sequence[Estimate]) -> float:
    """Draw one bar; returns where mRS 2 ends, from 0 to 1."""
    left, end = 0.0, 0.0
    for score, estimate in enumerate(found):
        share = estimate.value or 0.0
        axes.barh(place, share, 0.62, left=left, color=SHADES[score], edgecolor=INK,
                  linewidth=0.7)
        if share >= NARROW:
            axes.text(left + share / 2, place, str(estimate.events), ha="center", va="center",
                      fontsize=8, color="white" if score >= 4 else INK)
        left += share
        end = left if score == 2 else end
    return end


def _legend(axes: Axes, columns: int) -> None:
    from matplotlib.patches import Patch

    words: Mapping[int, str] = {0: "0 no symptoms", 6: "6 dead"}
    axes.legend(
        handles=[Patch(facecolor=shade, edgecolor=QUIET, label=words.get(score, str(score)))
                 for score, shade in enumerate(SHADES)],
        title="mRS", loc="lower left", bbox_to_anchor=(0, 1.0), ncols=columns, frameon=False,
        borderaxespad=0, fontsize=8, title_fontsize=8, alignment="left",
        handlelength=1.2, columnspacing=1.1)
