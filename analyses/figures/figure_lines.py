"""Figures with one line a measure: labels, counts and heights that fit the width.

On a wide page the counts stand at the right; in one journal column there is no room for them, and
they stand below the label. The y axis is in inches from the top, so that a line is as high as its
words need.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyses.figures.figure_style import INK, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NARROW_IN = 5.0
"""Below this width counts stand under the labels."""
LETTER_IN_PER_POINT = 0.6 / 72
"""Average width of a letter of the figures' family, in inches a point of type."""
LINE_SPACING = 1.28
LABEL_SHARE = 0.46
"""Share of a narrow figure that labels may take."""
WIDE_LETTERS = 36


@dataclass(frozen=True)
class Lines:
    """The layout of a figure's lines; heights and places in inches from the top of the axes.

    labels: what stands at the left; beside: what stands at the right ("" where it does not).
    """

    labels: tuple[str, ...]
    beside: tuple[str, ...]
    places: tuple[float, ...]
    total_in: float
    points: float


def is_narrow(width_in: float) -> bool:
    """Whether a figure of this width is one of a single column."""
    return width_in < NARROW_IN


def lay_out(
    labels: Sequence[str], counts: Sequence[str], width_in: float, *, least_in: float = 0.28,
) -> Lines:
    """Wrap the labels, place the counts, and give every line the height it needs.

    labels, counts: one a line; least_in: the smallest height of a line in inches.
    """
    narrow = is_narrow(width_in)
    points = 7.0 if narrow else 8.0
    letters = int(LABEL_SHARE * width_in / (points * LETTER_IN_PER_POINT)) if narrow else (
        WIDE_LETTERS)
    words, beside, heights = [], [], []
    for label, count in zip(labels, counts, strict=True):
        mine = [part for line in label.split("\n") for part in textwrap.wrap(line, letters)]
        under = _wrapped(count, letters) if narrow else []
        side = [] if narrow else _wrapped(count, 34)
        words.append("\n".join([*mine, *under]))
        beside.append("\n".join(side))
        lines = max(len(mine) + len(under), len(side), 1)
        heights.append(max(least_in, lines * points * LINE_SPACING / 72 + 0.09))
    starts = [sum(heights[:place]) for place in range(len(heights))]
    places = tuple(start + height / 2 for start, height in zip(starts, heights, strict=True))
    return Lines(tuple(words), tuple(beside), places, sum(heights) or least_in, points)


def line_figure(lines: Lines, width_in: float, below_in: float = 0.62) -> tuple[Figure, Axes]:
    """An empty figure for these lines: labels and counts written, nothing drawn yet.

    below_in: room for the axis and its words, in inches.
    """
    figure, axes = new_figure(width_in, lines.total_in + below_in)
    axes.set_ylim(lines.total_in, 0)
    axes.set_yticks(lines.places, lines.labels, fontsize=lines.points, linespacing=1.15)
    # Room for a mark that stands on the edge of the axes.
    axes.tick_params(axis="y", length=0, pad=7)
    axes.tick_params(axis="x", labelsize=lines.points)
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x", color="#d5dbde", linewidth=0.6)
    axes.set_axisbelow(True)
    for place, text in zip(lines.places, lines.beside, strict=True):
        if text:
            axes.annotate(text, (1.02, place), xycoords=("axes fraction", "data"), va="center",
                          fontsize=lines.points, color=INK, linespacing=1.15,
                          annotation_clip=False)
    return figure, axes


def axis_words(axes: Axes, words: str, width_in: float, points: float = 8.5) -> None:
    """The words below the x axis, wrapped to the room there is beside the labels."""
    room = width_in * (1 - LABEL_SHARE if is_narrow(width_in) else 0.5)
    size = 7.5 if is_narrow(width_in) else points
    letters = max(16, int(room / (size * LETTER_IN_PER_POINT)))
    axes.set_xlabel("\n".join(textwrap.wrap(words, letters)), fontsize=size)


def _wrapped(text: str, letters: int) -> list[str]:
    """Counts on as few lines as fit, the bracket with the interval kept whole where it can be."""
    if len(text) <= letters or not text:
        return [text] if text else []
    head, bracket, rest = text.partition(" (")
    if bracket and len(head) <= letters and len(rest) + 1 <= letters:
        return [head, f"({rest}"]
    return textwrap.wrap(text, letters)
