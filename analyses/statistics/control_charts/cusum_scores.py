"""The score of one trial in a risk-adjusted CUSUM."""

from __future__ import annotations

from typing import Any

import numpy as np

from analyses.statistics.control_charts.chart_arrays import risks


def cusum_scores(expected: Any, odds_ratio: float) -> tuple[Any, Any]:
    """Scores of a trial: (score if event, score if none), natural logarithms.

    expected: the trial's risk, strictly between 0 and 1, a number or an array; odds_ratio: the
    change looked for, above 0 and not 1. Steiner 2000, equation 2.3:
    log(R/(1 − p + R·p)) with an event, log(1/(1 − p + R·p)) without. Raises ValueError.
    """
    p = risks(expected)
    if not np.isfinite(odds_ratio) or odds_ratio <= 0 or odds_ratio == 1:
        raise ValueError(f"odds_ratio is {odds_ratio!r}; a number above 0 and not 1 is wanted")
    none = -np.log1p(p * (odds_ratio - 1))
    event = np.log(odds_ratio) + none
    if np.ndim(expected) == 0:
        return float(event[0]), float(none[0])
    return event, none
