"""The quality of the data as charts: completeness, and time from event to entry."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.statistics.control_charts.chart_arrays import same_length

if TYPE_CHECKING:
    import pandas as pd


def completeness_by_month(
    records: pd.DataFrame, *, date: str, fields: Sequence[str]
) -> pd.DataFrame:
    """The share of rows with each field recorded, month by month, months without rows included.

    records: one row a record; date: the column that says the month. Returns one row a month and
    field: month ("2026-03"), field, recorded, rows, share (NaN in a month without rows). Raises
    ValueError naming missing columns.
    """
    import pandas as pd

    missing = [name for name in (date, *fields) if name not in records.columns]
    if missing:
        raise ValueError(f"records: no column {', '.join(missing)}")
    month = pd.to_datetime(records[date], errors="coerce").dt.to_period("M")
    known = records[month.notna()]
    month = month[month.notna()]
    if month.empty:
        return pd.DataFrame(columns=["month", "field", "recorded", "rows", "share"])
    months = pd.period_range(month.min(), month.max(), freq="M")
    rows = known.groupby(month).size().reindex(months, fill_value=0)
    parts = []
    for name in fields:
        recorded = known[name].notna().groupby(month).sum().reindex(months, fill_value=0)
        parts.append(pd.DataFrame({
            "month": [str(m) for m in months], "field": name,
            "recorded": recorded.astype(int).to_numpy(), "rows": rows.to_numpy(),
        }))
    table = pd.concat(parts, ignore_index=True)
    table["share"] = np.where(table["rows"] > 0, table["recorded"] / table["rows"].clip(lower=1),
                              np.nan)
    return table


def time_to_entry(event_day: Sequence[Any], entry_day: Sequence[Any]) -> pd.DataFrame:
    """Days from an event to its entry, by month of the event.

    event_day, entry_day: dates, one pair a record; blank entries are counted as not dated.
    Returns month, records, not_dated, before_event (entry dated before the event: a mistake in
    one of the dates, left out of the rest), median_days, longest_tenth_days (the 90th percentile).
    """
    import pandas as pd

    same_length(event_day=event_day, entry_day=entry_day)
    event = pd.to_datetime(pd.Series(list(event_day)), errors="coerce")
    entry = pd.to_datetime(pd.Series(list(entry_day)), errors="coerce")
    frame = pd.DataFrame({"month": event.dt.to_period("M"),
                          "days": (entry.dt.normalize() - event.dt.normalize()).dt.days})
    rows = []
    for month, part in frame.dropna(subset=["month"]).groupby("month"):
        days = part["days"].dropna()
        good = days[days >= 0]
        rows.append({
            "month": str(month), "records": len(part), "not_dated": int(part["days"].isna().sum()),
            "before_event": int((days < 0).sum()),
            "median_days": float(good.median()) if len(good) else np.nan,
            "longest_tenth_days": float(good.quantile(0.9)) if len(good) else np.nan,
        })
    return pd.DataFrame(rows, columns=["month", "records", "not_dated", "before_event",
                                       "median_days", "longest_tenth_days"])
