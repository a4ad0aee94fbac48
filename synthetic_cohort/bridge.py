"""A patient's own liability, made so that odds ratios are known with and without it.

The random intercept follows the bridge distribution for the logistic link (Wang and Louis
2003, Biometrika 90:765): if logit P(Y | u) = η/φ + u with u from the bridge distribution with
parameter φ, then logit P(Y) = η exactly. So the marginal (population-averaged) odds ratio of a
term is exp(β), its conditional (within-patient) odds ratio is exp(β/φ), and both are known
without approximation.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from synthetic_cohort.draws import Array, logistic

_GRID = (np.arange(4000) + 0.5) / 4000


def bridge_quantile(u: Array, phi: float) -> Array:
    """Quantiles of the bridge distribution (Wang and Louis 2003, section 2.2).

    `u` between 0 and 1; `phi` between 0 (exclusive) and 1 (no patient effect: zeros).
    """
    if phi >= 1.0:
        return np.zeros_like(u)
    return np.log(np.sin(phi * np.pi * u) / np.sin(phi * np.pi * (1.0 - u))) / phi


def pair_correlation(risk_a: float, risk_b: float, phi: float) -> float:
    """Correlation of two binary outcomes of one patient with these marginal risks."""
    liability = bridge_quantile(_GRID, phi)
    one = logistic(np.log(risk_a / (1 - risk_a)) / phi + liability)
    two = logistic(np.log(risk_b / (1 - risk_b)) / phi + liability)
    spread = np.sqrt(risk_a * (1 - risk_a) * risk_b * (1 - risk_b))
    return float(((one * two).mean() - one.mean() * two.mean()) / spread)


@lru_cache(maxsize=256)
def bridge_parameter(icc: float, risk: float) -> float:
    """The φ at which two outcomes of one patient, both of marginal risk `risk`, correlate `icc`.

    Raises ValueError where `icc` is not from 0 to below 0.9 or `risk` not between 0 and 1.
    """
    if not 0 <= icc < 0.9:
        raise ValueError(f"icc must lie from 0 to below 0.9; found {icc}")
    if not 0 < risk < 1:
        raise ValueError(f"risk must lie between 0 and 1; found {risk}")
    if icc == 0:
        return 1.0
    low, high = 0.01, 1.0
    for _ in range(50):
        middle = (low + high) / 2
        if pair_correlation(risk, risk, middle) > icc:
            low = middle
        else:
            high = middle
    # Ten digits: the last bits of sine and logarithm differ between machines.
    return round((low + high) / 2, 10)
