"""Figures of time to an event: curves with their interval, and the numbers at risk below.

They return a matplotlib figure and touch no file. Readable in grey and by colour-blind readers:
curves differ by dash and by lightness as well as by hue (the hues of Okabe and Ito 2008), and
each is labelled where it ends, or above the axes where one journal column leaves no room. A
curve ends where it may no longer be read (`at_risk.read_to`): where fewer than a tenth are still
followed (Pocock and others 2002, Lancet 359:1686; from memory).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from textwrap import fill
from typing import TYPE_CHECKING, Literal

import numpy as np

from analyses.figures.figure_lines import is_narrow
from analyses.figures.figure_style import INK, QUIET, STYLE
from analyses.statistics.timetoevent.at_risk import FEW_LEFT

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from analyses.statistics.timetoevent.incidence_curves import IncidenceCurves
    from analyses.statistics.timetoevent.survival_curves import SurvivalCurves

Look = tuple[str, Literal["-"] | tuple[float, tuple[float, ...]]]
"""The colour and the dash of a curve."""
LOOKS: tuple[Look, ...] = (
    ("#0072b2", "-"), ("#d55e00", (0, (5, 1.6))), ("#1b2a33", (0, (1.2, 1.2))),
    ("#cc79a7", (0, (7, 1.5, 1.2, 1.5))), ("#009e73", (0, (3, 1, 1, 1, 1, 1))),
)
"""Colour and dash of each curve in turn; the lightness differs from one to the next."""

ROW_HEIGHT_IN = 0.2
LABEL_GAP = 0.062
AT_RISK_PAD = 22
NOTE_CHARACTERS_PER_IN = 14.5


@dataclass(frozen=True)
class Line:
    """One curve ready to draw: steps from time 0 in per cent to where it may be read.

    cut: whether the table goes on beyond.
    """

    label: str
    time: NDArray[np.float64]
    value: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    censored_at: NDArray[np.float64]
    cut: bool


def survival_figure(
    curves: SurvivalCurves, width_in: float, *, time_label: str, value_label: str,
    times: Sequence[float] | None = None, height_in: float = 3.1,
) -> Figure:
    """Kaplan–Meier curves, a tick at each censoring, numbers at risk (events so far) below.

    time_label names the time with its unit and start ("Years from first treatment");
    value_label what the curve shows, without the unit ("Free of haemorrhage"). times: where the
    axis is marked and the numbers stand (default: five to seven round ones). Sizes in inches.
    Raises ValueError for more groups than can be told apart.
    """
    lines = [
        _line(part, label, curves.curve(group).value_at(0.0))
        for label, group, part in _parts(curves.table, curves.groups)
    ]
    at = _marks(lines, times, width_in)
    return _figure(lines, curves.at_risk_table(at), at, (width_in, height_in),
                   (time_label, f"{value_label}, %"), (100.0, curves.labels.level))


def incidence_figure(
    curves: IncidenceCurves, width_in: float, *, time_label: str, value_label: str,
    cause_labels: dict[int, str] | None = None, times: Sequence[float] | None = None,
    height_in: float = 3.1,
) -> Figure:
    """Cumulative incidence: of one cause by group, or of every cause where there are no groups.

    cause_labels: event code to words, such as {1: "obliterated", 2: "died first"}; with groups
    only code 1 is drawn. Numbers at risk (events of code 1 so far) stand below. The axis ends
    above the highest limit and says so by its marks. Otherwise as `survival_figure`.
    """
    words = cause_labels or {}
    if curves.groups:
        lines = [_line(part, label, curves.curve(group).value_at(0.0, 1))
                 for label, group, part in _parts(curves.cause_table(1), curves.groups)]
    else:
        lines = [_line(curves.cause_table(cause), words.get(cause, f"event code {cause}"),
                       curves.curve().value_at(0.0, cause)) for cause in curves.causes]
    at = _marks(lines, times, width_in)
    return _figure(lines, curves.at_risk_table(at), at, (width_in, height_in),
                   (time_label, f"{value_label}, %"), (_upper_end(lines), curves.labels.level))


def _parts(
    table: pd.DataFrame, groups: tuple[Hashable, ...],
) -> list[tuple[str, Hashable | None, pd.DataFrame]]:
    if not groups:
        return [("", None, table)]
    return [(str(group), group, table[[g == group for g in table["group"]]]) for group in groups]


def _line(table: pd.DataFrame, label: str, at_zero: tuple[float, float, float]) -> Line:
    """Steps in per cent, with time 0 before the first row; NaN limits where there are none."""
    start, low, high = at_zero
    time = table["time"].to_numpy(float)
    end = _readable_to(table)
    read = time <= end

    def steps(column: str, first: float) -> NDArray[np.float64]:
        return 100 * np.concatenate([[first], table[column].to_numpy(float)[read]])

    return Line(
        label, np.concatenate([[0.0], time[read]]), steps("estimate", start), steps("low", low),
        steps("high", high), time[read & (table["censored"].to_numpy() > 0)],
        bool((~read).any()),
    )


def _readable_to(table: pd.DataFrame) -> float:
    """The last time of a curve's table that may be read, as `at_risk.read_to` says it."""
    time = table["time"].to_numpy(float)
    left = table["at_risk"].to_numpy()
    watched = time[left >= FEW_LEFT * left.max()].max()
    lost = time[table["censored"].to_numpy() > 0]
    return float(max(watched, lost.min() if lost.size else np.inf))


def _marks(lines: list[Line], times: Sequence[float] | None, width_in: float) -> list[float]:
    """Round times from 0 to the longest follow-up, or those asked for."""
    if times is not None:
        return [float(t) for t in times]
    from matplotlib.ticker import MaxNLocator

    last = max(line.time[-1] for line in lines) or 1.0
    most = 4 if is_narrow(width_in) else 6
    ticks = MaxNLocator(nbins=most, steps=[1, 2, 2.5, 5, 10]).tick_values(0, last)
    return [float(t) for t in ticks if 0 <= t <= last]


def _upper_end(lines: list[Line]) -> float:
    """A round per cent above the highest limit that is drawn."""
    top = max(float(np.nanmax(line.high)) for line in lines)
    top = max(top, *(float(line.value.max()) for line in lines))
    step = 5 if top < 40 else 10
    return float(min(100, step * (int(top / step) + 1)))


def _figure(
    lines: list[Line], below: pd.DataFrame, at: list[float], size: tuple[float, float],
    labels: tuple[str, str], top_and_level: tuple[float, float],
) -> Figure:
    import matplotlib as mpl
    from matplotlib.figure import Figure as MplFigure
    from matplotlib.ticker import MaxNLocator

    if len(lines) > len(LOOKS):
        raise ValueError(f"{len(lines)} curves cannot be told apart; at most {len(LOOKS)} can. "
                         "Put groups together, or draw a figure for each.")
    rows = below["group"].nunique() if "group" in below.columns else 1
    top, level = top_and_level
    narrow = is_narrow(size[0])
    note = fill(_note(lines, level), int(NOTE_CHARACTERS_PER_IN * size[0]))
    # In one column each group's name stands on a line of its own, above its numbers.
    strip = ROW_HEIGHT_IN * (rows * (2 if narrow and rows > 1 else 1) + 1.4)
    with mpl.rc_context(STYLE):
        figure = MplFigure(figsize=(size[0], size[1] + strip), layout="constrained")
        axes, table = figure.subplots(2, 1, sharex=True, height_ratios=[size[1], strip])
        for line, look in zip(lines, LOOKS, strict=False):
            _draw(axes, line, look)
        longest = max(line.time[-1] for line in lines)
        axes.set_xlim(0, longest if longest > 0 else 1)
        axes.set_ylim(0, top)
        axes.yaxis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 5, 10]))
        axes.set_ylabel(labels[1])
        axes.set_xlabel(labels[0])
        axes.set_xticks(at, [f"{t:g}" for t in at])
        axes.tick_params(axis="x", labelbottom=True)
        if narrow:
            _label_above(axes, lines)
        else:
            _label_ends(axes, lines, top)
        _write_at_risk(table, below, at, lines, narrow)
        table.set_title(note, loc="left", fontsize=7.5, color=QUIET)
    return figure


def _note(lines: list[Line], level: float) -> str:
    """What the numbers below and the band are, and why a curve ends."""
    said = f"Still followed (events so far). Band: {100 * level:g} % interval."
    if any(line.cut for line in lines):
        said += " Drawn while a tenth or more are followed."
    return said


def _draw(axes: Axes, line: Line, look: Look) -> None:
    """The curve, its interval, and a tick at each censoring."""
    colour, dash = look
    axes.fill_between(line.time, line.low, line.high, step="post", color=colour, alpha=0.16,
                      linewidth=0)
    axes.plot(line.time, line.value, drawstyle="steps-post", color=colour, linestyle=dash,
              linewidth=1.6)
    if not line.censored_at.size:
        return  # a line without points would still be given room, far outside the axes
    place = np.searchsorted(line.time, line.censored_at, side="right") - 1
    axes.plot(line.censored_at, line.value[place], linestyle="", marker="|", markersize=5,
              markeredgewidth=0.7, color=colour, clip_on=False)


def _label_ends(axes: Axes, lines: list[Line], top: float) -> None:
    """Each label in the right margin at the height its curve ends, pushed apart where they meet.

    A curve that ends early is led to the margin level with its end, never across the others.
    """
    named = [(line, look) for line, look in zip(lines, LOOKS, strict=False) if line.label]
    if not named:
        return
    longest = max(line.time[-1] for line in lines)
    # Of curves that end level, the one that ended first stands lowest.
    ends = np.array([line.value[-1] / top + 1e-6 * line.time[-1] / max(longest, 1e-12)
                     for line, _ in named])
    for (line, look), end, height in zip(named, ends, spread(ends, LABEL_GAP), strict=True):
        axes.plot([line.time[-1], longest], [line.value[-1]] * 2, color=QUIET, linewidth=0.5)
        axes.annotate(
            line.label, xy=(1.0, end), xycoords="axes fraction", xytext=(1.035, height),
            textcoords="axes fraction", va="center", ha="left", color=look[0], fontsize=8.5,
            annotation_clip=False, arrowprops={"arrowstyle": "-", "color": QUIET,
                                               "linewidth": 0.5, "relpos": (0, 0.5),
                                               "shrinkA": 0, "shrinkB": 0},
        )


def _label_above(axes: Axes, lines: list[Line]) -> None:
    """Each label beside a piece of its line, above the axes."""
    from matplotlib.lines import Line2D

    named = [Line2D([], [], color=look[0], linestyle=look[1], linewidth=1.6, label=line.label)
             for line, look in zip(lines, LOOKS, strict=False) if line.label]
    if named:
        axes.legend(handles=named, loc="lower left", bbox_to_anchor=(0, 1.0), frameon=False,
                    fontsize=7.5, borderaxespad=0, handlelength=2.6)


def spread(heights: NDArray[np.float64], gap: float) -> NDArray[np.float64]:
    """Heights from 0 to 1 moved as little as is needed to stand at least `gap` apart."""
    order = np.argsort(heights, kind="stable")
    placed: NDArray[np.float64] = np.array(heights, dtype=float)
    for _ in range(50 * len(heights)):
        moved = False
        for below, above in zip(order[:-1], order[1:], strict=True):
            short = gap - (placed[above] - placed[below])
            if short > 1e-9:
                placed[below] -= short / 2
                placed[above] += short / 2
                moved = True
        if not moved:
            break
    shift = max(0.0, -float(placed.min(initial=0.0))) - max(
        0.0, float(placed.max(initial=0.0)) - 1)
    return placed + shift


def _write_at_risk(
    table: Axes, below: pd.DataFrame, at: list[float], lines: list[Line], narrow: bool,
) -> None:
    """A row a group: how many are still followed, and in brackets the events so far."""
    grouped = "group" in below.columns
    groups = list(dict.fromkeys(below["group"])) if grouped else [None]
    names = [line.label for line in lines] if grouped else [""]
    apart = narrow and grouped
    rows = [2 * row + 1 if apart else row for row in range(len(groups))]
    for place, (row, group, name) in enumerate(zip(rows, groups, names, strict=False)):
        mine = below[[g == group for g in below["group"]]] if grouped else below
        colour = LOOKS[place][0] if grouped else INK
        for time, left, events in zip(at, mine["at_risk"], mine["events"], strict=True):
            table.text(time, row, f"{left} ({events})", ha="center", va="center",
                       fontsize=7 if narrow else 7.5, color=colour, clip_on=False)
        if apart:
            table.annotate(name, (-0.06, row - 0.95), xycoords=("axes fraction", "data"),
                           va="center", fontsize=7, color=colour, annotation_clip=False)
    table.set_yticks(rows, [""] * len(rows) if apart else names)
    for tick, (colour, _) in zip(table.get_yticklabels(), LOOKS, strict=False):
        tick.set_color(colour)
    table.set_ylim(rows[-1] + 0.6, -0.6)
    table.tick_params(length=0, labelbottom=False)
    table.tick_params(axis="y", pad=AT_RISK_PAD)
    for side in table.spines.values():
        side.set_visible(False)
