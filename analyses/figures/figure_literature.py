"""Published series and our own by size, with the range that a new series like them would show."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analyses.figures.figure_style import EVENT, INK, QUIET, STYLE, new_figure
from analyses.statistics.control_charts.funnel import binomial_density, exact_limit
from analyses.statistics.estimate import Estimate
from analyses.statistics.pooling.pooled_proportion import Pooled
from analyses.words.estimate_text import plural

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TAIL = 0.025
CURVE_POINTS = 40
LETTERS_PER_INCH = 16
"""Letters of 7 points on an inch."""
RANGE_WORDS = "range of 95 of 100 new series that differ as these do"
CHANCE_WORDS = "range by chance alone, if all shared one proportion"


def literature_funnel(
    pooled: Pooled, lines: Sequence[Estimate], names: Sequence[str], own: Estimate, size: float,
    width_in: float,
) -> Figure:
    """A funnel: the share with an event against the number of units, one mark a series.

    lines, names: the pooled series; own: this service's estimate, drawn at `size`, its number of
    independent units. Solid limits: those of a new series that differs as the pooled ones do;
    dashed: binomial limits (chance alone). Series are numbered, and named below the axis.
    """
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 3.5 + 0.17 * len(lines))
        sizes = _sizes([*(e.n or 1 for e in lines), size])
        _limits(axes, pooled, sizes)
        for number, line in enumerate(lines, start=1):
            assert line.n is not None  # only series with counts are pooled
            axes.plot(line.n, 100 * (line.value or 0), "o", color=INK, markerfacecolor="white",
                      markersize=11, clip_on=False, zorder=4)
            axes.annotate(str(number), (line.n, 100 * (line.value or 0)), ha="center",
                          va="center", fontsize=7, zorder=5, annotation_clip=False)
        axes.plot(size, 100 * (own.value or 0), "D", color=EVENT, markersize=7, clip_on=False,
                  zorder=6, label="this service, at its number of independent units")
        _finish(axes, pooled, [*lines, own], sizes, width_in)
        _key(axes, lines, names, width_in)
    return figure


def _sizes(given: Sequence[float]) -> list[int]:
    low, high = max(5.0, 0.6 * min(given)), 1.5 * max(given)
    sizes = np.unique(np.geomspace(low, high, CURVE_POINTS).astype(int))
    return [int(size) for size in sizes]


def _limits(axes: Axes, pooled: Pooled, sizes: Sequence[int]) -> None:
    assert pooled.new is not None and pooled.estimate.value is not None
    centre = pooled.estimate.value
    wide = np.array([_ends(pooled.new.chances(n), n) for n in sizes])
    chance = np.array([_ends(binomial_density(n, centre), n) for n in sizes])
    axes.fill_between(sizes, wide[:, 0], wide[:, 1], color="#e8edef", linewidth=0, zorder=0)
    axes.plot(sizes, wide, color=INK, linewidth=1.2, label=[RANGE_WORDS, "_"])
    axes.plot(sizes, chance, color=QUIET, linewidth=1.0, linestyle=(0, (4, 2)),
              label=[CHANCE_WORDS, "_"])
    axes.axhline(100 * centre, color=QUIET, linewidth=0.8, label="typical series")


def _ends(density: np.ndarray, total: int) -> tuple[float, float]:
    low, high = (100 * exact_limit(density, tail) / total for tail in (TAIL, 1 - TAIL))
    return low, high


def _finish(
    axes: Axes, pooled: Pooled, drawn: Sequence[Estimate], sizes: Sequence[int], width_in: float,
) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    unit = plural(drawn[-1].unit)
    axes.set_xscale("log")
    axes.set_xlim(sizes[0], sizes[-1])
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    top = max(axes.get_ylim()[1], *(110 * (e.value or 0) for e in drawn))
    axes.set_ylim(0, min(top, 100))
    axes.set_xlabel(f"{unit[:1].upper()}{unit[1:]} in the series (log scale)")
    axes.set_ylabel(f"{unit[:1].upper()}{unit[1:]} with an event (%)")
    handles, words = axes.get_legend_handles_labels()
    letters = int((width_in - 0.9) * LETTERS_PER_INCH)
    axes.legend(handles, [textwrap.fill(label, letters) for label in words], loc="lower left",
                bbox_to_anchor=(0, 1.0), frameon=False, borderaxespad=0, fontsize=7, ncols=1)


def _key(
    axes: Axes, lines: Sequence[Estimate], names: Sequence[str], width_in: float,
) -> None:
    """The numbered series below the axis, each with its counts."""
    letters = int(width_in * LETTERS_PER_INCH)
    words = [part for number, (name, line) in enumerate(zip(names, lines, strict=True), start=1)
             for part in textwrap.wrap(f"{number}  {name}: {line.events:,}/{line.n:,}", letters)]
    axes.annotate("\n".join(words), (0, 0), xycoords="axes fraction", xytext=(0, -36),
                  textcoords="offset points", va="top", fontsize=7, linespacing=1.35)
