"""Counts of several series pooled into one proportion, with how much the series differ.

Random-intercept logistic (binomial–normal) model, by maximum likelihood: Hamza, van Houwelingen
and Stijnen 2008, J Clin Epidemiol 61:41; Stijnen, Hamza and Özdemir 2010, Stat Med 29:3046. Lin
and Chu 2020, Epidemiology 31:713, compare it with methods in two steps: less bias, better
coverage. Series without an event are kept as they are; nothing is added to any count.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from analyses.statistics.arguments import check_level, counts_of
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.pooling.maximum import Peak, common_peak, peak
from analyses.statistics.pooling.pooled_interval import standard_error, tau_limits
from analyses.statistics.pooling.predictive import NewSeries, higgins_limits, new_series
from analyses.words.self_showing import Displayed, Summary

FEWEST_POOLED = 2
FEWEST_PREDICTED = 3
FEWEST_TRUSTED = 5
"""Under this many series the heterogeneity is hardly known, and the words say so."""
METHODS = {
    "glmm": "binomial–normal random-effects model, maximum likelihood; t interval",
    "common": "common-effect logistic model",
}
ONE = "fewer than two series with counts; nothing is pooled"
SAME = "the common-effect model takes all series to share one proportion"
TWO = "two series cannot tell how much series differ; no prediction interval"
NO_EVENT = "no event in any series; the model has no finite estimate"
ALL_EVENTS = "an event in every unit of every series; the model has no finite estimate"
ENDS = "every series has either no event or nothing but events; the model has no finite estimate"
PARTS = ("", ".between_series_sd", ".prediction")
KINDS = ("probability", "standard deviation", "probability")
SIMPLE = ".prediction_t"
NAMES = ("typical series (95 % confidence interval)", "standard deviation between series",
         "new series (95 % prediction interval)")


@dataclass(frozen=True)
class Pooled(Displayed):
    """Several series pooled.

    events, totals: the counts, one a series. estimate: the proportion of the typical (median)
    series, kind "probability", with its confidence interval. heterogeneity: the standard
    deviation of the series' log odds (tau) with its profile interval. prediction: the median and
    the interval in which a new series' own proportion would lie. Those that cannot be given have
    no value, and flags that say why. higgins: the simpler t prediction interval of Higgins 2009;
    new: the distribution behind `prediction`; both None where there is no prediction. notes: what
    the numbers cannot tell, in words.
    """

    events: tuple[int, ...]
    totals: tuple[int, ...]
    method: str
    estimate: Estimate
    heterogeneity: Estimate
    prediction: Estimate
    higgins: Estimate | None
    new: NewSeries | None
    notes: tuple[str, ...]

    @property
    def estimates(self) -> tuple[Estimate, Estimate, Estimate]:
        """The three of them."""
        return self.estimate, self.heterogeneity, self.prediction

    @property
    def all_estimates(self) -> tuple[Estimate, ...]:
        """The three, and the simpler prediction interval where there is one."""
        return (*self.estimates, *([self.higgins] if self.higgins else []))

    def summary(self) -> Summary:
        """The three estimates, with how many series and events stand behind them."""
        title = (f"{len(self.events)} series, {sum(self.events):,} events among "
                 f"{sum(self.totals):,}; {self.estimate.method}")
        rows = tuple((name, e.as_text()) for name, e in zip(NAMES, self.estimates, strict=True))
        return Summary(title, ("", "estimate"), rows, self.notes)


def pool_proportions(
    events: Sequence[int], totals: Sequence[int], *, method: str = "glmm", level: float = 0.95,
    id: str = "pooled", unit: str = "", group: Mapping[str, str] | None = None,
) -> Pooled:
    """Pool the counts of several series, one entry of `events` and `totals` a series.

    method: "glmm", the binomial–normal model, in which every series has a proportion of its own;
    or "common", in which all share one. Interval of the pooled proportion: on the log odds, with
    t of k − 1 degrees of freedom (normal for "common"). Prediction interval: `predictive`; that of
    Higgins, Thompson and Spiegelhalter 2009 is `higgins`.

    Raises ValueError for counts that are missing, broken, negative or more than their total, for
    an empty series, for lists of different length, and for an unknown method.
    """
    if method not in METHODS:
        raise ValueError(f"The method is {method!r}; one of {', '.join(METHODS)} is wanted.")
    y, n = _counts(events, totals)
    counted = Estimate(
        id=id, kind="probability", value=None, unit=unit, group=group, level=check_level(level),
        method=METHODS[method], events=sum(y), n=sum(n),
    )
    why = _why_not(y, n)
    if why:
        return _none(y, n, method, counted, why)
    counts, trials = np.array(y, dtype=float), np.array(n, dtype=float)
    if method == "common":
        return _common(y, n, common_peak(counts, trials), counted)
    return _mixed(y, n, counts, trials, counted)


def _mixed(
    y: tuple[int, ...], n: tuple[int, ...], counts: Floats, trials: Floats, counted: Estimate,
) -> Pooled:
    from scipy.stats import t

    found, k, level = peak(counts, trials), len(y), counted.level
    error = standard_error(found)
    half = float(t.ppf(0.5 + level / 2, k - 1)) * error
    low, high = tau_limits(counts, trials, found, level)
    new = None if k < FEWEST_PREDICTED else new_series(counts, trials, found)
    simple = None if new is None else higgins_limits(found, error, k, level)
    return Pooled(
        y, n, "glmm", _share(counted, found.mu, half),
        _spread(counted, k, found.tau, low, high),
        _predicted(counted, new), _higgins(counted, found.mu, simple), new,
        _notes(k, found.tau))


def _common(
    y: tuple[int, ...], n: tuple[int, ...], found: Peak, counted: Estimate,
) -> Pooled:
    from scipy.stats import norm

    half = float(norm.ppf(0.5 + counted.level / 2)) * standard_error(found)
    return Pooled(
        y, n, "common", _share(counted, found.mu, half),
        _missing(counted, 1, SAME), _missing(counted, 2, SAME), None, None,
        ("The common-effect model takes all series to share one proportion; where they differ its "
         "interval is too narrow.",))


def _none(
    y: tuple[int, ...], n: tuple[int, ...], method: str, counted: Estimate, why: str,
) -> Pooled:
    return Pooled(y, n, method, _missing(counted, 0, why), _missing(counted, 1, why),
                  _missing(counted, 2, why), None, None, (f"{why[:1].upper()}{why[1:]}.",))


def _share(counted: Estimate, mu: float, half: float) -> Estimate:
    return replaced(counted, value=float(expit(mu)), low=float(expit(mu - half)),
                    high=float(expit(mu + half)))


def _spread(counted: Estimate, k: int, tau: float, low: float, high: float) -> Estimate:
    return Estimate(
        id=counted.id + PARTS[1], kind=KINDS[1], value=tau, low=low, high=high,
        measure="on the log odds", level=counted.level, group=counted.group, unit="series",
        n=k, method="binomial–normal random-effects model; profile-likelihood interval")


def _predicted(counted: Estimate, new: NewSeries | None) -> Estimate:
    if new is None:
        return _missing(counted, 2, TWO)
    low, high = new.limits(counted.level)
    return replaced(counted, id=counted.id + PARTS[2], value=float(expit(new.quantile(0.5))),
                    low=low, high=high, method="predictive distribution averaged over tau")


def _higgins(
    counted: Estimate, mu: float, limits: tuple[float, float] | None,
) -> Estimate | None:
    if limits is None:
        return None
    return replaced(counted, id=counted.id + SIMPLE, value=float(expit(mu)), low=limits[0],
                    high=limits[1], method="t prediction interval, Higgins 2009")


def _missing(counted: Estimate, part: int, why: str) -> Estimate:
    """The first, second or third estimate of a pooling, without a value."""
    return replaced(counted, id=counted.id + PARTS[part], kind=KINDS[part], flags=(why,))


def _counts(
    events: Sequence[int], totals: Sequence[int],
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    if len(events) != len(totals):
        raise ValueError(f"There are {len(events)} counts of events for {len(totals)} totals.")
    pairs = [counts_of(y, n) for y, n in zip(events, totals, strict=True)]
    empty = [number for number, (_, n) in enumerate(pairs, start=1) if n == 0]
    if empty:
        raise ValueError(f"Series {', '.join(map(str, empty))} counted no unit: leave it out.")
    return tuple(y for y, _ in pairs), tuple(n for _, n in pairs)


def _why_not(y: tuple[int, ...], n: tuple[int, ...]) -> str:
    """Why nothing can be pooled; "" where it can."""
    if len(y) < FEWEST_POOLED:
        return ONE
    if not any(y):
        return NO_EVENT
    if y == n:
        return ALL_EVENTS
    return ENDS if all(a in (0, b) for a, b in zip(y, n, strict=True)) else ""


def _notes(k: int, tau: float) -> tuple[str, ...]:
    """What so many series cannot tell."""
    said = []
    if k < FEWEST_PREDICTED:
        said.append("Two series cannot tell how much series differ: the interval is as wide as "
                    "that makes it, and there is no prediction interval.")
    elif k < FEWEST_TRUSTED:
        said.append(f"{k} series say little about how much series differ; the prediction interval "
                    "is as wide as that makes it.")
    if tau == 0:
        said.append("The estimate of 0 for the standard deviation between series does not show "
                    "that they are alike: its interval says how much they may differ.")
    return tuple(said)
