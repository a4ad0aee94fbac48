"""Interrupted time series: did level or slope change with a change in practice?

Segmented regression (Wagner and others 2002, J Clin Pharm Ther 27:299) of the counts: a logistic
model of events among trials by period, its variance times the dispersion, max(1, Pearson χ²/df),
t with periods − 4 degrees of freedom (McCullagh and Nelder 1989, 4.5). A normal line through the
percentages rejected 10.9 % of true nulls at 8 and 8 periods. At least 12 periods of 10 trials on
each side: what is then rejected stands in tests/reference/series_level.md. It is descriptive: what
else changed on that day changes the line too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.statistics.arrays import Floats
from analyses.statistics.control_charts.chart_arrays import counts, same_length
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.self_showing import Displayed, Summary
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    import pandas as pd

FEWEST_EACH_SIDE = 12
FEWEST_TRIALS = 10
FEWEST_EVENTS = 8
METHOD = "segmented logistic regression of the counts, dispersion allowed for"


class SeriesTooShort(SentenceError, ValueError):
    """The series cannot carry a segmented regression; the message says what is missing."""


@dataclass(frozen=True)
class SegmentedFit:
    """Coefficients (intercept, slope, change of level, change of slope; log odds), their
    covariance with the dispersion, its degrees of freedom, and the dispersion (1 or more)."""

    coefficients: Floats
    covariance: Floats
    df: int
    dispersion: float


@dataclass(frozen=True)
class InterruptedSeries(Displayed):
    """A segmented regression: the change of level and of slope, and the line without the change.

    table: label, value (per cent), after, fitted, counterfactual (the earlier line carried on),
    low, high (interval of the counterfactual line), all in per cent. level: odds ratio at the
    first period after the change; slope: odds ratio a period of the change of slope;
    effect_at_end: odds ratio of the line against the earlier one in the last period.
    """

    table: pd.DataFrame
    level: Estimate
    slope: Estimate
    effect_at_end: Estimate
    fit: SegmentedFit
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
        return Summary("Before and after a change", ("What", "Odds ratio (interval)"), rows,
                       self.notes)


def interrupted_series(
    events: Iterable[Any],
    trials: Iterable[Any],
    first_after: int,
    *,
    period: str = "month",
    unit: str = "trial",
    labels: Sequence[Any] | None = None,
    level: float = 0.95,
    left_out: int = 0,
) -> InterruptedSeries:
    """Segmented regression of the events among the trials of each of a row of periods.

    events, trials: counts, one a period; first_after: how many periods lie before the change;
    left_out: how many periods, not among the counts, lie between the last before and the first
    after (one that the change cuts in two is neither). Raises SeriesTooShort below 12 periods of
    10 trials on either side, below 8 events or trials without one, or where either side has both
    in fewer than two periods; ValueError for other faults.
    """
    found, among = counts(list(events), "events"), counts(list(trials), "trials")
    same_length(events=found, trials=among)
    if (found > among).any():
        raise ValueError("events: a period has more events than trials")
    _long_enough(found, among, first_after, (period, unit))
    x = design(found.size, first_after, left_out)
    fit = segmented(x, found, among)
    last = np.array([0.0, 0.0, 1.0, float(found.size - 1 - first_after)])
    size = (int(found.sum()), int(among.sum()))

    def ratio(name: str, contrast: Floats) -> Estimate:
        return _ratio(f"monitoring.series_{name}", contrast, fit, size, level, unit)

    return InterruptedSeries(
        _table(100 * found / among, x, fit, first_after, labels, level),
        ratio("level", np.array([0, 0, 1.0, 0])), ratio("slope", np.array([0, 0, 0, 1.0])),
        ratio("effect_at_end", last), fit, _notes(fit, found.size, first_after, period),
    )


def segmented(x: Floats, events: Floats, trials: Floats) -> SegmentedFit:
    """The logistic model of counts; x: (periods, 4). Raises SeriesTooShort where it has no end."""
    import warnings

    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM
    from statsmodels.tools.sm_exceptions import PerfectSeparationWarning

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PerfectSeparationWarning)
        # The end is where the coefficients stand still: with many trials a deviance never does.
        model = GLM(np.column_stack([events, trials - events]), x, family=Binomial()).fit(
            tol_criterion="params", tol=1e-10, rtol=1e-10)
    if not model.converged or np.abs(x @ model.params).max() > 20:
        raise SeriesTooShort("The events of one side all lie together, so no line has an end: "
                             "nothing is fitted.")
    df = len(events) - x.shape[1]
    dispersion = max(1.0, float(model.pearson_chi2) / df)
    return SegmentedFit(np.asarray(model.params), dispersion * np.asarray(model.cov_params()), df,
                        dispersion)


def design(periods: int, first_after: int, left_out: int = 0) -> Floats:
    """Intercept, time from 0, after (0 or 1), and periods since the change (0 at the first).

    Time goes on through periods left out between before and after.
    """
    place = np.arange(periods, dtype=float)
    after = (place >= first_after).astype(float)
    return np.column_stack([np.ones(periods), place + left_out * after, after,
                            after * (place - first_after)])


def _long_enough(
    events: Floats, trials: Floats, first_after: int, names: tuple[str, str],
) -> None:
    period, unit = names
    after = events.size - first_after
    if min(first_after, after) < FEWEST_EACH_SIDE or trials.min() < FEWEST_TRIALS:
        raise SeriesTooShort(
            f"{first_after} {period}s before the change and {after} after it, the smallest with "
            f"{trials.min():.0f} {plural(unit)}: at least {FEWEST_EACH_SIDE} of {FEWEST_TRIALS} "
            "and more on each side are wanted, so no line is fitted."
        )
    hit = int(events.sum())
    if min(hit, int(trials.sum()) - hit) < FEWEST_EVENTS:
        raise SeriesTooShort(f"{hit} events in {trials.sum():.0f} {plural(unit)}: at least "
                             f"{FEWEST_EVENTS} are wanted, and as many without one, so no line is "
                             "fitted.")
    for part in (slice(None, first_after), slice(first_after, None)):
        if min((events[part] > 0).sum(), (events[part] < trials[part]).sum()) < 2:
            raise SeriesTooShort(f"One side has events in fewer than two {period}s: nothing to "
                                 "fit.")


def _ratio(
    id: str, contrast: Floats, fit: SegmentedFit, size: tuple[int, int], level: float, unit: str,
) -> Estimate:
    from scipy.stats import t

    value = float(contrast @ fit.coefficients)
    error = float(np.sqrt(contrast @ fit.covariance @ contrast))
    reach = float(t.ppf((1 + level) / 2, fit.df)) * error
    return Estimate(id=id, kind="odds ratio", value=np.exp(value), low=np.exp(value - reach),
                    high=np.exp(value + reach), level=level, method=METHOD, unit=unit,
                    events=size[0], n=size[1])


def _table(
    value: Floats, x: Floats, fit: SegmentedFit, first_after: int,
    labels: Sequence[Any] | None, level: float,
) -> pd.DataFrame:
    import pandas as pd
    from scipy.special import expit
    from scipy.stats import t

    before = x * np.array([1.0, 1.0, 0.0, 0.0])
    line = before @ fit.coefficients
    error = np.sqrt(np.einsum("ij,jk,ik->i", before, fit.covariance, before))
    reach = float(t.ppf((1 + level) / 2, fit.df)) * error
    return pd.DataFrame({
        "label": list(labels) if labels is not None else range(1, value.size + 1),
        "value": value, "after": np.arange(value.size) >= first_after,
        "fitted": 100 * expit(x @ fit.coefficients), "counterfactual": 100 * expit(line),
        "low": 100 * expit(line - reach), "high": 100 * expit(line + reach),
    })


def _notes(fit: SegmentedFit, periods: int, first_after: int, period: str) -> tuple[str, ...]:
    return (
        f"{first_after} {period}s before and {periods - first_after} after the change; the counts "
        f"vary {fit.dispersion:.2f} times as much as by chance alone (1 at least is taken).",
        "Anything else that changed at the same time changes the line as well: this describes "
        "the series, it does not show what brought the change about.",
    )
