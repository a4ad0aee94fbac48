"""The day of an event by the hour: the procedure as a bar, then each mark with its words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.cases.case_hours import EventDay
from analyses.figures.figure_style import ACCENT, EVENT, INK, QUIET, STYLE, new_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARKS = {"onset": "D", "recognised": "o", "treated": "^", "another": "s"}
SHAPE, WORDS_PT = 0.38, 9.0
SHORTEST_H, LONGEST_BEFORE_H, IN_MINUTES_H = 0.5, 6.0, 3.0
"""Hours drawn at least; of the procedure at most; and below how many the axis is in minutes."""


def hours_figure(day: EventDay, width_in: float) -> Figure:
    """Hours (minutes where all lies within three hours) around an event, drawn to scale.

    Each mark stands on the line of time; its words stand at a height of their own, so that marks
    a few minutes apart can all be read.
    """
    import matplotlib as mpl

    last = max((mark.hour for mark in day.marks), default=0.0)
    before = min(day.length_h or 0.0, LONGEST_BEFORE_H)
    scale = 60.0 if last <= IN_MINUTES_H and before <= IN_MINUTES_H else 1.0
    span = max(SHORTEST_H, last) + before
    low, high = -before - 0.04 * span, max(SHORTEST_H, last) + 0.04 * span
    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, SHAPE * width_in)
        axes.axhline(0, color=QUIET, linewidth=1.2, zorder=1)
        if before:
            axes.barh(0, before * scale, left=-before * scale, height=0.35, color=ACCENT,
                      alpha=0.35, edgecolor=ACCENT)
            axes.text(-before * scale / 2, -0.42, day.procedure, ha="center", va="top",
                      fontsize=WORDS_PT)
        axes.plot([0, 0], [-0.25, 0.25], color=INK, linewidth=1.4)
        for place, mark in enumerate(day.marks):
            height = 0.7 + 0.62 * (len(day.marks) - 1 - place)
            late = mark.hour > low + 0.6 * (high - low)
            colour = EVENT if mark.sign in ("onset", "another") else INK
            axes.plot([mark.hour * scale] * 2, [0, height], color=QUIET, linewidth=0.8, zorder=1)
            axes.plot([mark.hour * scale], [0], MARKS[mark.sign], color=colour, markersize=7,
                      markeredgecolor=INK, zorder=3, clip_on=False)
            axes.annotate(f"{_when(mark.hour)}: {mark.words}", (mark.hour * scale, height),
                          xytext=(-5 if late else 5, 0), textcoords="offset points",
                          ha="right" if late else "left", va="center", fontsize=WORDS_PT,
                          fontweight="bold" if mark.sign == "onset" else "normal", color=INK)
        axes.set_ylim(-1.0, 0.7 + 0.62 * max(1, len(day.marks)))
        axes.set_xlim(low * scale, high * scale)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        unit = "Minutes" if scale > 1 else "Hours"
        axes.set_xlabel(f"{unit} after the end of the {day.procedure}")
    return figure


def _when(hour: float) -> str:
    """An hour in words: minutes below two hours."""
    return f"{60 * hour:.0f} min" if hour < 2 else f"{hour:.1f} h".replace(".0 h", " h")
