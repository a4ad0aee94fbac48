"""The flow of patients as a diagram: boxes, arrows, and who left at each step."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

from analyses.figures.figure_lines import is_narrow
from analyses.figures.figure_style import ACCENT, INK, QUIET, STYLE
from analyses.measures.flow import Flow, words_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAD_IN = 0.13
GAP_IN = 0.16
LEFT = (0.0, 0.42)
RIGHT = (0.50, 1.0)
"""Left and right edges of the two columns, as shares of the width."""


def flow_figure(flow: Flow, width_in: float) -> Figure:
    """The diagram of a flow: trunk at the left, losses at the right, then one row an analysis."""
    import matplotlib as mpl
    from matplotlib.figure import Figure as MplFigure

    rows = _rows(flow, width_in)
    heights = [_height(left, right, width_in) for left, right, _ in rows]
    total = sum(heights) + GAP_IN * (len(rows) + 1) + 0.3
    with mpl.rc_context(STYLE):
        figure = MplFigure(figsize=(width_in, total))
        axes = figure.add_axes((0.01, 0.0, 0.98, 1.0))
        axes.set_xlim(0, 1)
        axes.set_ylim(total, 0)
        axes.axis("off")
        _draw(axes, rows, heights, width_in)
    return figure


Row = tuple[list[str], list[str], bool]
"""Lines of the left box, lines of the right box (none: no box), whether it is of the trunk."""


def _rows(flow: Flow, width_in: float) -> list[Row]:
    rows: list[Row] = []
    losses = (*flow.losses, ())
    for (words, count), lost in zip(flow.trunk, losses, strict=True):
        rows.append(([words, f"n = {count.n:,}"], _wrapped(words_of(lost), width_in), True))
    for label, base, inside, lost in flow.analyses:
        left = textwrap.wrap(label, _letters(width_in, LEFT))
        rows.append(([*left, f"{inside.n:,} of the {base}"],
                     _wrapped(words_of(lost), width_in), False))
    return rows


def _wrapped(lines: Iterable[str], width_in: float) -> list[str]:
    letters = _letters(width_in, RIGHT)
    return [part for line in lines for part in textwrap.wrap(
        line, letters, subsequent_indent="   ")]


def _letters(width_in: float, column: tuple[float, float]) -> int:
    """How many letters of our size fit across a column."""
    return int((column[1] - column[0]) * width_in * 115 / _points(width_in)) - 3


def _points(width_in: float) -> float:
    """Size of type: a little smaller where there is one journal column only."""
    return 7.0 if is_narrow(width_in) else 8.5


def _line_in(width_in: float) -> float:
    return 0.0194 * _points(width_in)


def _height(left: list[str], right: list[str], width_in: float) -> float:
    return _line_in(width_in) * max(len(left), len(right), 1) + PAD_IN


def _draw(axes: Axes, rows: list[Row], heights: list[float], width_in: float) -> None:
    top, last_trunk = GAP_IN, None
    heading = next(place for place, row in enumerate(rows) if not row[2])
    points, line_in = _points(width_in), _line_in(width_in)
    for place, ((left, right, trunk), height) in enumerate(zip(rows, heights, strict=True)):
        if place == heading:
            axes.text(LEFT[0], top + 0.06, "In each analysis", va="center", fontsize=points,
                      color=QUIET)
            axes.text(RIGHT[0], top + 0.06, "Not in it", va="center", fontsize=points,
                      color=QUIET)
            top += 0.26
        _box(axes, LEFT, top, height, left, (ACCENT if trunk else QUIET, trunk), (points, line_in))
        if right:
            _box(axes, RIGHT, top, height, right, (QUIET, False), (points, line_in))
            _arrow(axes, (LEFT[1], top + height / 2), (RIGHT[0], top + height / 2))
        if trunk and last_trunk is not None:
            middle = (LEFT[0] + LEFT[1]) / 2
            _arrow(axes, (middle, last_trunk), (middle, top))
        last_trunk = top + height if trunk else None
        top += height + GAP_IN


def _box(
    axes: Axes, column: tuple[float, float], top: float, height: float, lines: list[str],
    look: tuple[str, bool], size: tuple[float, float],
) -> None:
    """A box with its lines. look: edge and whether it is of the trunk; size: points, line."""
    from matplotlib.patches import Rectangle

    left, right = column
    (edge, bold), (points, line_in) = look, size
    axes.add_patch(Rectangle((left, top), right - left, height, facecolor="white",
                             edgecolor=edge, linewidth=1.4 if bold else 0.8, clip_on=False))
    start = top + height / 2 - line_in * (len(lines) - 1) / 2
    for place, line in enumerate(lines):
        axes.text(left + 0.012, start + line_in * place, line, va="center", color=INK,
                  fontsize=points, fontweight="bold" if bold and place == 0 else "normal")


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    axes.annotate("", end, start, arrowprops={
        "arrowstyle": "-|>", "color": QUIET, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0})
