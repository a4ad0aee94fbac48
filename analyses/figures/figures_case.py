"""Figures of one case: its course drawn to scale, its mRS, the diagram of contributing factors.

Wide and low, with few large letters: they are looked at from the back of a room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from analyses.cases.one_case import CourseEvent, MrsPoint
from analyses.figures.figure_style import ACCENT, EVENT, INK, QUIET, STYLE, new_figure, whole_steps

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LANES = ("sessions", "operations", "events")
LANE_WORDS = {"sessions": "Embolization", "operations": "Resection,\nradiosurgery",
              "events": "Events"}
MARKS = {"sessions": "s", "operations": "^", "events": "D"}
SHAPE = 0.43
"""Height over width."""
WORDS_PT, LINE_OF_LETTERS, WORDS_SHARE = 7.5, 26, 0.29
"""Words beside the marks: their size, their letters a line, and the share of the axis they take."""
SHORTEST_DAYS = 10


def course_figure(course: Sequence[CourseEvent], zero: str, width_in: float) -> Figure:
    """The course of treatment, drawn to scale: sessions with their injections, operations, events.

    course: the events of `one_case.course` (those in another lane are left out). zero: what
    happened on day 0, in words, for the axis. Each injection is a tick above its session.
    """
    import matplotlib as mpl

    shown = [e for e in course if e.lane in LANES]
    last = max((e.day for e in shown), default=0)
    first = min((e.day for e in shown), default=0)
    span = max(SHORTEST_DAYS, last - min(first, 0))
    low, high = min(first, 0) - 0.03 * span, min(first, 0) + (1 + WORDS_SHARE) * span
    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, SHAPE * width_in)
        for place, name in enumerate(reversed(LANES)):
            axes.axhline(place, color="#dfe5e8", linewidth=1, zorder=0)
            _draw_lane(axes, [e for e in shown if e.lane == name], place, low, high)
        axes.set_yticks(range(len(LANES)), [LANE_WORDS[name] for name in reversed(LANES)])
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(-0.35, len(LANES) - 0.05)
        axes.set_xlim(low, high)
        axes.spines["left"].set_visible(False)
        whole_steps(axes.xaxis)
        axes.set_xlabel(f"Days from {zero} (day 0)")
    return figure


def mrs_figure(
    points: Sequence[MrsPoint], course: Sequence[CourseEvent], zero: str, width_in: float,
) -> Figure:
    """mRS at each contact, drawn to scale over the whole follow-up, with treatment and events.

    Between two contacts the line is dotted: what was in between is not known.
    """
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, SHAPE * width_in)
        days, values = [p.day for p in points], [p.mrs for p in points]
        axes.plot(days, values, color=QUIET, linewidth=1, linestyle=":", zorder=1)
        axes.plot(days, values, "o", color=INK, markerfacecolor="white", markersize=7,
                  linestyle="", label="mRS at a contact", zorder=3, clip_on=False)
        for lane, label, high in (("sessions", "embolization", 6.6),
                                  ("operations", "resection, radiosurgery", 7.0),
                                  ("events", "event", 7.4)):
            marked = [e.day for e in course if e.lane == lane]
            axes.plot(marked, [high] * len(marked), MARKS[lane], markersize=6, linestyle="",
                      color=EVENT if lane == "events" else ACCENT, label=label, clip_on=False)
        axes.set_yticks(range(7), [*map(str, range(6)), "6 (dead)"])
        axes.set_ylim(-0.4, 7.7)
        axes.set_ylabel("mRS")
        axes.grid(axis="y", color="#e6eaec", linewidth=0.7)
        axes.margins(x=0.03)
        axes.set_xlabel(f"Days from {zero} (day 0)")
        figure.legend(loc="outside upper left", ncols=4, frameon=False, fontsize=WORDS_PT)
    return figure


def cause_diagram(categories: Mapping[str, Sequence[str]], effect: str, width_in: float) -> Figure:
    """A cause-and-effect diagram: the trade's categories as branches, prompts along them.

    categories: heading → prompts to fill in; effect: what stands at the head.
    """
    import textwrap

    import matplotlib as mpl

    names = list(categories)
    half = (len(names) + 1) // 2
    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, SHAPE * width_in)
        axes.set_axis_off()
        axes.set_xlim(0, 10)
        axes.set_ylim(-3.05, 3.05)
        axes.annotate("", (8.35, 0), (0.2, 0), arrowprops={"arrowstyle": "-|>", "color": INK,
                                                         "linewidth": 2})
        axes.text(8.45, 0, "\n".join(textwrap.wrap(effect, 14)), va="center", fontweight="bold")
        for at, name in enumerate(names):
            _branch(axes, 0.75 + 2.62 * (at % half), 1 if at < half else -1, name,
                    categories[name])
    return figure


def _branch(axes: Axes, x: float, side: int, name: str, prompts: Sequence[str]) -> None:
    axes.plot([x, x + 1.15], [2.5 * side, 0], color=QUIET, linewidth=1.4)
    axes.text(x, 2.78 * side, name, ha="center", va="center", fontweight="bold", color=ACCENT,
              fontsize=9.5)
    for step, prompt in enumerate(prompts):
        y = side * (2.1 - 0.62 * step)
        axes.text(x + 0.285 * step + 0.3, y, prompt, va="center", fontsize=8)


def _draw_lane(
    axes: Axes, shown: Sequence[CourseEvent], y: int, low: float, high: float,
) -> None:
    for event in shown:
        colour = EVENT if event.lane == "events" else ACCENT
        axes.plot([event.day], [y], marker=MARKS[event.lane], markersize=8, color=colour,
                  markeredgecolor=INK, linestyle="")
        for tick in range(event.injections):
            axes.annotate("|", (event.day, y), xytext=(-1.5 * (event.injections - 1) + 3 * tick, 5),
                          textcoords="offset points", ha="center", fontsize=6, color=INK)
    for group in _near_each_other(shown, WORDS_SHARE * (high - low)):
        _write_words(axes, group, y)


def _near_each_other(shown: Sequence[CourseEvent], near: float) -> list[list[CourseEvent]]:
    """Marks too near each other to have words of their own share them."""
    groups: list[list[CourseEvent]] = []
    for event in shown:
        if groups and event.day - groups[-1][0].day < near:
            groups[-1].append(event)
        else:
            groups.append([event])
    return groups


def _write_words(axes: Axes, group: Sequence[CourseEvent], y: int) -> None:
    import textwrap

    lines = list(dict.fromkeys(f"day {e.day}: {e.words}" for e in group))
    told = [part for line in lines[:3] for part in textwrap.wrap(line, LINE_OF_LETTERS)]
    if len(lines) > 3:
        told.append(f"and {len(lines) - 3} more")
    up = 13 if any(e.injections for e in group) else 7
    axes.annotate("\n".join(told), (group[0].day, y), xytext=(-4, up),
                  textcoords="offset points", ha="left", fontsize=WORDS_PT, va="bottom",
                  linespacing=1.05, color=INK)
