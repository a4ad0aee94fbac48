"""Interrupted time series: did level or slope change with a change in practice?

Source: Wagner and others 2002, J Clin Pharm Ther 27:299 (segmented regression); the correlation
of neighbouring periods handled as in `segmented`. The least length, 8 periods on each side, is
common practice, no source. It is descriptive: what else changed on that day changes the line too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.control_charts.chart_arrays import numbers
from analyses.statistics.control_charts.segmented import LinearFit, ar1, newey_west
from analyses.statistics.estimate import Estimate
from analyses.words import numerals
from analyses.words.self_showing import Displayed, Summary
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    import pandas as pd

FEWEST_EACH_SIDE = 8


class SeriesTooShort(SentenceError, ValueError):
    """The series cannot carry a segmented regression; the message says what is missing."""


@dataclass(frozen=True)
class InterruptedSeries(Displayed):
    """A segmented regression: the change of level and of slope, and the line without the change.

    table: label, value, after, fitted, counterfactual (the earlier line carried on), low, high
    (interval of the counterfactual line). level, slope: differences with their intervals, in
    `measure` and `measure` a period. effect_at_end: fitted minus counterfactual in the last
    period. fit: coefficients (intercept, slope, change of level, change of slope).
    """

    table: pd.DataFrame
    level: Estimate
    slope: Estimate
    effect_at_end: Estimate
    fit: LinearFit
    notes: tuple[str, ...]

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """All of its numbers."""
        return self.level, self.slope, self.effect_at_end

    def summary(self) -> Summary:
        """A row a number."""
        words = ("Change of level", "Change of slope",
                 "With against without the change, at the end")
        rows = tuple((label, e.number_text())
                     for label, e in zip(words, self.estimates, strict=True))
        return Summary("Before and after a change", ("What", "Difference (interval)"), rows,
                       self.notes)


def interrupted_series(
    values: Iterable[Any],
    first_after: int,
    *,
    measure: str,
    period: str = "month",
    labels: Sequence[Any] | None = None,
    errors: Literal["newey-west", "ar1"] = "ar1",
    lag: int | None = None,
    level: float = 0.95,
) -> InterruptedSeries:
    """Segmented regression of an equally spaced series.

    values: one number a period; first_after: how many periods lie before the change; measure:
    the value's unit, "percentage points" for a proportion times 100; errors: how the correlation
    of periods is handled; lag: for Newey–West, else floor(4·(n/100)^(2/9)). The change of level
    is read at the first period after the change. Raises SeriesTooShort below 8 periods on either
    side or where the series does not vary, ValueError for other faults.
    """
    value = numbers(list(values), "values")
    _long_enough(value, first_after, period)
    x = design(value.size, first_after)
    if errors == "ar1":
        fit = ar1(x, value)
    else:
        fit = newey_west(x, value, lag if lag is not None else default_lag(value.size))
    last = np.array([0.0, 0.0, 1.0, float(value.size - 1 - first_after)])

    def difference(name: str, contrast: Floats, unit_of: str) -> Estimate:
        return _difference(f"monitoring.series_{name}", contrast, fit=fit, n=value.size,
                           level=level, measure=unit_of)

    return InterruptedSeries(
        _table(value, x, fit, first_after, labels, level),
        difference("level", np.array([0, 0, 1.0, 0]), measure),
        difference("slope", np.array([0, 0, 0, 1.0]), f"{measure} a {period}"),
        difference("effect_at_end", last, measure),
        fit, _notes(fit, value.size, first_after, period),
    )


def design(periods: int, first_after: int) -> Floats:
    """Intercept, time from 0, after (0 or 1), and periods since the change (0 at the first)."""
    time = np.arange(periods, dtype=float)
    after = (time >= first_after).astype(float)
    return np.column_stack([np.ones(periods), time, after, after * (time - first_after)])


def default_lag(periods: int) -> int:
    """Newey and West's rule of thumb: floor(4·(n/100)^(2/9))."""
    return int(np.floor(4 * (periods / 100) ** (2 / 9)))


def _long_enough(value: Floats, first_after: int, period: str) -> None:
    after = value.size - first_after
    if min(first_after, after) < FEWEST_EACH_SIDE:
        raise SeriesTooShort(
            f"{first_after} {period}s before the change and {after} after it: at least "
            f"{FEWEST_EACH_SIDE} on each side are wanted, so no line is fitted. Show the points "
            "and the day of the change instead."
        )
    if np.ptp(value[:first_after]) == 0 and np.ptp(value[first_after:]) == 0:
        raise SeriesTooShort("The series does not vary within its two parts: nothing to fit.")


def _difference(
    id: str, contrast: Floats, *, fit: LinearFit, n: int, level: float, measure: str
) -> Estimate:
    from scipy.stats import t

    value = float(contrast @ fit.coefficients)
    error = float(np.sqrt(contrast @ fit.covariance @ contrast))
    reach = float(t.ppf((1 + level) / 2, fit.df)) * error
    return Estimate(id=id, kind="difference", value=value, low=value - reach, high=value + reach,
                    level=level, method=f"segmented regression, {fit.method}", unit="period",
                    n=n, measure=measure)


def _table(
    value: Floats, x: Floats, fit: LinearFit, first_after: int, labels: Sequence[Any] | None,
    level: float,
) -> pd.DataFrame:
    import pandas as pd
    from scipy.stats import t

    before = x * np.array([1.0, 1.0, 0.0, 0.0])
    line = before @ fit.coefficients
    error = np.sqrt(np.einsum("ij,jk,ik->i", before, fit.covariance, before))
    reach = float(t.ppf((1 + level) / 2, fit.df)) * error
    return pd.DataFrame({
        "label": list(labels) if labels is not None else range(1, value.size + 1),
        "value": value, "after": np.arange(value.size) >= first_after,
        "fitted": x @ fit.coefficients, "counterfactual": line,
        "low": line - reach, "high": line + reach,
    })


def _notes(fit: LinearFit, periods: int, first_after: int, period: str) -> tuple[str, ...]:
    return (
        f"{first_after} {period}s before and {periods - first_after} after the change; "
        f"correlation of neighbouring {period}s {numerals.with_sign(f'{fit.correlation:.2f}')}.",
        "Anything else that changed at the same time changes the line as well: this describes "
        "the series, it does not show what brought the change about.",
    )
