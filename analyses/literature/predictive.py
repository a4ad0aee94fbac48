"""What a new series like those pooled would show: its own proportion, and its count.

The log odds of a new series: centre + scale·t, with scale² = tau² + se² and t of k − 2 degrees of
freedom (Higgins, Thompson and Spiegelhalter 2009, J R Stat Soc A 172:137). Its count is binomial
given its log odds; chances of counts are means over that distribution.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import betainc, expit, gammaln

from analyses.literature.likelihood import Floats

POINTS = 400
"""Points of the quadrature over the new series' log odds (Gauss–Legendre on its quantiles)."""


@dataclass(frozen=True)
class NewSeries:
    """The predictive distribution of one more series, on the log odds."""

    centre: float
    scale: float
    freedom: int

    def limits(self, level: float) -> tuple[float, float]:
        """Between which proportions (0 to 1) a new series' own would lie, at this level."""
        from scipy.stats import t

        half = float(t.ppf(0.5 + level / 2, self.freedom)) * self.scale
        return float(expit(self.centre - half)), float(expit(self.centre + half))

    def chance_of_as_many(self, events: float, total: float) -> float:
        """The chance that a new series of `total` units shows `events` or more.

        Neither must be whole: an effective number of units is not. The binomial tail is then the
        beta function that equals it at whole numbers, as in the Korn–Graubard interval.
        """
        return self._mean(_upper_tail(events, total, self._proportions))

    def chance_of_as_few(self, events: float, total: float) -> float:
        """The chance that a new series of `total` units shows `events` or fewer."""
        return self._mean(1.0 - _upper_tail(events + 1, total, self._proportions))

    def chances(self, total: int) -> Floats:
        """The chance of 0, 1, … `total` events in a new series of this size."""
        count = np.arange(total + 1.0)
        odds = self._log_odds[:, None]
        log_chance = (gammaln(total + 1) - gammaln(count + 1) - gammaln(total - count + 1)
                      + count * odds - total * np.logaddexp(0.0, odds))
        return np.asarray(self._points[1] @ np.exp(log_chance))

    def _mean(self, values: Floats) -> float:
        return float(np.clip(self._points[1] @ values, 0.0, 1.0))

    @cached_property
    def _points(self) -> tuple[Floats, Floats]:
        x, weight = np.polynomial.legendre.leggauss(POINTS)
        return (x + 1) / 2, weight / 2

    @cached_property
    def _log_odds(self) -> Floats:
        from scipy.stats import t

        return np.asarray(self.centre + self.scale * t.ppf(self._points[0], self.freedom))

    @cached_property
    def _proportions(self) -> Floats:
        return np.asarray(expit(self._log_odds))


def _upper_tail(events: float, total: float, p: Floats) -> Floats:
    """The chance of `events` or more among `total` at each p."""
    if events <= 0:
        return np.ones_like(p)
    if events > total:
        return np.zeros_like(p)
    return np.asarray(betainc(events, total - events + 1, p))
