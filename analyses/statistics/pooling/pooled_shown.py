"""How the objects of this room show themselves: a small table and its notes."""

from __future__ import annotations

from analyses.statistics.pooling.pooled_proportion import Pooled
from analyses.words.self_showing import Summary

NAMES = ("typical series (95 % confidence interval)", "standard deviation between series",
         "new series (95 % prediction interval)")


def summary_of(pooled: Pooled) -> Summary:
    """The three estimates of a pooling, with how many series and events stand behind them."""
    title = (f"{len(pooled.events)} series, {sum(pooled.events):,} events among "
             f"{sum(pooled.totals):,}; {pooled.estimate.method}")
    rows = tuple((name, e.as_text()) for name, e in zip(NAMES, pooled.estimates, strict=True))
    return Summary(title, ("", "estimate"), rows, pooled.notes)
