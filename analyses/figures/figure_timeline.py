"""The procedures over calendar time, those with an event marked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.figures.figure_style import EVENT, QUIET, STYLE, new_figure, whole_steps
from registry.schema import Sessions

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def session_timeline(sessions: pd.DataFrame, events: pd.Series, width_in: float) -> Figure:
    """Every procedure as a mark, stacked by quarter; those with a complication stand out.

    sessions: procedure frame with `session_date`; events: boolean Series on the same index.
    Beyond 60 in a quarter the marks become bars, or they could not be told apart.
    """
    import matplotlib as mpl

    quarters = sessions[Sessions.session_date].dt.to_period("Q")
    counts = _quarter_counts(quarters, events)
    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 2.6)
        if counts.empty:
            axes.text(0.5, 0.5, "no sessions", ha="center", transform=axes.transAxes)
        elif counts["all"].max() > 60:
            _draw_bars(axes, counts)
        else:
            _draw_marks(axes, counts)
        _finish_timeline(axes, counts, width_in)
    return figure


def _quarter_counts(quarters: pd.Series, events: pd.Series) -> pd.DataFrame:
    import pandas as pd

    happened = events.fillna(False).astype(bool)
    counts = pd.DataFrame({
        "all": quarters.value_counts(), "events": quarters[happened].value_counts(),
    }).fillna(0).astype(int)
    if counts.empty:
        return counts
    return counts.reindex(
        pd.period_range(counts.index.min(), counts.index.max(), freq="Q"), fill_value=0)


def _draw_marks(axes: Axes, counts: pd.DataFrame) -> None:
    for x, (everything, events) in enumerate(counts.itertuples(index=False)):
        axes.scatter([x] * (everything - events), range(events, everything), s=12,
                     facecolor="white", edgecolor=QUIET, linewidth=0.8)
        axes.scatter([x] * events, range(events), s=18, marker="D", color=EVENT, linewidth=0)


def _draw_bars(axes: Axes, counts: pd.DataFrame) -> None:
    x = range(len(counts))
    axes.bar(x, counts["all"], color="#dfe5e8", edgecolor=QUIET, linewidth=0.5)
    axes.bar(x, counts["events"], color=EVENT, hatch="///", edgecolor="white")


def _finish_timeline(axes: Axes, counts: pd.DataFrame, width_in: float) -> None:
    from matplotlib.lines import Line2D

    first = [x for x, quarter in enumerate(counts.index) if quarter.quarter == 1]
    # In one column every second year is enough, and all that fits.
    first = first[:: 1 if width_in > 5 or len(first) <= 6 else 2]
    axes.set_xticks(first, [str(counts.index[x].year) for x in first])
    axes.set_ylabel("Sessions in the quarter")
    axes.set_xlabel("Calendar year")
    whole_steps(axes.yaxis)
    axes.legend(
        handles=[
            Line2D([], [], marker="o", markerfacecolor="white", markeredgecolor=QUIET,
                   linestyle="", label="session without a complication"),
            Line2D([], [], marker="D", color=EVENT, linestyle="",
                   label="session with an embolization complication"),
        ],
        loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2 if width_in > 5 else 1, frameon=False,
        borderaxespad=0, fontsize=8.5 if width_in > 5 else 7,
    )
