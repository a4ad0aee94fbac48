"""Many Firth-penalised logistic fits at once: the numerical core of this package.

A profile interval needs two constrained fits a coefficient, a bootstrap a thousand refits, a
leave-one-patient-out check one a patient. They all share one design matrix and differ only in
row weights, starting values or a coefficient held fixed, so they are solved side by side with
matrix products instead of one after another in a Python loop.

Penalty: Firth 1993, Biometrika 80:27; for logistic regression Heinze and Schemper 2002,
Stat Med 21:2409. The penalised log-likelihood is l(b) + penalty * log det X'WX, with penalty
1/2 for Firth and 0 for maximum likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit

from analyses.statistics.arrays import Floats, Mask, Whole

LARGEST_STEP = 5.0
CHUNK = 128
# Steps taken with the cheap augmented information; a fit that is still not there is slow for
# want of curvature and gets the exact one, which costs several times as much a step.
PLAIN_STEPS = 10


@dataclass(frozen=True)
class Design:
    """A design matrix scaled for the solver, and its row-wise outer products (made once)."""

    x: Floats
    scale: Floats
    outer: Floats

    @classmethod
    def of(cls, x: Floats) -> Design:
        """Scale each column of `x` (rows, terms) to root mean square 1."""
        x = np.ascontiguousarray(x, dtype=float)
        scale = np.sqrt(np.mean(x**2, axis=0))
        scale[scale == 0] = 1.0
        scaled = x / scale
        outer = (scaled[:, :, None] * scaled[:, None, :]).reshape(len(x), -1)
        return cls(scaled, scale, outer)

    @property
    def terms(self) -> int:
        return int(self.x.shape[1])


@dataclass(frozen=True)
class State:
    """Everything the solver needs at one set of coefficients, a row a fit."""

    beta: Floats  # (fits, terms), on the scaled columns
    loglik: Floats  # (fits,), penalised
    score: Floats  # (fits, terms), penalised
    information: Floats  # (fits, terms, terms), X'WX
    curvature: Floats  # the same with the augmented weights W(1 + h), used for steps
    converged: Mask


def invert(matrices: Floats) -> tuple[Floats, Floats]:
    """Inverses and log determinants; a singular one gets a pseudo-inverse and -inf."""
    sign, logdet = np.linalg.slogdet(matrices)
    logdet = np.where(sign > 0, logdet, -np.inf)
    try:
        return np.linalg.inv(matrices), logdet
    except np.linalg.LinAlgError:
        return np.linalg.pinv(matrices, hermitian=True), logdet


def evaluate(
    design: Design, y: Floats, beta: Floats, weights: Floats, penalty: float, offset: Floats | float
) -> State:
    """Penalised log-likelihood, score and information of several fits at `beta`."""
    fits, terms = beta.shape
    eta = beta @ design.x.T + offset
    risk = expit(eta)
    variance = weights * risk * (1 - risk)
    information = (variance @ design.outer).reshape(fits, terms, terms)
    # log(1 + exp(eta)) = max(eta, 0) - log(max(risk, 1 - risk)), with no second exponential
    softplus = np.maximum(eta, 0) - np.log(np.maximum(risk, 1 - risk))
    loglik = (weights * (y * eta - softplus)).sum(axis=1)
    if penalty == 0:
        score = (weights * (y - risk)) @ design.x
        return State(beta, loglik, score, information, information, np.zeros(fits, bool))
    inverse, logdet = invert(information)
    hat = variance * (inverse.reshape(fits, -1) @ design.outer.T)
    score = (weights * (y - risk) + 2 * penalty * hat * (0.5 - risk)) @ design.x
    extra = 2 * penalty * hat * risk * (1 - risk)
    curvature = ((variance + extra) @ design.outer).reshape(fits, terms, terms)
    loglik = loglik + penalty * logdet
    return State(beta, loglik, score, information, curvature, np.zeros(fits, bool))


def exact_curvature(
    design: Design, state: State, weights: Floats, penalty: float, offset: Floats | float
) -> Floats:
    """Minus the second derivative of the penalised log-likelihood, (fits, terms, terms).

    The augmented information ignores how leverages change with the coefficients, and steps that
    use it close in only slowly when the data are nearly separated. Fits where the exact one is
    not positive definite (far from the maximum) keep the augmented information.
    """
    fits, terms = state.beta.shape
    risk = expit(state.beta @ design.x.T + offset)
    variance, tilt = weights * risk * (1 - risk), 1 - 2 * risk
    inverse = invert(state.information)[0]
    hat = variance * (inverse.reshape(fits, -1) @ design.outer.T)
    turned = (variance * tilt)[:, None, :] * design.x.T[None, :, :]
    change = inverse[:, None] @ (turned @ design.outer).reshape(
        fits, terms, terms, terms) @ inverse[:, None]
    fall = change.reshape(fits * terms, -1) @ design.outer.T
    moved = (variance * tilt)[:, None, :] * fall.reshape(fits, terms, -1) @ design.x
    smooth = (hat * tilt**2) @ design.outer
    exact = state.curvature - penalty * (smooth.reshape(fits, terms, terms) - moved)
    exact = (exact + exact.transpose(0, 2, 1)) / 2
    sound = np.isfinite(exact).all(axis=(1, 2))
    sound[sound] = np.linalg.eigvalsh(exact[sound])[:, 0] > 1e-10
    return np.where(sound[:, None, None], exact, state.curvature)


def _solve(matrices: Floats, vectors: Floats) -> Floats:
    try:
        return np.linalg.solve(matrices, vectors[:, :, None])[:, :, 0]
    except np.linalg.LinAlgError:
        return (np.linalg.pinv(matrices, hermitian=True) @ vectors[:, :, None])[:, :, 0]


def newton_step(state: State, held: Whole | None) -> tuple[Floats, Floats]:
    """The capped step of each fit and its decrement (the squared distance in standard errors).

    `held` names, for each fit, a coefficient that must not move (-1: none).
    """
    curvature, score = state.curvature, state.score
    if held is not None:
        rows = np.flatnonzero(held >= 0)
        curvature, score = curvature.copy(), score.copy()
        curvature[rows, held[rows], :] = 0.0
        curvature[rows, :, held[rows]] = 0.0
        curvature[rows, held[rows], held[rows]] = 1.0
        score[rows, held[rows]] = 0.0
    step = _solve(curvature, score)
    decrement = np.abs((step * score).sum(axis=1))
    largest = np.abs(step).max(axis=1, keepdims=True)
    return step * np.minimum(1.0, LARGEST_STEP / np.maximum(largest, 1e-300)), decrement


def _take(state: State, rows: Whole) -> State:
    return State(*(getattr(state, name)[rows] for name in State.__dataclass_fields__))


def _put(state: State, rows: Whole, other: State) -> None:
    for name in State.__dataclass_fields__:
        getattr(state, name)[rows] = getattr(other, name)


def _offset_of(offset: Floats | float, fits: Whole) -> Floats | float:
    """The offset of some fits: their own lines where each fit has one, else the same for all."""
    return offset[fits] if isinstance(offset, np.ndarray) and offset.ndim == 2 else offset


def _advance(
    design: Design, y: Floats, state: State, step: Floats, weights: Floats, penalty: float,
    offset: Floats | float,
) -> State:
    """Take the step, halved for the fits whose penalised log-likelihood would fall."""
    factor = np.ones(len(step))
    slack = 1e-10 * (1 + np.abs(state.loglik))
    new = evaluate(design, y, state.beta + step, weights, penalty, offset)
    for _ in range(25):
        worse = np.flatnonzero(~(new.loglik >= state.loglik - slack))
        if not len(worse):
            break
        factor[worse] /= 2
        trial = state.beta[worse] + factor[worse, None] * step[worse]
        part = _offset_of(offset, worse)
        row_weights = weights if len(weights) == 1 else weights[worse]
        _put(new, worse, evaluate(design, y, trial, row_weights, penalty, part))
    return new


def maximise(
    design: Design, y: Floats, *, weights: Floats, start: Floats, penalty: float = 0.5,
    held: Whole | None = None, tolerance: float = 1e-9, max_iter: int = 100,
    offset: Floats | float = 0.0,
) -> State:
    """Maximise the penalised log-likelihood of several fits side by side.

    weights: (fits, rows), or (1, rows) shared by all; start: (fits, terms) on the scaled
    columns; held: the coefficient of each fit kept at its start (-1: none); tolerance: the
    distance to the solution, in standard errors, at which a fit stops. A fit that has not
    come within 1,000 tolerances after `max_iter` steps is returned with converged False.
    """
    state = evaluate(design, y, start.copy(), weights, penalty, offset)
    active = np.arange(len(start))
    for iteration in range(max_iter + 1):
        part = _take(state, active)
        row_weights = weights if len(weights) == 1 else weights[active]
        near_offset = _offset_of(offset, active)
        if penalty and iteration >= PLAIN_STEPS:
            part = replace(part, curvature=exact_curvature(
                design, part, row_weights, penalty, near_offset))
        step, decrement = newton_step(part, None if held is None else held[active])
        done = decrement < tolerance**2
        near = decrement < (1000 * tolerance) ** 2
        state.converged[active] = done | (near & (iteration == max_iter))
        keep = ~done
        if iteration == max_iter or not keep.any():
            break
        active, part = active[keep], _take(part, np.flatnonzero(keep))
        row_weights = weights if len(weights) == 1 else weights[active]
        new = _advance(design, y, part, step[keep], row_weights, penalty, offset)
        _put(state, active, new)
    return state
