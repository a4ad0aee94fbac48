"""The likelihood of a random-intercept logistic model for counts of several series.

Series i has y_i events among n_i; logit of its own proportion is mu + tau·u_i with u_i standard
normal: the binomial–normal model of Hamza, van Houwelingen and Stijnen 2008, J Clin Epidemiol
61:41, and Stijnen, Hamza and Özdemir 2010, Stat Med 29:3046. The integral over u_i is taken by
adaptive Gauss–Hermite quadrature: nodes are centred on the mode of each series' integrand and
scaled by its curvature (Liu and Pierce 1994, Biometrika 81:624).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import expit

from analyses.statistics.arrays import Floats

NODES = 41
"""Nodes of the quadrature: more change no digit that is printed (a test shows it)."""
MOST_STEPS = 100
LONGEST_STEP = 2.0
"""Longest Newton step on the log odds: the integrand is log-concave, but flat far from its mode."""


@dataclass(frozen=True)
class Marginal:
    """The log likelihood at (mu, tau), its two slopes, and its curvatures (mu², mu·tau, tau²)."""

    value: float
    slope_mu: float
    slope_tau: float
    curvatures: tuple[float, float, float]


def marginal(events: Floats, totals: Floats, mu: float, tau: float) -> Marginal:
    """The log likelihood of the series at mu (log odds) and tau (sd of log odds, 0 or more).

    events, totals: one entry a series. Constants that hold neither mu nor tau are left out.
    Slopes and curvatures are means over the integrand (Louis 1982, J R Stat Soc B 44:226).
    """
    u, eta, log_terms = _terms(events, totals, np.full_like(events, mu), tau)
    p = expit(eta)
    top = log_terms.max(axis=1, keepdims=True)
    share = np.exp(log_terms - top)
    sums = share.sum(axis=1, keepdims=True)
    share /= sums
    residual, spread = events[:, None] - totals[:, None] * p, totals[:, None] * p * (1 - p)
    in_mu, in_tau = _mean(share, residual), _mean(share, residual * u)
    pairs = ((residual**2 - spread, in_mu * in_mu), ((residual**2 - spread) * u, in_mu * in_tau),
             ((residual**2 - spread) * u**2, in_tau * in_tau))
    mu_mu, mu_tau, tau_tau = (float((_mean(share, whole) - part).sum()) for whole, part in pairs)
    return Marginal(
        float((top + np.log(sums)).sum()), float(in_mu.sum()), float(in_tau.sum()),
        (mu_mu, mu_tau, tau_tau))


def values(events: Floats, totals: Floats, mus: Floats, tau: float) -> Floats:
    """The log likelihood at each of these mus, all at once."""
    times = len(mus)
    _, _, log_terms = _terms(np.tile(events, times), np.tile(totals, times),
                             np.repeat(mus, len(events)), tau)
    top = log_terms.max(axis=1)
    each = top + np.log(np.exp(log_terms - top[:, None]).sum(axis=1))
    return np.asarray(each.reshape(times, -1).sum(axis=1))


def _mean(share: Floats, values: Floats) -> Floats:
    found: Floats = (share * values).sum(axis=1)
    return found


def _terms(
    events: Floats, totals: Floats, mu: Floats, tau: float,
) -> tuple[Floats, Floats, Floats]:
    """Nodes u, log odds there, and the log of the integrand's terms; rows × nodes, mu one a row."""
    u, log_weight = _nodes(events, totals, mu, tau)
    eta = mu[:, None] + tau * u
    return u, eta, (
        log_weight + events[:, None] * eta - totals[:, None] * np.logaddexp(0.0, eta))


def _nodes(events: Floats, totals: Floats, mu: Floats, tau: float) -> tuple[Floats, Floats]:
    """Nodes u (rows × nodes) and the log of their weight with the normal density in it."""
    x, weight = _rule()
    centre = _modes(events, totals, mu, tau)
    p = expit(mu + tau * centre)
    scale = 1.0 / np.sqrt(1.0 + tau**2 * totals * p * (1 - p))
    u = centre[:, None] + scale[:, None] * x
    log_weight = np.log(weight) + 0.5 * x**2 + np.log(scale)[:, None] - 0.5 * u**2
    return u, log_weight


@cache
def _rule() -> tuple[Floats, Floats]:
    """Gauss–Hermite nodes and weights for the standard normal density."""
    x, weight = np.polynomial.hermite_e.hermegauss(NODES)
    return x, weight / np.sqrt(2 * np.pi)


def _modes(events: Floats, totals: Floats, mu: Floats, tau: float) -> Floats:
    """For each row the u where its integrand is greatest, by Newton's method."""
    u = np.zeros_like(events)
    if tau == 0:
        return u
    for _ in range(MOST_STEPS):
        p = expit(mu + tau * u)
        step = (tau * (events - totals * p) - u) / (1.0 + tau**2 * totals * p * (1 - p))
        step = np.clip(step, -LONGEST_STEP / tau, LONGEST_STEP / tau)
        u = u + step
        if np.abs(step).max() < 1e-10:
            break
    return u
