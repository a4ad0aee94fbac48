"""The flow of patients as a diagram: boxes, arrows, and who left at each step."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from analyses.figures import ACCENT, INK, QUIET, STYLE
from analyses.flow import Flow, words_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LINE_IN = 0.165
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
    heights = [_height(left, right) for left, right, _ in rows]
    total = sum(heights) + GAP_IN * (len(rows) + 1) + 0.3
    with mpl.rc_context(STYLE):
        figure = MplFigure(figsize=(width_in, total))
        axes = figure.add_axes((0.01, 0.0, 0.98, 1.0))
        axes.set_xlim(0, 1)
        axes.set_ylim(total, 0)
        axes.axis("off")
        _draw(axes, rows, heights)
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


def _wrapped(lines: object, width_in: float) -> list[str]:
    letters = _letters(width_in, RIGHT)
    return [part for line in lines for part in textwrap.wrap(  # type: ignore[attr-defined]
        line, letters, subsequent_indent="   ")]


def _letters(width_in: float, column: tuple[float, float]) -> int:
    """How many letters of our size fit across a column."""
    return int((column[1] - column[0]) * width_in * 13.5) - 3


def _height(left: list[str], right: list[str]) -> float:
    return LINE_IN * max(len(left), len(right), 1) + PAD_IN


def _draw(axes: Axes, rows: list[Row], heights: list[float]) -> None:
    top, last_trunk = GAP_IN, None
    heading = next(place for place, row in enumerate(rows) if not row[2])
    for place, ((left, right, trunk), height) in enumerate(zip(rows, heights, strict=True)):
        if place == heading:
            axes.text(LEFT[0], top + 0.06, "In each analysis", va="center", fontsize=8.5,
                      color=QUIET)
            axes.text(RIGHT[0], top + 0.06, "Not in it", va="center", fontsize=8.5, color=QUIET)
            top += 0.26
        _box(axes, LEFT, top, height, left, ACCENT if trunk else QUIET, trunk)
        if right:
            _box(axes, RIGHT, top, height, right, QUIET, False)
            _arrow(axes, (LEFT[1], top + height / 2), (RIGHT[0], top + height / 2))
        if trunk and last_trunk is not None:
            middle = (LEFT[0] + LEFT[1]) / 2
            _arrow(axes, (middle, last_trunk), (middle, top))
        last_trunk = top + height if trunk else None
        top += height + GAP_IN


def _box(axes: Axes, column: tuple[float, float], top: float, height: float, lines: list[str],
         edge: str, bold: bool) -> None:
    from matplotlib.patches import Rectangle

    left, right = column
    axes.add_patch(Rectangle((left, top), right - left, height, facecolor="white",
                             edgecolor=edge, linewidth=1.4 if bold else 0.8, clip_on=False))
    start = top + height / 2 - LINE_IN * (len(lines) - 1) / 2
    for place, line in enumerate(lines):
        axes.text(left + 0.012, start + LINE_IN * place, line, va="center", color=INK,
                  fontsize=8.5, fontweight="bold" if bold and place == 0 else "normal")


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    axes.annotate("", end, start, arrowprops={
        "arrowstyle": "-|>", "color": QUIET, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0})
