"""Figures of regression models: partial effect, imputed values, balance.

Each function takes results and gives a matplotlib figure; nothing is worked out here. Readable
in grey: meaning is carried by position and shape, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats, Mask

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, PALE = "#1b2a33", "#5f7480", "#d5dde1"


def _figure(width: float, height: float) -> tuple[Figure, Axes]:
    # A Figure of its own, outside pyplot, so that nothing is kept open or shown by itself.
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def partial_effect(
    curve: pd.DataFrame, seen: Floats | pd.Series, event: Mask | pd.Series, *, label: str,
    outcome: str, unit: str = "session",
) -> Figure:
    """Standardised risk along one variable, and where the data behind it lie.

    curve: columns value, risk, low, high (`standardisation.effect_curve`); seen: the variable in
    the rows of the model; event: yes/no beside it; label: with its unit. Rows with the event are
    marked on top of the axis, the density of all rows stands below.
    """
    import seaborn

    figure, only = _figure(7.2, 4.4)
    only.remove()
    axes, below = figure.subplots(2, 1, sharex=True, height_ratios=(5, 1))
    axes.fill_between(curve["value"], 100 * curve["low"], 100 * curve["high"], color=PALE,
                      linewidth=0, label="95 % interval")
    axes.plot(curve["value"], 100 * curve["risk"], color=INK, linewidth=2,
              label="standardised risk")
    values, happened = np.asarray(seen, float), np.asarray(event, bool)
    top = max(100 * float(curve["high"].max()) * 1.15, 1.0)
    axes.set_ylim(0, top)
    axes.plot(values[happened], np.full(happened.sum(), top * 0.96), "|", color=INK, markersize=9,
              markeredgewidth=1.3, label=f"{unit}s with the event ({happened.sum()})")
    axes.set_ylabel(f"risk of {outcome} (%)")
    figure.legend(*axes.get_legend_handles_labels(), frameon=False, fontsize=9, ncols=3,
                  loc="outside upper center")
    seaborn.histplot(x=values, bins=min(30, max(8, len(np.unique(values)))), color=SOFT,
                     edgecolor="white", alpha=1, ax=below)
    below.set_ylabel(f"{unit}s", fontsize=9)
    below.set_xlabel(f"{label}; {len(values)} {unit}s")
    for part in (axes, below):
        part.spines[["top", "right"]].set_visible(False)
    return figure


@dataclass(frozen=True)
class Imputed:
    """One variable of an imputation: completed copies, where its gaps were, its name and label.

    order: of a factor's levels, alphabetical where empty.
    """

    frames: Sequence[pd.DataFrame]
    gaps: pd.DataFrame
    column: str
    label: str
    order: tuple[str, ...] = ()


def imputed_panels(variables: Sequence[Imputed], width: float) -> Figure:
    """Values put into gaps against recorded ones, a panel a variable, up to three side by side.

    As cumulative shares, or as shares of levels. width: inches.
    """
    columns = min(len(variables), 3 if width > 5 else 1)
    lines = -(-len(variables) // columns)
    height = 4.0 if len(variables) == 1 else 2.3 * lines + 0.4
    figure, only = _figure(width, height)
    only.remove()
    parts = np.atleast_1d(figure.subplots(lines, columns)).ravel()
    keys: dict[str, Artist] = {}
    for part, one in zip(parts, variables, strict=False):
        part.spines[["top", "right"]].set_visible(False)
        _imputed_on(part, one)
        for handle, words in zip(*part.get_legend_handles_labels(), strict=True):
            keys.setdefault(words, handle)
    for part in parts[len(variables):]:
        part.remove()
    figure.legend(list(keys.values()), list(keys), frameon=False, fontsize=8,
                  ncols=2 if width > 5 else 1, loc="outside upper center")
    return figure


def _imputed_on(axes: Axes, one: Imputed) -> None:
    frames, column = one.frames, one.column
    gap = one.gaps[column].to_numpy()
    recorded = frames[0].loc[~gap, column]
    if pd.api.types.is_numeric_dtype(recorded) and recorded.nunique() > 6:
        for place, frame in enumerate(frames):
            _cumulative(axes, frame.loc[gap, column], color=SOFT, linewidth=0.7, alpha=0.6,
                        label="imputed, a line a completed set" if place == 0 else None)
        _cumulative(axes, recorded, color=INK, linewidth=2.2, label="recorded")
        axes.set_ylabel("cumulative share (%)", fontsize=8)
    else:
        _shares(axes, one, gap)
        axes.set_ylabel("share (%)", fontsize=8)
    axes.tick_params(labelsize=8)
    axes.set_xlabel(fill(one.label, 26), fontsize=9)
    axes.set_title(f"{gap.sum()} of {len(gap)} imputed", loc="left", fontsize=8, color=INK)


def _cumulative(axes: Axes, values: pd.Series, **style: Any) -> None:
    import seaborn

    seaborn.ecdfplot(x=np.asarray(values, float), stat="percent", ax=axes, **style)


def _shares(axes: Axes, one: Imputed, gap: Mask) -> None:
    frames, column = one.frames, one.column
    seen = sorted(frames[0][column].unique(), key=str)
    levels = [*(v for v in one.order if v in seen), *(v for v in seen if v not in one.order)]
    spots = np.arange(len(levels))
    recorded = frames[0].loc[~gap, column]
    imputed = pd.concat([frame.loc[gap, column] for frame in frames])
    for shift, values, colour, hatch, name in (
        (-0.2, recorded, INK, None, "recorded (bars)"),
        (0.2, imputed, PALE, "///", "imputed, all sets together (bars)"),
    ):
        shares = [100 * float((values == level).mean()) for level in levels]
        axes.bar(spots + shift, shares, width=0.38, color=colour, hatch=hatch, edgecolor=INK,
                 label=name)
    words = {"False": "no", "True": "yes"}
    axes.set_xticks(spots, [fill(words.get(str(level), str(level)), 8) for level in levels])


def balance_plot(balance: pd.DataFrame) -> Figure:
    """Standardised differences of each covariate before and after weighting.

    balance: index covariate, columns before and after (`propensity.compare_weighted`).
    """
    ordered = balance.reindex(balance["before"].abs().sort_values(ascending=False).index)
    figure, axes = _figure(7.0, 1.4 + 0.36 * len(ordered))
    spots = np.arange(len(ordered))
    axes.axvspan(-0.1, 0.1, color=PALE, linewidth=0, label="within 0.1")
    axes.axvline(0, color=SOFT, linewidth=1)
    axes.plot(ordered["before"], spots, "o", markerfacecolor="white", markeredgecolor=INK,
              markersize=8, label="before")
    axes.plot(ordered["after"], spots, "D", color=INK, markersize=6, label="after weighting")
    axes.set_yticks(spots, ordered.index)
    axes.set_ylim(len(ordered) - 0.5, -0.5)
    axes.set_xlabel("standardised difference (standard deviations)")
    axes.legend(frameon=False, fontsize=9, loc="upper left", bbox_to_anchor=(1.0, 1.0))
    return figure
