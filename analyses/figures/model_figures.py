"""Figures of regression models: forest plot, partial effect, imputed values, balance.

Each function takes results and gives a matplotlib figure; nothing is worked out here. Readable
in grey: meaning is carried by position and shape, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analyses.models.model_wording import ratio_text
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK, SOFT, PALE = "#1b2a33", "#5f7480", "#d5dde1"


def _figure(width: float, height: float) -> tuple[Figure, object]:
    # A Figure of its own, outside pyplot, so that nothing is kept open or shown by itself.
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def _spread_ticks(low: float, high: float) -> list[float]:
    steps = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500]
    inside = [step for step in steps if low <= step <= high]
    return inside if len(inside) <= 7 else [step for step in inside if f"{step:g}"[-1] == "1"
                                            or f"{step:g}".rstrip("0").endswith("1")]


def forest_plot(
    estimates: Sequence[Estimate], *, labels: Sequence[str] | None = None, title: str = "",
) -> Figure:
    """Ratios with their intervals on a log axis, the numbers and events printed beside them.

    estimates: ratios (one line each); labels: names of the lines, the terms where not given.
    An interval that leaves the axis ends in an arrow. Raises ValueError where none has a value.
    """
    shown = [one for one in estimates if one.value is not None]
    if not shown:
        raise ValueError("no ratio has a value, so there is nothing to draw")
    names = labels or [(one.group or {}).get("term", one.id) for one in estimates]
    low = max(min(one.low for one in shown) * 0.8, 1 / 64)
    high = min(max(one.high for one in shown) * 1.25, 64)
    low, high = min(low, 0.5), max(high, 2.0)
    figure, axes = _figure(8.6, 1.3 + 0.42 * len(estimates))
    for place, one in enumerate(estimates):
        _forest_line(axes, place, one, low, high)
    axes.axvline(1, color=SOFT, linewidth=1, linestyle=(0, (4, 3)), zorder=0)
    _forest_axes(axes, names, estimates, low, high, title)
    return figure


def _forest_line(axes, place: int, one: Estimate, low: float, high: float) -> None:
    if one.value is not None:
        start, end = max(one.low, low), min(one.high, high)
        axes.plot([start, end], [place, place], color=INK, linewidth=1.6, solid_capstyle="butt")
        for edge, cut, marker in ((start, one.low < low, "<"), (end, one.high > high, ">")):
            axes.plot(edge, place, marker=marker if cut else "|", color=INK, markersize=7)
        if low <= one.value <= high:
            axes.plot(one.value, place, marker="s", color=INK, markersize=6)
    events = "" if one.events is None else f"{one.events}/"
    axes.annotate(f"{ratio_text(one)}   {events}{one.n}, {one.clusters} patients",
                  (1.02, place), xycoords=("axes fraction", "data"), va="center", fontsize=9,
                  color=INK, annotation_clip=False)


def _forest_axes(axes, names, estimates, low: float, high: float, title: str) -> None:
    kinds = sorted({one.kind for one in estimates})
    level = 100 * estimates[0].level
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    ticks = _spread_ticks(low, high)
    axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.minorticks_off()
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_yticks(range(len(names)), names)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    unit = estimates[0].unit
    counted = f"events/{unit}s" if estimates[0].events is not None else f"{unit}s"
    axes.set_xlabel(f"{', '.join(kinds)}, {level:g} % interval (log scale)")
    axes.annotate(f"ratio (interval)   {counted}, patients", (1.02, -0.6),
                  xycoords=("axes fraction", "data"), va="bottom", fontsize=9, color=SOFT,
                  annotation_clip=False)
    if title:
        axes.set_title(title, loc="left", fontsize=11, color=INK, pad=18)


def partial_effect(
    curve: pd.DataFrame, seen: pd.Series, event: pd.Series, *, label: str, outcome: str,
    unit: str = "session",
) -> Figure:
    """Standardised risk along one variable, and where the data behind it lie.

    curve: columns value, risk, low, high (`standardisation.effect_curve`); seen: the variable in
    the rows of the model; event: yes/no beside it; label: with its unit. Rows with the event are
    marked on top of the axis, the density of all rows stands below.
    """
    import seaborn

    figure, axes = _figure(7.2, 4.4)
    axes.remove()
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


def imputed_against_observed(
    frames: Sequence[pd.DataFrame], gaps: pd.DataFrame, column: str, label: str,
) -> Figure:
    """Values put into gaps against recorded ones, as cumulative shares (or shares of levels).

    frames: completed copies; gaps: True where imputed; label: with its unit.
    """
    return imputed_panels([Imputed(frames, gaps, column, label)], 6.4)


def imputed_panels(variables: Sequence[Imputed], width: float) -> Figure:
    """A panel a variable, as `imputed_against_observed`; up to three side by side."""
    columns = min(len(variables), 3 if width > 5 else 1)
    lines = -(-len(variables) // columns)
    height = 4.0 if len(variables) == 1 else 2.3 * lines + 0.4
    figure, axes = _figure(width, height)
    axes.remove()
    parts = np.atleast_1d(figure.subplots(lines, columns)).ravel()
    keys: dict[str, object] = {}
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


def _imputed_on(axes, one: Imputed) -> None:
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


def _cumulative(axes, values: pd.Series, **style) -> None:
    import seaborn

    seaborn.ecdfplot(x=np.asarray(values, float), stat="percent", ax=axes, **style)


def _shares(axes, one: Imputed, gap: np.ndarray) -> None:
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


def calibration_plot(table: pd.DataFrame, outcome: str, unit: str = "session") -> Figure:
    """Observed against predicted share of events in groups of rising risk.

    table: `validation.calibration_table`, whose intervals are clustered on the patient.
    """
    figure, axes = _figure(5.0, 4.6)
    low, high, n = table["low"], table["high"], table["rows"]
    top = 105 * float(max(high.max(), table["mean_risk"].max()))
    axes.plot([0, top], [0, top], color=SOFT, linestyle=(0, (4, 3)), linewidth=1)
    axes.vlines(100 * table["mean_risk"], 100 * low, 100 * high, color=SOFT, linewidth=1.2)
    axes.plot(100 * table["mean_risk"], 100 * table["observed_share"], "o", color=INK)
    axes.set_xlim(0, 105 * float(table["mean_risk"].max()) * 1.15)
    axes.set_ylim(0, top)
    axes.set_xlabel(f"predicted risk of {outcome} (%)")
    axes.set_ylabel(f"{unit}s with the event (%), {n.sum()} {unit}s")
    return figure
