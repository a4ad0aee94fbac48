"""`Chart`, what every control chart of this room returns, and its stages."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats, Labels, Whole
from analyses.words.numerals import quantity, span
from analyses.words.self_showing import Displayed, Summary

COLUMNS = ["label", "stage", "value", "centre", "lower", "upper", "signal", "reason"]


@dataclass(frozen=True)
class Chart(Displayed):
    """A control chart as numbers; drawing it is another module's work.

    table: one row a point, in time order, with at least `label`, `stage`, `value`, `centre`,
    `lower`, `upper` (NaN where a chart has no limit), `signal` (True or False) and `reason`
    (why it signals, in words). kind: "p", "u", "g", "t", "run", "EWMA". measure: what the value
    is, with its unit. method: how the limits were set and whose method that is. notes: what a
    reader has to know before trusting it.
    """

    kind: str
    table: pd.DataFrame
    measure: str
    method: str
    notes: tuple[str, ...] = ()
    facts: dict[str, float] = field(default_factory=dict)

    @property
    def signals(self) -> pd.DataFrame:
        """The points that signal, with the reason for each."""
        return self.table[self.table["signal"]]

    @property
    def stages(self) -> list[str]:
        """The process stages, in the order of time."""
        return list(dict.fromkeys(self.table["stage"]))

    def summary(self) -> Summary:
        """A row a stage with its limits; every signal below."""
        rows = []
        for stage in self.stages:
            part = self.table[self.table["stage"] == stage]
            rows.append((str(stage) or "all", f"{len(part):,}", _range(part["centre"]),
                         _range(part["lower"]), _range(part["upper"]),
                         f"{int(part['signal'].sum()):,}"))
        signals = tuple(f"Signal at {row.label}: {row.reason}."
                        for row in self.signals.itertuples())
        return Summary(
            f"{self.kind} chart: {self.measure}",
            ("Stage", "Points", "Centre", "Lower limit", "Upper limit", "Signals"), tuple(rows),
            (*(signals or ("No signal.",)), f"{self.method}.", *self.notes))


Limits = tuple[Any, Any, Any]


def in_stages(
    count: int, stage: Sequence[Any] | None, baseline: Iterable[Any] | None
) -> Iterator[tuple[Whole, Whole]]:
    """The places of each stage, and of those the ones that may set its limits.

    Raises ValueError where the lengths differ, a stage comes back after another one, or a stage
    has no point to set its limits from.
    """
    labels = stage_labels(count, stage)
    may = np.ones(count, bool) if baseline is None else np.asarray(list(baseline), dtype=bool)
    if len(may) != count:
        raise ValueError(f"baseline has {len(may)} entries for {count} points")
    for name in dict.fromkeys(labels):
        places = np.flatnonzero(labels == name)
        if places[-1] - places[0] + 1 != places.size:
            raise ValueError(f"stage {name!r} comes back later; stages follow in time")
        setters = places[may[places]]
        if setters.size == 0:
            raise ValueError(f"stage {name!r} has no baseline point to set its limits from")
        yield places, setters


def stage_labels(count: int, stage: Sequence[Any] | None) -> Labels:
    """One stage name a point; a single unnamed stage where none were given."""
    if stage is None:
        return np.array(["all"] * count, dtype=object)
    labels = np.array([str(name) for name in stage], dtype=object)
    if labels.size != count:
        raise ValueError(f"stage has {labels.size} entries for {count} points")
    return labels


def chart_table(
    value: Floats,
    limits: Callable[[Whole, Whole], Limits],
    *,
    labels: Sequence[Any] | None,
    stage: Sequence[Any] | None,
    baseline: Iterable[Any] | None,
    above: str,
    below: str,
) -> pd.DataFrame:
    """The chart's table: limits worked out stage by stage, points outside them marked.

    limits(places, setters) returns centre, lower and upper for the places of a stage, worked out
    from the points at `setters` only; a stage of one point has no limits.
    """
    table = pd.DataFrame(
        {
            "label": list(labels) if labels is not None else range(1, value.size + 1),
            "stage": stage_labels(value.size, stage),
            "value": value,
            "centre": np.nan,
            "lower": np.nan,
            "upper": np.nan,
        }
    )
    for places, setters in in_stages(value.size, stage, baseline):
        centre, lower, upper = limits(places, setters)
        if places.size == 1:  # A stage of one point has only itself to be judged by.
            lower = upper = np.nan
        table.loc[places, "centre"] = centre
        table.loc[places, "lower"] = lower
        table.loc[places, "upper"] = upper
    return mark_outside(table, above=above, below=below)


def mark_outside(table: pd.DataFrame, *, above: str, below: str) -> pd.DataFrame:
    """Add `signal` and `reason` for values strictly outside the limits.

    A point on a limit does not signal. The comparison leaves a part in 10^9 for rounding.
    """
    slack = 1e-9 * np.maximum(1.0, table["value"].abs())
    high = table["value"] > table["upper"] + slack
    low = table["value"] < table["lower"] - slack
    table["signal"] = (high | low).to_numpy(dtype=bool)
    table["reason"] = np.where(high, above, np.where(low, below, ""))
    return table[COLUMNS]


def _range(values: pd.Series) -> str:
    """One number where a limit is the same for all points, else the smallest to the largest."""
    known = np.asarray(values, float)
    known = known[np.isfinite(known)]
    if not known.size:
        return "none"
    low, high = quantity(float(known.min())), quantity(float(known.max()))
    return low if low == high else span(low, high)
