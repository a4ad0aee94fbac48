"""Figures of practice limits and of the quality of the data."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analyses.figures.figure_style import ACCENT, EVENT, INK, QUIET, STYLE, new_figure
from analyses.monitoring.process import ProcessMeasures

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_MONTHS = 24


def pareto_figure(measures: ProcessMeasures, *, width_in: float = 6.5) -> Figure:
    """Which practice limit is broken most: bars from the commonest, the running share beside."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        table = measures.pareto
        figure, first = new_figure(width_in, 0.8 + 0.34 * len(table))
        first.remove()
        bars, share = figure.subplots(1, 2, sharey=True, width_ratios=[2.6, 1])
        place = np.arange(len(table))
        bars.barh(place, table["broken"], color=ACCENT, height=0.6)
        for row, at in zip(table.to_dict("records"), place, strict=True):
            bars.text(row["broken"], at, f" {row['broken']}/{row['recorded']}, "
                      f"{row['missing']} not recorded", va="center", fontsize=7)
        bars.set_yticks(place, table["limit"])
        bars.set_ylim(len(table) - 0.5, -0.5)
        bars.set_xlim(0, 1.7 * max(1, table["broken"].max()))
        bars.set_xlabel("outside the limit / checks recorded")
        share.plot(100 * table["cumulative"], place, color=EVENT, marker="D", markersize=4,
                   linewidth=1, linestyle="--")
        share.set_xlim(0, 108)
        share.set_xlabel("running share, %")
        share.tick_params(axis="y", length=0, labelleft=False)
    return figure


def completeness_figure(table: pd.DataFrame, *, width_in: float = 6.5) -> Figure:
    """Completeness by field and month as shaded cells with the per cent written in them."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        wide = table.pivot(index="field", columns="month", values="share")
        wide = wide.reindex(index=list(dict.fromkeys(table["field"])))
        wide = wide.iloc[:, -MOST_MONTHS:]
        figure, axes = new_figure(width_in, 0.9 + 0.26 * len(wide))
        shares = np.ma.masked_invalid(100 * wide.to_numpy())
        axes.imshow(shares, aspect="auto", cmap="Greys_r", vmin=0, vmax=115)
        for (row, column), share in np.ndenumerate(shares.filled(np.nan)):
            text = "–" if np.isnan(share) else f"{share:.0f}"
            axes.text(column, row, text, ha="center", va="center", fontsize=6.5,
                      color=INK if np.isnan(share) or share > 55 else "white")
        axes.set_yticks(range(len(wide)), wide.index)
        axes.set_xticks(range(wide.shape[1]), wide.columns, rotation=60, ha="right",
                        rotation_mode="anchor", fontsize=7)
        axes.set_xlabel("month; recorded, % of the month's rows (–: no row)")
        axes.tick_params(length=0)
    return figure


def entry_figure(table: pd.DataFrame, *, width_in: float = 6.5) -> Figure:
    """Days from event to entry: median and the slowest tenth, by month of the event."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 2.8)
        place = np.arange(len(table))
        axes.plot(place, table["median_days"], color=ACCENT, marker="o", markersize=3,
                  label="median")
        axes.plot(place, table["longest_tenth_days"], color=QUIET, linestyle="--", marker="^",
                  markersize=3, label="nine of ten entered within")
        _months(axes, table["month"].tolist())
        axes.set_ylim(bottom=0)
        axes.set_ylabel("days from event to entry")
        axes.legend(loc="upper left", frameon=False, fontsize=7)
    return figure


def _months(axes: Axes, months: list[str]) -> None:
    step = max(1, int(np.ceil(len(months) / 12)))
    places = list(range(0, len(months), step))
    axes.set_xticks(places, [months[k] for k in places], rotation=45, ha="right",
                    rotation_mode="anchor", fontsize=7)
