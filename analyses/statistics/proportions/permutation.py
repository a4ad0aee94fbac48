"""The permutation distribution of a trend, given the group sizes and the number of events."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import special

from analyses.statistics.arrays import Floats

LARGEST_GRID = 4_000_000
"""Cells of the exact table (events × score sums) beyond which draws are taken instead."""


class Permuted(NamedTuple):
    """A two-sided P value and how it was found."""

    p: float
    method: str


def trend_p(
    events: Floats, trials: Floats, scores: Floats, *, draws: int = 100_000, seed: int = 1
) -> Permuted:
    """Two-sided permutation P of the score sum Σ score × events, events given in all groups.

    The share of all arrangements whose score sum lies as far from its expectation as the observed
    one, or farther. Exact where the scores lie on an equal grid that is not too fine, else from
    `draws` seeded draws of the multivariate hypergeometric, (1 + as far) / (1 + draws). Source:
    Armitage 1955; Agresti 2002, Categorical Data Analysis, 3.5 (exact trend test).
    """
    grid = _grid(scores)
    total = int(events.sum())
    if grid is not None and (total + 1) * (total * int(grid.max()) + 1) <= LARGEST_GRID:
        return Permuted(_exact(events, trials, grid), "exact permutation")
    return Permuted(_drawn(events, trials, scores, draws, seed), f"permutation, {draws:,} draws")


def _grid(scores: Floats) -> Floats | None:
    """Scores as whole steps from 0, or None where no step of 1/12 or coarser fits them."""
    away = scores - scores.min()
    for parts in (1, 2, 3, 4, 5, 6, 10, 12):
        steps = away * parts
        if np.allclose(steps, np.round(steps), rtol=0, atol=1e-9):
            rounded: Floats = np.round(steps)
            return rounded
    return None


def _exact(events: Floats, trials: Floats, steps: Floats) -> float:
    """By building up the joint distribution of (events so far, score sum) group by group.

    Each group enters with binomial weights at the overall proportion; giving the total then
    leaves the multivariate hypergeometric, without huge factorials.
    """
    total = int(events.sum())
    share = total / trials.sum()
    table: Floats = np.zeros((total + 1, total * int(steps.max()) + 1))
    table[0, 0] = 1.0
    for size, step in zip(trials.astype(int), steps.astype(int), strict=True):
        table = _with_group(table, _binomial(int(size), share, total), int(step))
    weights = table[total] / table[total].sum()
    sums = np.arange(len(weights))
    middle = total * float((trials * steps).sum() / trials.sum())
    observed = abs(float((steps * events).sum()) - middle)
    return float(min(1.0, weights[np.abs(sums - middle) >= observed - 1e-9].sum()))


def _with_group(table: Floats, weights: Floats, step: int) -> Floats:
    """The table after one more group: k of its units are events, each moving the sum by `step`."""
    grown = np.zeros_like(table)
    width = table.shape[1]
    for k, weight in enumerate(weights):
        moved = k * step
        if moved >= width:
            break
        grown[k:, moved:] += weight * table[: len(table) - k, : width - moved]
    return grown


def _binomial(size: int, share: float, most: int) -> Floats:
    k = np.arange(min(size, most) + 1)
    logs = (
        special.gammaln(size + 1) - special.gammaln(k + 1) - special.gammaln(size - k + 1)
        + special.xlogy(k, share) + special.xlog1py(size - k, -share)
    )
    found: Floats = np.exp(logs)
    return found


def _drawn(events: Floats, trials: Floats, scores: Floats, draws: int, seed: int) -> float:
    rng = np.random.default_rng(seed)
    sample = rng.multivariate_hypergeometric(
        trials.astype(int), int(events.sum()), size=draws, method="marginals"
    )
    middle = events.sum() * (trials * scores).sum() / trials.sum()
    observed = abs(float((scores * events).sum()) - middle)
    as_far = int((np.abs(sample @ scores - middle) >= observed - 1e-9).sum())
    return (1 + as_far) / (1 + draws)
