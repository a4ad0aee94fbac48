"""EWMA: exponentially weighted moving averages of a measure, or of events beyond expectation.

Sources: Roberts 1959, Technometrics 1:239; NIST/SEMATECH e-Handbook 6.3.2.4; the risk-adjusted
form as in Grigg and Spiegelhalter 2007, Journal of the American Statistical Association 102:140
(here with normal limits from the exact variance).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.control_charts.attribute_charts import ABOVE, BELOW
from analyses.statistics.control_charts.chart import Chart, chart_table
from analyses.statistics.control_charts.chart_arrays import events, numbers, risks, same_length


def ewma_chart(
    values: Iterable[Any],
    *,
    centre: float,
    sd: float,
    weight: float = 0.2,
    width: float = 3.0,
    labels: Sequence[Any] | None = None,
    measure: str = "moving average",
) -> Chart:
    """EWMA of a measure whose mean and standard deviation are known from an earlier period.

    values: numbers in order of time; centre and sd: of the earlier period, sd above 0; weight:
    of the newest point, above 0 to 1; width: limits in standard errors. The limits widen from
    the first point on to width·sd·sqrt(weight/(2 − weight)). Raises ValueError.
    """
    value = numbers(list(values), "values")
    _check_weight(weight, width)
    if not np.isfinite(sd) or sd <= 0:
        raise ValueError(f"sd is {sd!r}; a number above 0 is wanted")
    average = _smooth(value, weight, float(centre))
    variance = sd**2 * _accumulated(np.ones(value.size), weight)
    return _chart(average, float(centre), np.sqrt(variance), width, labels, measure,
                  "EWMA, limits from an earlier period (Roberts 1959)", weight)


def event_ewma_chart(
    event: Iterable[Any],
    expected: Iterable[Any],
    *,
    weight: float = 0.02,
    width: float = 3.0,
    labels: Sequence[Any] | None = None,
    unit: str = "trial",
) -> Chart:
    """EWMA of events minus expected risks, trial by trial: 0 is as expected.

    event: 0 or 1; expected: risks strictly between 0 and 1; weight: of the newest trial; unit:
    what a trial is called. The
    standard error is exact, from the risks; the normal limits are an approximation that needs
    many trials within the weight's reach (about 2/weight). Raises ValueError.
    """
    observed, p = events(list(event)), risks(list(expected))
    same_length(event=observed, expected=p)
    _check_weight(weight, width)
    average = _smooth(observed - p, weight, 0.0)
    spread = np.sqrt(_accumulated(p * (1 - p), weight))
    return _chart(average, 0.0, spread, width, labels, f"events minus expected, a {unit}",
                  "risk-adjusted EWMA, normal limits from the exact variance", weight)


def _chart(
    average: Floats, centre: float, spread: Floats, width: float,
    labels: Sequence[Any] | None, measure: str, method: str, weight: float,
) -> Chart:
    table = chart_table(
        average, lambda places, _: (centre, centre - width * spread, centre + width * spread),
        labels=labels, stage=None, baseline=None, above=ABOVE, below=BELOW,
    )
    return Chart("EWMA", table, measure, method,
                 (f"The newest point weighs {weight:g}; the chart looks back over about "
                  f"{2 / weight:.0f} points.",), {"weight": weight, "width": width})


def _smooth(value: Floats, weight: float, start: float) -> Floats:
    average, last = np.empty(value.size), start
    for place, point in enumerate(value.tolist()):
        last = weight * point + (1 - weight) * last
        average[place] = last
    return average


def _accumulated(variance: Floats, weight: float) -> Floats:
    """Variance of the average at each point: weight²·sum (1 − weight)^(2(t − i))·variance_i."""
    return weight**2 * _smooth(variance / (1 - (1 - weight) ** 2), 1 - (1 - weight) ** 2, 0.0)


def _check_weight(weight: float, width: float) -> None:
    if not 0 < weight <= 1:
        raise ValueError(f"weight is {weight!r}; above 0, up to 1, is wanted")
    if not np.isfinite(width) or width <= 0:
        raise ValueError(f"width is {width!r}; a number above 0 is wanted")
