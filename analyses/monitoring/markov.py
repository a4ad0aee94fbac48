"""The Markov chain behind a CUSUM's run length.

Source: Brook and Evans 1972, Biometrika 59:539. States are the values of the sum on a grid from
zero up to the limit; the expected number of steps until the limit solves (I − Q)·L = 1.

Two grids are used. With one risk there are two scores, and a grid on which both are whole steps
(a rational ratio of the scores) has no rounding to speak of, only many states. With several
risks no such grid exists: each score is shared between its two neighbouring steps, so that the
mean of exp(score) stays as it was. That mean is 1 when the risks are as expected, and it rules
how the run length grows with the limit, so the error falls smoothly with the step; two grids,
one twice as fine, then give the value without its first-order error (Richardson).
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from .arrays import Floats

FINEST_STEP = 0.00075


def step_distribution(scores: Floats, chances: Floats, step: float) -> tuple[Floats, int]:
    """The chance of each whole number of steps, and the smallest number of steps.

    scores and chances: equally long, chances adding to 1; step: the grid's width, above 0.
    """
    below = np.floor(scores / step)
    rest = scores - below * step
    upper = np.expm1(rest) / np.expm1(step)
    steps = np.concatenate([below, below + 1]).astype(int)
    shares = np.concatenate([chances * (1 - upper), chances * upper])
    first = int(steps.min())
    return np.bincount(steps - first, weights=shares), first


def transitions(density: Floats, first: int, states: int) -> Floats:
    """Q: the chance of going from each state below the limit to each other one.

    States are 0 … states − 1; whatever would fall below zero stays at zero; whatever reaches
    `states` has signalled and is left out, so rows add up to 1 or less.
    """
    padded = np.zeros(2 * states + 1)
    steps = np.arange(density.size) + first
    inside = np.abs(steps) <= states
    padded[steps[inside] + states] = density[inside]
    place = np.arange(states)
    moves = padded[place[None, :] - place[:, None] + states]
    below = np.concatenate([[0.0], np.cumsum(density)])
    moves[:, 0] += below[np.clip(-place - first, 0, density.size)]
    return moves


def mean_steps(density: Floats, first: int, states: int) -> float:
    """Expected number of steps from zero until the limit, dense grid."""
    moves = transitions(density, first, states)
    steps = np.linalg.solve(np.eye(states) - moves, np.ones(states))
    return float(steps[0])


def smooth_mean_steps(scores: Floats, chances: Floats, limit: float, states: int) -> float:
    """Expected steps until `limit` for several risks: two grids, extrapolated."""
    found = []
    for count in (states, 2 * states):
        density, first = step_distribution(scores, chances, limit / count)
        found.append(mean_steps(density, first, count))
    return 2 * found[1] - found[0]


def lattice(up: float, down: float) -> tuple[int, int, float]:
    """Whole steps (up, down) and the step's width, for two scores of opposite sign.

    up and down are sizes, both above 0. The ratio up/down is the closest one whose step is no
    finer than FINEST_STEP, whatever the limit, so that one chart has one lattice.
    """
    most_down = max(1, int(down / FINEST_STEP))
    ratio = Fraction(up / down).limit_denominator(most_down)
    if ratio.numerator == 0:
        ratio = Fraction(1, max(1, round(down / up)))
    return ratio.numerator, ratio.denominator, up / ratio.numerator


def lattice_states(limit: float, step: float) -> int:
    """How many grid values lie below the limit; a value on the limit has reached it."""
    return max(1, int(np.ceil(limit / step - 1e-6)))


def lattice_mean_steps(up: int, down: int, chance: float, states: int) -> float:
    """Expected steps from zero until `states`, going up with `chance` and down otherwise."""
    from scipy.sparse import csc_matrix
    from scipy.sparse.linalg import splu

    here = np.arange(states)
    rising = here[: max(states - up, 0)]
    rows = np.concatenate([here, rising, here])
    columns = np.concatenate([here, rising + up, np.maximum(here - down, 0)])
    shares = np.concatenate(
        [np.ones(states), np.full(rising.size, -chance), np.full(states, chance - 1.0)]
    )
    # Two entries a row: a fill-reducing order keeps the factors as sparse as the chain.
    factors = splu(csc_matrix((shares, (rows, columns)), shape=(states, states)))
    return float(factors.solve(np.ones(states))[0])
