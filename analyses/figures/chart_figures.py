"""Figures of the monitoring charts. They return a matplotlib figure and touch no file.

Readable in grey: signals differ by marker, limits by line style; axes carry units and
denominators; changes of the service stand as numbered marks with their words underneath.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.figures.figure_style import ACCENT, EVENT, INK, QUIET, STYLE, new_figure
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.control_charts.cusum import Cusum
from analyses.statistics.control_charts.funnel import Funnel
from analyses.statistics.control_charts.interrupted_series import InterruptedSeries
from analyses.statistics.control_charts.learning_curve import LearningCurve
from analyses.statistics.control_charts.stages import Change
from analyses.words.estimate_text import plural

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_TICKS, TICKS_AN_INCH = 9, 1.45
PAPER = {"facecolor": "white", "alpha": 0.8, "pad": 0.5, "edgecolor": "none"}
LINES = ("-", "--", "-.", ":")
BAND = "#eef1f2"
LETTERS_BESIDE, LETTERS_AN_INCH = 30, 13
"""Letters a line of what stands beside an axis, and an inch of what stands under one."""
PER_CENT = "proportion with an event"
HAPPENED = "sessions with the event"


def chart_figure(
    chart: Chart, *, changes: Sequence[Change] = (), width_in: float = 6.5,
    happened: str = HAPPENED, unit: str = "session",
) -> Figure:
    """A control chart: points joined, centre, limits by stage, signals as open squares.

    changes: placed where the chart's table has a `day` column (its points' first days). A
    `baseline` column, of the points that set the limits, is shaded.
    width_in: inches. happened: what a share is of, in words; unit: what is counted.
    """
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 3.0 + 0.17 * len(changes))
        scale = 100.0 if chart.measure == PER_CENT else 1.0
        table, place = chart.table, np.arange(len(chart.table))
        for name in chart.stages:
            rows = (table["stage"] == name).to_numpy()
            _draw_limits(axes, place[rows], table[rows], scale)
        axes.plot(place, scale * table["value"], color=ACCENT, linewidth=0.9, marker="o",
                  markersize=3, label="value")
        _mark_signals(axes, place, scale * table["value"].to_numpy(), table["signal"].to_numpy())
        if scale == 100 or table["value"].min() >= 0:
            axes.set_ylim(bottom=0)
        axes.set_ylabel(_measure(chart, happened))
        _ticks(axes, table["label"].tolist())
        shaded = _draw_baseline(axes, table)
        axes.set_xlabel("\n".join(
            [_under(chart, plural(unit)),
             *textwrap.wrap(chart.method + shaded, int(LETTERS_AN_INCH * width_in))]))
        if "day" in table.columns:
            _draw_changes(axes, changes, table["day"].to_numpy(dtype="datetime64[D]"))
        axes.margins(x=0.02)
    return figure


def draw_cusums(axes: Axes, cusums: Sequence[Cusum]) -> None:
    """Both directions of the CUSUM into these axes."""
    for cusum in cusums:
        sign, style = (1, "-") if cusum.worse else (-1, "--")
        _draw_cusum(axes, cusum, sign, style)
    axes.axhline(0, color=QUIET, linewidth=0.6)
    axes.set_ylabel("sum of scores\nbetter ↓        worse ↑")
    axes.yaxis.set_major_formatter(lambda value, _: f"{abs(value):g}")
    labels = cusums[0].table["label"].tolist()
    _ticks(axes, labels)
    axes.set_xlabel(f"{len(labels)} sessions after the baseline; + an event")
    axes.margins(x=0.02, y=0.12)


def draw_difference(axes: Axes, difference: pd.DataFrame, baseline_sessions: int) -> None:
    """Observed minus expected events, running sum, into these axes."""
    place = np.arange(len(difference))
    axes.fill_between(place, difference["low"], difference["high"], color="#e4e8ea",
                      linewidth=0, label="95 % of services at expected risk, at one session")
    axes.axhline(0, color=QUIET, linewidth=0.8)
    axes.plot(place, difference["difference"], color=ACCENT, linewidth=1.2, drawstyle="steps")
    if 0 < baseline_sessions < len(difference):
        axes.axvline(baseline_sessions - 0.5, color=INK, linewidth=0.8, linestyle=":")
        axes.text(baseline_sessions - 0.5, 1.0, "baseline ← ", ha="right", va="bottom",
                  transform=axes.get_xaxis_transform(), fontsize=7.5)
    axes.set_ylabel("observed − expected\nevents (up: more)")
    _ticks(axes, difference["label"].tolist())
    axes.set_xlabel(f"{len(difference)} sessions in order of time; the band is not a test")
    axes.legend(loc="upper left", frameon=False, fontsize=7)
    axes.margins(x=0.01)


def funnel_figure(funnel: Funnel, *, width_in: float = 6.0) -> Figure:
    """Funnel: value against sessions, by code; groups that are not judged as open circles."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 3.6)
        table, per_cent = funnel.table, funnel.measure == PER_CENT
        scale = 100.0 if per_cent else 1.0
        _draw_funnel_limits(axes, funnel, scale)
        for row in table.to_dict("records"):
            face = ACCENT if row["judged"] else "white"
            axes.plot(row["trials"], scale * row["value"], marker="s" if row["signal"] else "o",
                      color=EVENT if row["signal"] else ACCENT, markerfacecolor=face, markersize=5)
            axes.annotate(f"{row['group']} ({row['events']}/{row['trials']})",
                          (row["trials"], scale * row["value"]), xytext=(8, 4),
                          textcoords="offset points", fontsize=7, bbox=PAPER)
        axes.axhline(scale * funnel.target, color=INK, linewidth=0.8)
        axes.set_ylim(bottom=0)
        axes.set_xlim(0, 1.18 * table["trials"].max())
        axes.set_ylabel("sessions with the event, %" if per_cent
                        else "observed/expected events")
        axes.set_xlabel("sessions (events/sessions beside each code); open: fewer than 10, "
                        "not judged")
        axes.legend(loc="upper right", frameon=False, fontsize=7)
    return figure


def learning_figure(curve: LearningCurve, *, width_in: float = 6.5) -> Figure:
    """Learning: observed share and observed/expected by block of experience."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, first = new_figure(width_in, 3.2)
        first.remove()
        axes = figure.subplots(1, 2)
        for panel, estimates, scale, label in (
            (axes[0], curve.observed, 100.0, "sessions with the event, %"),
            (axes[1], curve.adjusted, 1.0, "observed/expected events"),
        ):
            _draw_blocks(panel, estimates, scale)
            panel.set_ylabel(label)
            panel.set_xlabel("procedures the operator had done before")
        axes[1].axhline(1, color=INK, linewidth=0.8)
    return figure


def running_figure(curve: LearningCurve, *, width_in: float = 6.5) -> Figure:
    """Learning by operator code: running observed minus expected events against experience.

    Lines are told apart by style and by the code at their end; they are not compared: each
    stands against its own expected risks.
    """
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 3.2)
        ends: list[float] = []
        span = max(1.0, float(np.ptp(curve.running["difference"])))
        for place, (code, rows) in enumerate(curve.running.groupby("group")):
            last = rows.iloc[-1]
            axes.plot(rows["case_number"], rows["difference"], LINES[place % len(LINES)],
                      color=ACCENT if place % 2 == 0 else INK, linewidth=1.1, drawstyle="steps")
            at = float(last["difference"])
            while any(abs(at - end) < 0.06 * span for end in ends):
                at += 0.06 * span
            ends.append(at)
            axes.annotate(f"{code} ({last['observed']:.0f}/{len(rows)})",
                          (last["case_number"], at), xytext=(4, 0), fontsize=7, va="center",
                          textcoords="offset points", bbox=PAPER)
        axes.axhline(0, color=QUIET, linewidth=0.8)
        axes.set_xlim(0, 1.2 * max(1, curve.running["case_number"].max()))
        axes.set_ylabel("observed − expected events\n(up: more than expected)")
        axes.set_xlabel("procedures the operator had done before (code: events/sessions)")
    return figure


def series_figure(
    series: InterruptedSeries, change: str, *, width_in: float = 6.5
) -> Figure:
    """The interrupted series with its two lines and the earlier one carried on."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 3.0)
        table, place = series.table, np.arange(len(series.table))
        after = table["after"].to_numpy()
        axes.plot(place, table["value"], "o", color=QUIET, markersize=3, label="observed")
        for rows in (~after, after):
            axes.plot(place[rows], table["fitted"][rows], color=ACCENT, linewidth=1.4)
        axes.fill_between(place[after], table["low"][after], table["high"][after],
                          color="#e4e8ea", linewidth=0)
        axes.plot(place[after], table["counterfactual"][after], color=INK, linewidth=1.1,
                  linestyle="--", label="earlier line carried on, 95 % interval")
        axes.axvline(int(after.argmax()) - 0.5, color=INK, linewidth=0.8, linestyle=":")
        axes.text(int(after.argmax()) - 0.4, 1.0, f" {change}", va="bottom", fontsize=7.5,
                  transform=axes.get_xaxis_transform())
        axes.set_ylabel("sessions with the event, %")
        reach = max(table["value"].max(), table["fitted"].max())
        axes.set_ylim(0, 1.25 * reach if reach > 0 else 1)
        _ticks(axes, table["label"].tolist())
        axes.set_xlabel(series.level.method)
        axes.legend(loc="upper left", fontsize=7, edgecolor="none", framealpha=0.85)
    return figure


def _draw_limits(axes: Axes, place: np.ndarray, table: pd.DataFrame, scale: float) -> None:
    first = place[0] == 0
    axes.step(place, scale * table["centre"], where="mid", color=INK, linewidth=0.9,
              label="centre" if first else None)
    for side in ("lower", "upper"):
        if table[side].notna().any():
            axes.step(place, scale * table[side], where="mid", color=QUIET, linewidth=0.8,
                      linestyle="--", label="limits" if first and side == "upper" else None)


def _mark_signals(axes: Axes, place: np.ndarray, value: np.ndarray, signal: np.ndarray) -> None:
    axes.plot(place[signal], value[signal], "s", color=EVENT, markerfacecolor="none",
              markersize=8, markeredgewidth=1.3)


def _draw_cusum(axes: Axes, cusum: Cusum, sign: int, style: str) -> None:
    table, place = cusum.table, np.arange(len(cusum.table))
    value = sign * table["value"].to_numpy()
    starts = [0, *np.flatnonzero(table["reset"]).tolist(), len(table)]
    for a, b in zip(starts[:-1], starts[1:], strict=True):
        axes.plot(place[a:b], value[a:b], style, color=ACCENT, linewidth=1.1)
    axes.axhline(sign * cusum.limit, color=QUIET, linestyle="--", linewidth=0.9)
    axes.text(1.0, sign * cusum.limit, f"limit {cusum.limit:.2f} ", ha="right",
              va="bottom" if sign > 0 else "top", fontsize=7.5,
              transform=axes.get_yaxis_transform())
    _mark_signals(axes, place, value, table["signal"].to_numpy())
    if sign > 0:
        events = np.flatnonzero(table["event"])
        axes.plot(events, np.zeros(events.size), "+", color=EVENT, markersize=5)


def _draw_funnel_limits(axes: Axes, funnel: Funnel, scale: float) -> None:
    for label, style in (("95", "--"), ("99.8", "-")):
        for side in ("lower", "upper"):
            name = f"{side}_{label}"
            words = f"{label} % limits" if side == "upper" else None
            if len(funnel.curves):
                axes.plot(funnel.curves["trials"], scale * funnel.curves[name], color=QUIET,
                          linewidth=0.9, linestyle=style, label=words)
            else:
                axes.plot(funnel.table["trials"], scale * funnel.table[name], "_",
                          color=QUIET, markersize=14 if label == "95" else 8,
                          markeredgewidth=1 if label == "95" else 2, label=words)


def _draw_blocks(axes: Axes, estimates: Sequence[Any], scale: float) -> None:
    names = [estimate.group["case number"] for estimate in estimates]
    top = 0.0
    for place, estimate in enumerate(estimates):
        if estimate.value is None:
            continue
        axes.plot(place, scale * estimate.value, "o", color=ACCENT, markersize=4)
        if estimate.low is not None and estimate.high is not None:
            axes.plot([place, place], [scale * estimate.low, scale * estimate.high],
                      color=ACCENT, linewidth=1)
            top = max(top, scale * estimate.high)
        axes.annotate(f"{estimate.events}/{estimate.n}", (place, scale * estimate.value),
                      xytext=(5, 0), textcoords="offset points", fontsize=7, va="center")
    axes.set_xticks(range(len(names)), names)
    axes.set_xlim(-0.5, len(names) - 0.2)
    axes.set_ylim(0, 1.08 * top if top else 1)


def _draw_baseline(axes: Axes, table: pd.DataFrame) -> str:
    """Shade the points of a declared baseline; returns what says so, nothing where there is none.
    """
    if "baseline" not in table.columns:
        return ""
    first, last = np.flatnonzero(table["baseline"].to_numpy(bool))[[0, -1]]
    axes.axvspan(first - 0.5, last + 0.5, color=BAND, linewidth=0, zorder=0)
    return " (shaded)"


def _draw_changes(
    axes: Axes, changes: Sequence[Change], when: np.ndarray
) -> None:
    """A dotted line and a number where a change falls; the words under the axis."""
    if not changes:
        return
    words = []
    for number, change in enumerate(changes, start=1):
        place = int(np.searchsorted(when, np.datetime64(change.day)))
        axes.axvline(place - 0.5, color=INK, linewidth=0.8, linestyle=":")
        axes.text(place - 0.5, 1.0, str(number), ha="center", va="bottom", fontsize=7.5,
                  transform=axes.get_xaxis_transform())
        words.append(f"{number}  {change.day.isoformat()}  {change.what}")
    axes.set_xlabel(axes.get_xlabel() + "\n" + "\n".join(words))


def _ticks(axes: Axes, labels: Sequence[Any]) -> None:
    """At most nine labels, fewer in narrow axes, evenly spread, so that they never overlap."""
    count = len(labels)
    most = max(3, min(MOST_TICKS, int(_width_in(axes) * TICKS_AN_INCH)))
    step = max(1, int(np.ceil(count / most)))
    places = list(range(0, count, step))
    axes.set_xticks(places, [str(labels[k]) for k in places], fontsize=7.5)
    if any(len(str(labels[k])) > 7 for k in places):
        axes.tick_params(axis="x", rotation=30)
        for text in axes.get_xticklabels():
            text.set_horizontalalignment("right")
            text.set_rotation_mode("anchor")


def _width_in(axes: Axes) -> float:
    """The width of the figure in inches, shared among its columns of axes."""
    from matplotlib.figure import Figure as MplFigure

    figure, grid = axes.figure, axes.get_gridspec()
    assert isinstance(figure, MplFigure) and grid is not None
    return figure.get_figwidth() / grid.ncols


def _measure(chart: Chart, happened: str) -> str:
    measure = f"{happened}, %" if chart.measure == PER_CENT else chart.measure
    return "\n".join(textwrap.wrap(measure, LETTERS_BESIDE))


def _under(chart: Chart, units: str) -> str:
    table = chart.table
    if chart.kind == "EWMA":
        return f"{len(table)} {units} in order of time"
    if chart.kind in ("g", "t"):
        return f"each of {len(table)} points: one event, by its date"
    if "trials" not in table.columns:
        return f"{len(table)} periods"
    size = table["trials"]
    return (f"{len(table)} periods, {table['events'].sum():.0f} events in "
            f"{size.sum():,.0f} {units} ({size.min():.0f}–{size.max():.0f} a period)")
