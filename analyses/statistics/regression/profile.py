"""Profile intervals and tests from the Firth-penalised likelihood.

A bound is the value of a coefficient at which twice the drop of the penalised profile
log-likelihood reaches a critical value (Heinze and Schemper 2002, Stat Med 21:2409). All bounds
are searched side by side: each step moves the coefficient in question towards the critical
value, by Newton's method on the signed root of the drop, and the others along the ridge of the
likelihood (as in Venzon and Moolgavkar 1988, Appl Stat 37:87).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from analyses.statistics.arrays import Floats, Mask, Whole
from analyses.statistics.regression.penalised_core import (
    PLAIN_STEPS,
    Design,
    State,
    evaluate,
    exact_curvature,
    invert,
    maximise,
    newton_step,
)


def likelihood_ratio(
    design: Design, y: Floats, weights: Floats, best: State, null: float = 0.0
) -> Floats:
    """Twice the drop of the penalised log-likelihood with each coefficient held at `null`.

    Returns (terms,). The penalty keeps the information of the whole model, as in Heinze and
    Schemper 2002.
    """
    held = np.arange(design.terms)
    start = np.repeat(best.beta, design.terms, axis=0)
    start[held, held] = null
    null_fits = maximise(design, y, weights=weights, start=start, held=held)
    found: Floats = np.maximum(0.0, 2 * (best.loglik[0] - null_fits.loglik))
    return found


def profile_bounds(
    design: Design, y: Floats, weights: Floats, best: State, critical: Floats
) -> tuple[Floats, Floats]:
    """Lower and upper bounds of every coefficient, on the scaled columns.

    critical: (terms,), the drop of twice the log-likelihood at the bound: the chi-square
    quantile, 3.84 for 95 %, or that times a factor for clustering. Returns two (terms,) arrays.
    """
    which = np.tile(np.arange(design.terms), 2)
    root = np.repeat([-1.0, 1.0], design.terms) * np.sqrt(np.tile(critical, 2))
    bounds = bounds_at(design, y, weights, best, which, root)
    return bounds[: design.terms], bounds[design.terms :]


def bounds_at(
    design: Design, y: Floats, weights: Floats, best: State, which: Whole, root: Floats
) -> Floats:
    """Values of coefficients `which` (bounds,) at signed roots `root` of the drop: (bounds,)."""
    beta, solved = _walk(design, y, weights, best, which, root)
    bounds: Floats = beta[np.arange(len(which)), which]
    for fit in np.flatnonzero(~solved):
        bounds[fit] = _bracketed(design, y, weights, best, which[fit], root[fit])
    return bounds


def _walk(
    design: Design, y: Floats, weights: Floats, best: State, which: Whole, root: Floats
) -> tuple[Floats, Mask]:
    """Newton's walk along all profiles at once; says which of them arrived."""
    rows = np.arange(len(which))
    covariance = np.linalg.inv(best.information[0])
    ridge = (covariance / np.diag(covariance))[:, which].T
    error = np.sqrt(np.diag(covariance))[which]
    beta = best.beta + ridge * (root * error)[:, None]
    solved, lost = np.zeros(len(which), bool), np.zeros(len(which), bool)
    for turn in range(60):
        live = rows[~(solved | lost)]
        if not len(live):
            break
        state = evaluate(design, y, beta[live], weights, 0.5, 0.0)
        side = (beta[live, which[live]] - best.beta[0, which[live]]) * root[live]
        gone = ~(np.isfinite(state.loglik) & (np.abs(beta[live]).max(axis=1) < 1e4) & (side > 0))
        if gone.any():  # strayed, or on the wrong side: left to the bracketing search
            lost[live[gone]] = True
            continue
        unit = error[live]
        if turn >= PLAIN_STEPS:
            state = replace(state, curvature=exact_curvature(design, state, weights, 0.5, 0.0))
        free, decrement = newton_step(state, which[live])
        reached = np.sqrt(np.maximum(0.0, 2 * (best.loglik[0] - state.loglik)))
        reached = np.sign(root[live]) * np.maximum(reached, 1e-3)
        slope = -state.score[np.arange(len(live)), which[live]] / reached
        move = (root[live] - reached) / np.where(np.abs(slope) > 1e-8, slope, np.nan)
        move = np.clip(np.nan_to_num(move, nan=0.5 * unit), -unit, unit)
        there = (decrement < 1e-16) & (np.abs(reached - root[live]) < 1e-8)
        solved[live[there]] = True
        on = live[~there]
        if not len(on):
            continue
        curve = invert(state.curvature[~there])[0]
        column = curve[np.arange(len(on)), :, which[on]]
        column = column / column[np.arange(len(on)), which[on]][:, None]
        beta[on] += free[~there] + column * move[~there][:, None]
    return beta, solved


def _bracketed(
    design: Design, y: Floats, weights: Floats, best: State, term: int, root: float
) -> float:
    """One bound by bracketing and Brent's method, for a profile the walk did not finish."""
    covariance = np.linalg.inv(best.information[0])
    unit = np.sign(root) * np.sqrt(covariance[term, term])
    centre, held = best.beta[0, term], np.array([term])
    ridge = covariance[term] / covariance[term, term]
    found = {0.0: (best.beta, -(root**2))}

    def short(distance: float) -> float:
        if distance in found:
            return found[distance][1]
        near = min(found, key=lambda known: abs(known - distance))
        start = found[near][0] + ridge * ((distance - near) * unit)
        start[0, term] = centre + distance * unit
        state = maximise(design, y, weights=weights, start=start, held=held, max_iter=500)
        found[distance] = state.beta, 2 * (best.loglik[0] - state.loglik[0]) - root**2
        return found[distance][1]

    # Small steps outwards keep each constrained fit close to the one before it.
    inner, stride = 0.0, abs(root) / 2
    while short(inner + stride) < 0:
        inner, stride = inner + stride, stride * 1.2
        if inner > 1e4:
            return float(np.sign(root) * np.inf)
    return float(centre + unit * brentq(short, inner, inner + stride, xtol=1e-7))
