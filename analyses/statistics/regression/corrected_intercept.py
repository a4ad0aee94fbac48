"""Predictions that agree with what was observed: the intercept-corrected penalised fit.

Firth's penalty pulls risks towards one half, so a rare event is predicted too often. FLIC keeps
the penalised slopes and finds the intercept again by maximum likelihood, after which the
predicted events sum to the observed ones (Puhr and others 2017, Stat Med 36:2302).
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from analyses.statistics.arrays import Floats


def corrected_intercept(slope_part: Floats, y: Floats, weights: Floats | None = None) -> Floats:
    """Intercepts that make predicted events equal observed ones.

    slope_part: (fits, rows) or (rows,), linear predictor without its intercept; y: (rows,);
    weights: like slope_part or (rows,), counts of rows. Returns (fits,); a fit with no event,
    or nothing but events, gets an infinite one (the risk is then 0, or 1).
    """
    slope_part = np.atleast_2d(slope_part)
    weights = np.ones_like(slope_part) if weights is None else np.broadcast_to(
        np.atleast_2d(weights), slope_part.shape)
    total, events = weights.sum(axis=1), (weights * y).sum(axis=1)
    share = np.clip(events / total, 1e-9, 1 - 1e-9)
    intercept = np.log(share / (1 - share)) - (weights * slope_part).sum(axis=1) / total
    for _ in range(100):
        risk = expit(intercept[:, None] + slope_part)
        gap = events - (weights * risk).sum(axis=1)
        slope = np.maximum((weights * risk * (1 - risk)).sum(axis=1), 1e-12)
        move = np.clip(gap / slope, -1.0, 1.0)
        intercept = intercept + move
        if np.all((np.abs(move) < 1e-12) | (share <= 1e-9) | (share >= 1 - 1e-9)):
            break
    return np.where(events == 0, -np.inf, np.where(events == total, np.inf, intercept))
