"""One patient's course on one A4 page: a time line drawn to scale, and every line of it below."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from analyses.cases.patient_course import LANES, CourseLine, PatientCourse
from analyses.figures.figure_style import ACCENT, EVENT, INK, QUIET, STYLE

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

A4_IN = (8.27, 11.69)
INSIDE = "Inside the service only: study code and dates."
TOP, MIDDLE, FOOT = 0.90, 0.69, 0.045
"""Heights on the page, from 0 to 1: of the time line's upper and lower edge, of the table's end."""
LEFT, RIGHT = 0.08, 0.95
COLUMNS = (LEFT, 0.20, 0.46)
LARGEST_PT, SMALLEST_PT = 8.5, 5.5
LINE_OF_KINDS, LINE_OF_WORDS = 29, 70
"""Letters a line of the last two columns at the largest size."""
DAYS_NAMED = 6
MARKS = {"Embolization": ("s", ACCENT), "Operation": ("^", INK), "Event": ("D", EVENT),
         "Follow-up": ("|", QUIET)}
SHORTEST_DAYS = 30.0
LINE_SPACING = 1.15


def course_page(course: PatientCourse, frozen_on: str) -> Figure:
    """The page. frozen_on: of which day the data are, in words.

    A course that is too long for the page in letters of 5.5 points leaves out follow-ups between
    the first and the last ones, and says how many.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure as MplFigure

    with mpl.rc_context(STYLE):
        figure = MplFigure(figsize=A4_IN)
        figure.text(LEFT, 0.965, f"Course of {course.code}", fontsize=15, va="top")
        figure.text(RIGHT, 0.962, INSIDE, fontsize=9, va="top", ha="right", color=EVENT)
        figure.text(LEFT, 0.938, "\n".join(textwrap.wrap(f"{course.who}. {frozen_on}.", 118)),
                    fontsize=8, va="top")
        axes = figure.add_axes((0.17, MIDDLE, RIGHT - 0.17, TOP - MIDDLE - 0.015))
        _draw_line(axes, course.lines)
        _write_table(figure, course.lines)
        figure.text(LEFT, 0.018, f"{INSIDE} Describes; does not decide treatment.", fontsize=7.5)
    return figure


def _draw_line(axes: Axes, lines: Sequence[CourseLine]) -> None:
    """The four lanes over calendar time."""
    from matplotlib import dates as untyped

    dates: Any = untyped
    for place, lane in enumerate(reversed(LANES)):
        marker, colour = MARKS[lane]
        days = dates.date2num([line.day for line in lines if line.lane == lane])
        axes.axhline(place, color="#dfe5e8", linewidth=1, zorder=0)
        axes.plot(days, [place] * len(days), marker, color=colour, markersize=7, clip_on=False,
                  markeredgewidth=1.6, alpha=0.8)
        harmed = dates.date2num([one.day for one in lines if one.lane == lane and one.deficit])
        # Ringed as well as coloured: seen in grey.
        axes.plot(harmed, [place] * len(harmed), "o", markersize=13, markerfacecolor="none",
                  markeredgecolor=EVENT, markeredgewidth=1.6, linestyle="", clip_on=False)
    axes.set_yticks(range(len(LANES)), list(reversed(LANES)))
    axes.set_ylim(-0.6, len(LANES) - 0.4)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    first, last = dates.date2num([lines[0].day, lines[-1].day])
    span = max(last - first, SHORTEST_DAYS)
    # Days from the first to the last, written as in the list below, the year always with them.
    axes.set_xticks(sorted({round(first + k * (last - first) / (DAYS_NAMED - 1))
                            for k in range(DAYS_NAMED)}))
    axes.xaxis.set_major_formatter(dates.DateFormatter("%Y-%m-%d"))
    axes.set_xlim(first - 0.03 * span, first + 1.03 * span)
    ringed = "; ringed: with a new deficit" if any(line.deficit for line in lines) else ""
    axes.set_xlabel(
        f"{lines[0].day.isoformat()} to {lines[-1].day.isoformat()}, to scale{ringed}")


def _write_table(figure: Figure, lines: Sequence[CourseLine]) -> None:
    """Every line, in letters as large as the page allows."""
    rows, size, left_out = _fitted(lines)
    step = _height(size)
    at = MIDDLE - 0.075
    for column, words in zip(COLUMNS, ("Day", "What", "As recorded"), strict=True):
        figure.text(column, at, words, fontsize=size, fontweight="bold", va="top")
    for line, what, told in rows:
        at -= step * 1.25
        colour = EVENT if line.harm else INK
        about = "" if line.known_to == "day" else f" ({line.known_to})"
        figure.text(COLUMNS[0], at, f"{line.day.isoformat()}{about}", fontsize=size, va="top",
                    color=colour, linespacing=LINE_SPACING)
        figure.text(COLUMNS[1], at, "\n".join(what), fontsize=size, va="top", color=colour,
                    linespacing=LINE_SPACING)
        figure.text(COLUMNS[2], at, "\n".join(told), fontsize=size, va="top", color=colour,
                    linespacing=LINE_SPACING)
        at -= step * (max(len(what), len(told)) - 1)
    if left_out:
        figure.text(LEFT, FOOT - 0.006, f"{left_out} follow-ups between those shown are left out "
                    "of this list for room; they stand on the time line.", fontsize=7.5)


def _fitted(
    lines: Sequence[CourseLine],
) -> tuple[list[tuple[CourseLine, list[str], list[str]]], float, int]:
    """The rows with the lines of their last two columns, their size in points, and how many
    follow-ups had to be left out."""
    kept = list(lines)
    room = MIDDLE - 0.075 - FOOT - 0.02
    while True:
        size = LARGEST_PT
        while size >= SMALLEST_PT:
            more = LARGEST_PT / size
            rows = [(line, textwrap.wrap(line.what, int(LINE_OF_KINDS * more)) or [""],
                     textwrap.wrap(line.told, int(LINE_OF_WORDS * more)) or [""])
                    for line in kept]
            if sum(_height(size) * (0.25 + max(len(what), len(told)))
                   for _, what, told in rows) <= room:
                return rows, size, len(lines) - len(kept)
            size -= 0.5
        visits = [line for line in kept if line.lane == "Follow-up"]
        if len(visits) <= 2:
            return rows, SMALLEST_PT, len(lines) - len(kept)
        kept.remove(visits[len(visits) // 2])


def _height(size: float) -> float:
    """The height of a line of letters of this size, of the page's."""
    return 1.22 * size / 72 / A4_IN[1]
