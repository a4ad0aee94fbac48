"""Risk-adjusted CUSUM for a yes-or-no outcome.

Source: Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441. Each trial adds the
logarithm of its likelihood ratio, for odds changed by `odds_ratio` against odds as expected; the
sum never falls below zero; it signals at the limit and starts again from zero.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats, Mask
from analyses.statistics.control_charts.chart_arrays import events, risks, same_length
from analyses.statistics.control_charts.cusum_scores import cusum_scores
from analyses.words.estimate_text import plural
from analyses.words.numerals import quantity
from analyses.words.self_showing import Displayed, Summary


@dataclass(frozen=True)
class Cusum(Displayed):
    """One direction of a risk-adjusted CUSUM.

    table: one row a trial: label, event, expected, score, value (0 or more), limit, signal,
    reset (True where the sum started from zero after the signal before).
    unit: what a trial is called.
    """

    table: pd.DataFrame
    odds_ratio: float
    limit: float
    unit: str = "trial"

    @property
    def worse(self) -> bool:
        """Whether this sum looks for a risk above the expected one."""
        return self.odds_ratio > 1

    @property
    def signals(self) -> pd.DataFrame:
        """The trials at which the sum reached its limit."""
        return self.table[self.table["signal"]]

    def summary(self) -> Summary:
        """What was looked for, what was seen, and where it signalled."""
        at = ", ".join(map(str, self.signals["label"])) or "none"
        way = "higher" if self.worse else "lower"
        events, expected = int(self.table["event"].sum()), float(self.table["expected"].sum())
        return Summary(
            f"Risk-adjusted CUSUM looking for a {way} risk",
            (plural(self.unit).capitalize(), "Events", "Expected", "Odds ratio looked for",
             "Limit", "Signals at"),
            ((f"{len(self.table):,}", f"{events:,}", quantity(expected), f"{self.odds_ratio:g}",
              quantity(self.limit), at),),
            ("The sum starts again from zero after each signal.",))


def risk_adjusted_cusum(
    event: Iterable[Any],
    expected: Iterable[Any],
    *,
    odds_ratio: float,
    limit: float,
    labels: Sequence[Any] | None = None,
    unit: str = "trial",
) -> Cusum:
    """The CUSUM of a series of trials in order of time, restarted at zero after each signal.

    event: 0 or 1; expected: risks strictly between 0 and 1; odds_ratio above 1 looks for worse,
    below 1 for better; limit above 0, signalled when reached;
    unit: what a trial is called. Raises ValueError.
    """
    observed, p = events(list(event)), risks(list(expected))
    same_length(event=observed, expected=p)
    if not np.isfinite(limit) or limit <= 0:
        raise ValueError(f"limit is {limit!r}; a number above 0 is wanted")
    if_event, if_none = cusum_scores(p, odds_ratio)
    score = np.where(observed == 1, if_event, if_none)
    value, signal, reset = _accumulate(score, limit)
    table = pd.DataFrame(
        {
            "label": list(labels) if labels is not None else range(1, score.size + 1),
            "event": observed.astype(int),
            "expected": p,
            "score": score,
            "value": value,
            "limit": limit,
            "signal": signal,
            "reset": reset,
        }
    )
    return Cusum(table, odds_ratio, limit, unit)


def _accumulate(score: Floats, limit: float) -> tuple[Floats, Mask, Mask]:
    value = np.empty(score.size)
    signal = np.zeros(score.size, bool)
    reset = np.zeros(score.size, bool)
    total, signalled = 0.0, False
    for place, step in enumerate(score.tolist()):
        reset[place] = signalled
        total = max(0.0, (0.0 if signalled else total) + step)
        value[place] = total
        # A limit worked out on the lattice of the scores must be met in spite of rounding.
        signalled = total >= limit - 1e-9
        signal[place] = signalled
    return value, signal, reset
