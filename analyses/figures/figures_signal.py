"""The figure that shows whether a case is part of a signal: the chart that fits, and the CUSUM."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analyses.figures.figure_style import ACCENT, EVENT, INK, QUIET, STYLE, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from analyses.cases.case_signal import CaseSignal
    from analyses.statistics.control_charts.chart import Chart
    from analyses.statistics.control_charts.cusum import Cusum

SHAPE = 0.40


def signal_figure(signal: CaseSignal, width_in: float) -> Figure:
    """The chart at the left, the CUSUM for a higher risk at the right; the case is marked.

    signal: with a chart, a CUSUM, or both.
    """
    import matplotlib as mpl

    parts = [part for part in (signal.chart, signal.cusum) if part is not None]
    with mpl.rc_context(STYLE):
        figure, first = new_figure(width_in, SHAPE * width_in)
        first.remove()
        axes = figure.subplots(1, len(parts), squeeze=False)[0]
        if signal.chart is not None:
            _draw_chart(axes[0], signal.chart, signal.marked)
        if signal.cusum is not None:
            _draw_cusum(axes[-1], signal.cusum, signal.marked_procedure)
        for panel in axes:
            panel.xaxis.get_major_locator().set_params(integer=True)
    return figure


def _draw_chart(axes: Axes, chart: Chart, marked: int | None) -> None:
    table, scale = chart.table, 100.0 if chart.kind == "p" else 1.0
    place = np.arange(1, len(table) + 1)
    axes.plot(place, scale * table["value"], color=ACCENT, linewidth=1, marker="o", markersize=3)
    axes.step(place, scale * table["centre"], where="mid", color=INK, linewidth=0.9)
    for side in ("lower", "upper"):
        axes.step(place, scale * table[side], where="mid", color=QUIET, linewidth=0.9,
                  linestyle="--")
    axes.set_ylim(bottom=0)
    axes.set_ylabel("event-free sessions\nbetween events" if chart.kind == "g"
                    else "sessions with the event, %")
    axes.set_xlabel("events in order of time" if chart.kind == "g" else "periods in order of time")
    axes.set_title(f"{chart.kind} chart, {len(table)} points", loc="left")
    _mark(axes, place, scale * table["value"].to_numpy(), marked)
    _squares(axes, place, scale * table["value"].to_numpy(), table["signal"].to_numpy(bool))


def _draw_cusum(axes: Axes, cusum: Cusum, marked: int | None) -> None:
    table = cusum.table
    place = np.arange(1, len(table) + 1)
    axes.plot(place, table["value"], color=ACCENT, linewidth=1.1)
    axes.axhline(cusum.limit, color=QUIET, linestyle="--", linewidth=0.9)
    axes.text(1.0, cusum.limit, "limit ", ha="right", va="bottom", fontsize=8,
              transform=axes.get_yaxis_transform())
    events = np.flatnonzero(table["event"])
    axes.plot(place[events], np.zeros(events.size), "+", color=EVENT, markersize=6, clip_on=False)
    axes.set_ylim(0, 1.2 * max(cusum.limit, table["value"].max()))
    axes.set_ylabel("sum of scores (worse ↑)")
    axes.set_xlabel("sessions after the baseline; + an event")
    axes.set_title("CUSUM for a higher risk", loc="left")
    _mark(axes, place, table["value"].to_numpy(), marked)
    _squares(axes, place, table["value"].to_numpy(), table["signal"].to_numpy(bool))


def _mark(axes: Axes, place: np.ndarray, value: np.ndarray, marked: int | None) -> None:
    if marked is None:
        return
    axes.plot([place[marked]], [value[marked]], "D", color=EVENT, markeredgecolor=INK,
              markersize=7, zorder=4)
    late = marked > 0.6 * len(place)
    axes.annotate("this case", (place[marked], value[marked]), xytext=(-8 if late else 8, 8),
                  textcoords="offset points", ha="right" if late else "left", fontsize=8.5,
                  fontweight="bold", zorder=5,
                  bbox={"facecolor": "white", "alpha": 0.8, "pad": 0.8, "edgecolor": "none"})


def _squares(axes: Axes, place: np.ndarray, value: np.ndarray, signal: np.ndarray) -> None:
    axes.plot(place[signal], value[signal], "s", color=EVENT, markerfacecolor="none",
              markersize=10, markeredgewidth=1.4)
