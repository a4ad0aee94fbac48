"""Figures of one case: its course drawn to scale, and the diagram of contributing factors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from analyses.figures import ACCENT, EVENT, INK, QUIET, STYLE, new_figure
from analyses.one_case import CourseEvent

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LANES = ("sessions", "operations", "events", "mRS")
LANE_WORDS = {"sessions": "Embolization", "operations": "Resection,\nradiosurgery",
              "events": "Complications", "mRS": "mRS at visits"}
MARKS = {"sessions": "s", "operations": "^", "events": "D", "mRS": "o"}
EARLY_DAYS = 45


def course_figure(course: Sequence[CourseEvent], width_in: float) -> Figure:
    """The course of a case, drawn to scale: the first weeks above, all of it below.

    Days count from day 0, the first vascular access. The two panels share lanes; the lower one
    is the whole follow-up, so that a quick run of events and a long wait are both to scale.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure as MplFigure

    last = max((e.day for e in course), default=0)
    panels = [(-2, EARLY_DAYS)] if last <= EARLY_DAYS else [(-2, EARLY_DAYS), (-0.02 * last, last)]
    with mpl.rc_context(STYLE):
        figure = MplFigure(figsize=(width_in, 2.7 * len(panels)), layout="constrained")
        axes = figure.subplots(len(panels), 1, squeeze=False)[:, 0]
        for place, (panel, (low, high)) in enumerate(zip(axes, panels, strict=True)):
            _draw_panel(panel, course, low, high, words=place == 0)
        axes[0].set_title("The first weeks" if len(panels) > 1 else "The whole course",
                          loc="left", fontweight="bold")
        if len(panels) > 1:
            axes[1].set_title("The whole course", loc="left", fontweight="bold")
        axes[-1].set_xlabel("Days from the first vascular access (day 0)")
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
        figure, axes = new_figure(width_in, width_in * 0.5)
        axes.set_axis_off()
        axes.set_xlim(0, 10)
        axes.set_ylim(-3.1, 3.1)
        axes.annotate("", (8.25, 0), (0.2, 0), arrowprops={"arrowstyle": "-|>", "color": INK,
                                                         "linewidth": 2})
        axes.text(8.35, 0, "\n".join(textwrap.wrap(effect, 16)), va="center", fontweight="bold")
        for at, name in enumerate(names):
            side = 1 if at < half else -1
            x = 0.9 + 2.5 * (at % half)
            _branch(axes, x, side, name, categories[name])
    return figure


def _branch(axes: Axes, x: float, side: int, name: str, prompts: Sequence[str]) -> None:
    axes.plot([x, x + 1.15], [2.55 * side, 0], color=QUIET, linewidth=1.4)
    axes.text(x, 2.75 * side, name, ha="center", va="center", fontweight="bold", color=ACCENT)
    for step, prompt in enumerate(prompts):
        y = side * (2.15 - 0.62 * step)
        axes.text(x + 0.27 * step + 0.3, y, prompt, va="center", fontsize=7.4)


def _draw_panel(
    axes: Axes, course: Sequence[CourseEvent], low: float, high: float, *, words: bool,
) -> None:
    for lane, name in enumerate(LANES):
        y = len(LANES) - 1 - lane
        axes.axhline(y, color="#dfe5e8", linewidth=1, zorder=0)
        shown = [e for e in course if e.lane == name and low <= e.day <= high]
        for event in shown:
            grave = event.lane == "events"
            axes.plot([event.day], [y], marker=MARKS[name], markersize=8,
                      markerfacecolor=EVENT if grave else "white" if name == "mRS" else ACCENT,
                      markeredgecolor=INK, linestyle="")
        if words or name == "mRS":
            _write_words(axes, shown, y, low, high)
    axes.set_yticks(range(len(LANES)), [LANE_WORDS[name] for name in reversed(LANES)])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(-0.6, len(LANES) - 0.25)
    axes.set_xlim(low, high + 0.02 * (high - low))
    axes.spines["left"].set_visible(False)


def _write_words(
    axes: Axes, shown: Sequence[CourseEvent], y: float, low: float, high: float,
) -> None:
    """Each mark's words and day above it; marks too near each other share one label."""
    near = 0.24 * (high - low)
    groups: list[list[CourseEvent]] = []
    for event in shown:
        if groups and event.day - groups[-1][0].day < near:
            groups[-1].append(event)
        else:
            groups.append([event])
    for group in groups:
        told = "\n".join(dict.fromkeys(f"day {e.day}: {e.words}" for e in group[:3]))
        if len(group) > 3:
            told += f"\nand {len(group) - 3} more"
        late = group[0].day > low + 0.75 * (high - low)
        axes.annotate(told, (group[0].day, y), xytext=(4 if late else -3, 7),
                      textcoords="offset points", ha="right" if late else "left",
                      fontsize=7, va="bottom", linespacing=1.1, color=INK)
