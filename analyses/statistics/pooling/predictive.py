"""What a new series like those pooled would show: its own proportion, and its count.

The log odds of a new series are normal around mu with standard deviation tau; both are uncertain,
and the likelihood says how much. Here it is averaged over both: mu with no preference, tau with a
half-normal weight of scale 1 on the log odds, which leaves room for odds that differ 50-fold
between series and rules out little more (after Röver et al. 2021, Res Synth Methods 12:448).

Why not the t interval of Higgins, Thompson and Spiegelhalter 2009 (J R Stat Soc A 172:137), which
`higgins_limits` gives for comparison: with few series and rare events tau is often estimated as 0,
and it then held the new series' proportion in as few as 80 of 100 simulated sets; averaged over
tau, 93 to 100 of 100 (`tests/reference/coverage_pooling.md`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import cast

import numpy as np
from scipy.special import expit, gammaln, ndtr

from analyses.statistics.arrays import Floats
from analyses.statistics.pooling.binomial_normal import marginal, values
from analyses.statistics.pooling.maximum import Peak, best_mu

PRIOR_SCALE = 1.0
"""Scale of the half-normal weight of tau, on the log odds."""
LARGEST = 5.0
"""Where the weight of tau is cut off: less than 1 in a million lies beyond."""
TAUS, MUS, REACH = 40, 81, 6.0
"""Points over tau; points over mu for each of them, and how many standard errors they reach."""
POINTS = 400
"""Points of the quadrature over the new series' log odds (Gauss–Legendre on its quantiles)."""
LATTICE = 2000
"""Points of the log odds between which quantiles are interpolated."""


@dataclass(frozen=True)
class NewSeries:
    """The predictive distribution of one more series' log odds: a mixture of normals.

    weight, centre, spread: one entry a component; weights sum to 1.
    """

    weight: Floats = field(repr=False)
    centre: Floats = field(repr=False)
    spread: Floats = field(repr=False)

    def below(self, log_odds: float) -> float:
        """The chance that the log odds of a new series lie below this."""
        return float(self.weight @ ndtr((log_odds - self.centre) / self.spread))

    def quantile(self, chance: float) -> float:
        """The log odds below which those of a new series lie with this chance."""
        from scipy.optimize import brentq

        reach = 10 * self.spread
        low, high = float((self.centre - reach).min()), float((self.centre + reach).max())
        return float(brentq(lambda x: self.below(x) - chance, low, high, xtol=1e-11))

    def limits(self, level: float) -> tuple[float, float]:
        """Between which proportions (0 to 1) a new series' own would lie, at this level."""
        return (float(expit(self.quantile(0.5 - level / 2))),
                float(expit(self.quantile(0.5 + level / 2))))

    def chances(self, total: int) -> Floats:
        """The chance of 0, 1, … `total` events in a new series of this size."""
        weight, odds = self._points
        count = np.arange(total + 1.0)
        log_chance = (gammaln(total + 1) - gammaln(count + 1) - gammaln(total - count + 1)
                      + count * odds[:, None] - total * np.logaddexp(0.0, odds)[:, None])
        return cast("Floats", weight @ np.exp(log_chance))

    @cached_property
    def _points(self) -> tuple[Floats, Floats]:
        """Weights and log odds at the quantiles of a Gauss–Legendre rule."""
        x, weight = np.polynomial.legendre.leggauss(POINTS)
        odds = np.linspace(self.quantile(1e-6), self.quantile(1 - 1e-6), LATTICE)
        below = ndtr((odds[:, None] - self.centre) / self.spread) @ self.weight
        return weight / 2, np.interp((x + 1) / 2, below, odds)


def new_series(events: Floats, totals: Floats, found: Peak) -> NewSeries:
    """The predictive distribution, from the counts of the series and their likelihood's peak."""
    x, weight = np.polynomial.legendre.leggauss(TAUS)
    steps = np.linspace(-REACH, REACH, MUS)
    parts, mu = [], found.mu
    for tau, share in zip(LARGEST * (x + 1) / 2, weight, strict=True):
        mu = best_mu(events, totals, tau, mu)
        error = 1 / np.sqrt(-marginal(events, totals, mu, tau).curvatures[0])
        centres, gap = mu + error * steps, error * (steps[1] - steps[0])
        heights = values(events, totals, centres, tau)
        # Between two points of mu its density is taken as flat: a uniform's variance is gap²/12.
        parts.append((heights - found.there.value - tau**2 / (2 * PRIOR_SCALE**2)
                      + np.log(share * gap), centres,
                      np.full(MUS, np.sqrt(tau**2 + gap**2 / 12))))
    heights, centres, spreads = (np.concatenate(part) for part in zip(*parts, strict=True))
    weights = np.exp(heights)
    return NewSeries(weights / weights.sum(), centres, spreads)


def higgins_limits(
    found: Peak, error: float, series: int, level: float,
) -> tuple[float, float]:
    """Higgins, Thompson and Spiegelhalter's interval: mu ± t(k − 2)·√(tau² + se²), as proportions.

    error: the standard error of mu; series: their number k, 3 or more.
    """
    from scipy.stats import t

    half = float(t.ppf(0.5 + level / 2, series - 2)) * float(np.hypot(found.tau, error))
    return float(expit(found.mu - half)), float(expit(found.mu + half))
