"""What a chart can detect: the chance that a point signals when the risk has doubled.

Computed from the chart's own limits, exactly: binomial for a p chart, geometric for a g chart.
"""

from __future__ import annotations

import numpy as np

from .chart import Chart


def point_power(chart: Chart, times: float = 2.0) -> float:
    """Mean chance, over the latest stage's points, that a point signals deterioration.

    chart: a p or g chart; times: what the risk is multiplied by (1: the false-alarm rate).
    Raises ValueError for other kinds of chart.
    """
    latest = chart.table[chart.table["stage"] == chart.table["stage"].iloc[-1]]
    if chart.kind == "p":
        return _power_p(latest, times)
    if chart.kind == "g":
        return _power_g(latest, times)
    raise ValueError(f"the power of a {chart.kind} chart is not worked out here")


def _power_p(latest: object, times: float) -> float:
    from scipy.stats import binom

    table = latest
    size, centre = table["trials"].to_numpy(), table["centre"].to_numpy()  # type: ignore[index]
    highest = np.floor(table["upper"].to_numpy() * size + 1e-9)  # type: ignore[index]
    return float(np.mean(binom.sf(highest, size, np.minimum(times * centre, 0.999))))


def _power_g(latest: object, times: float) -> float:
    row = latest.iloc[-1]  # type: ignore[attr-defined]
    if np.isnan(row["lower"]) or row["lower"] <= 0:
        return 0.0
    risk = min(times / (row["centre"] + 1), 0.999)
    below = np.ceil(row["lower"] - 1e-9)
    return float(1 - (1 - risk) ** below)
