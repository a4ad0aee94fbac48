"""What a chart can detect: the chance that a point signals when the risk has doubled.

Computed from the chart's own limits, exactly: binomial for a p chart, geometric for a g chart.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    import pandas as pd


def point_power(chart: Chart, times: float = 2.0) -> float:
    """Mean chance, over the points of the latest stage with limits, that one signals more events.

    chart: a p or g chart; times: what the risk is multiplied by (1: the false-alarm rate).
    Raises ValueError for other kinds of chart.
    """
    judged = chart.table[chart.table["upper"].notna()]
    if judged.empty:
        return 0.0  # A chart of one point has no limit to pass.
    latest = judged[judged["stage"] == judged["stage"].iloc[-1]]
    if chart.kind == "p":
        return _power_p(latest, times)
    if chart.kind == "g":
        return _power_g(latest, times)
    raise ValueError(f"the power of a {chart.kind} chart is not worked out here")


def detection_estimates(chart: Chart) -> tuple[Estimate, Estimate]:
    """The chance that a point signals more events: with a doubled risk, and by chance alone."""
    method = f"exact, from the limits of the latest stage of the {chart.kind} chart"
    unit = "period" if chart.kind == "p" else "gap"

    def estimate(name: str, times: float) -> Estimate:
        return Estimate(id=f"monitoring.{chart.kind}_chart.{name}", kind="probability",
                        value=point_power(chart, times), method=method, unit=unit)

    return estimate("signal_if_doubled", 2.0), estimate("signal_by_chance", 1.0)


def _power_p(latest: pd.DataFrame, times: float) -> float:
    from scipy.stats import binom

    size, centre = latest["trials"].to_numpy(), latest["centre"].to_numpy()
    highest = np.floor(latest["upper"].to_numpy() * size + 1e-9)
    return float(np.mean(binom.sf(highest, size, np.minimum(times * centre, 0.999))))


def _power_g(latest: pd.DataFrame, times: float) -> float:
    row = latest.iloc[-1]
    if np.isnan(row["lower"]) or row["lower"] <= 0:
        return 0.0
    risk = min(times / (row["centre"] + 1), 0.999)
    below = np.ceil(row["lower"] - 1e-9)
    return float(1 - (1 - risk) ** below)
