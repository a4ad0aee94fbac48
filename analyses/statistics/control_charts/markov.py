"""The Markov chain behind a CUSUM's run length.

Source: Brook and Evans 1972, Biometrika 59:539. States are the values of the sum on a grid from
zero up to the limit; the expected number of steps until the limit solves (I − Q)·L = 1.

Two grids are used. With one risk there are two scores, and a grid on which both are whole steps
(a rational ratio of the scores) has no rounding to speak of, only many states. With several
risks no such grid exists: each score is shared between its two neighbouring steps, so that the
mean of exp(tilt·score), which is 1, stays 1. The tilt (1 when risks are as expected) rules how
the run length grows with the limit, so the error falls smoothly with the step; two grids, one
twice as fine, then give the value without its first-order error (Richardson).
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from analyses.statistics.arrays import Floats

FINEST_STEP = 0.00075


def step_distribution(
    scores: Floats, chances: Floats, step: float, tilt: float = 1.0
) -> tuple[Floats, int]:
    """The chance of each whole number of steps, and the smallest number of steps.

    scores and chances: equally long, chances adding to 1; step: the grid's width, above 0; tilt:
    the mean of exp(tilt·score) is kept (0: the mean score itself).
    """
    below = np.floor(scores / step)
    rest = scores - below * step
    upper = rest / step if tilt == 0 else np.expm1(tilt * rest) / np.expm1(tilt * step)
    steps = np.concatenate([below, below + 1]).astype(int)
    shares = np.concatenate([chances * (1 - upper), chances * upper])
    first = int(steps.min())
    found: Floats = np.bincount(steps - first, weights=shares).astype(float)
    return found, first


def neutral_tilt(scores: Floats, chances: Floats) -> float:
    """The number other than 0 at which the mean of exp(tilt·score) is 1 (0 without drift).

    It is 1 for the scores of a CUSUM whose risks are as expected.
    """
    drift = float(chances @ scores)
    if abs(drift) < 1e-12:
        return 0.0
    sign = -1.0 if drift > 0 else 1.0
    reach = float(np.abs(scores).max())
    near, far = 0.0, 1.0
    while float(chances @ np.exp(sign * far * scores)) < 1 and far * reach < 300:
        near, far = far, 2 * far
    for _ in range(60):
        middle = (near + far) / 2
        if float(chances @ np.exp(sign * middle * scores)) < 1:
            near = middle
        else:
            far = middle
    return sign * (near + far) / 2


class Chain:
    """The chain on a grid: Q[i, j], the chance of going from state i to state j, both below the
    limit. What would fall below zero stays at zero; what reaches `states` has signalled and is
    left out, so rows add up to 1 or less."""

    def __init__(self, density: Floats, first: int, states: int) -> None:
        self.states = states
        steps = np.arange(density.size) + first
        inside = np.abs(steps) < states
        self.up = max(1, int(steps[inside].max(initial=0)))
        self.down = max(1, int(-steps[inside].min(initial=0)))
        self._kernel = np.zeros(self.down + self.up + 1)
        self._kernel[steps[inside] + self.down] = density[inside]
        total = np.concatenate([[0.0], np.cumsum(density)])
        # From state i the chance of falling below zero is that of steps under −i.
        self._falls = total[np.clip(-np.arange(states) - first, 0, density.size)]

    def mean_steps(self) -> float:
        """Expected number of steps from zero until the limit.

        (I − Q)·L = 1 is a banded system, dominated by its diagonal, so it is eliminated without
        pivoting, from the top state down, until only L[0] is left. Written out rather than left
        to LAPACK: with a few dozen entries a row its threads cost more than the work.
        """
        rows, right = self._banded(), np.ones(self.states)
        for top in range(self.states - 1, 0, -1):
            first, left = max(0, top - self.up), max(0, top - self.down)
            share = rows[first:top, top] / rows[top, top]
            rows[first:top, left:top] -= share[:, None] * rows[top, left:top]
            right[first:top] -= share * right[top]
        return float(right[0] / rows[0, 0])

    def _banded(self) -> Floats:
        """I − Q, of which only the band is stored: a view in which [i, j] finds its place."""
        width = self.up + self.down + 1
        band = np.tile(-self._kernel, (self.states, 1))
        band[:, self.down] += 1.0
        low = np.arange(min(self.states, self.down + 1))
        band[low, self.down - low] -= self._falls[low]
        size = band.itemsize
        return np.lib.stride_tricks.as_strided(
            band.ravel()[self.down :], (self.states, self.states), ((width - 1) * size, size)
        )


def smooth_mean_steps(
    scores: Floats, chances: Floats, limit: float, states: int, tilt: float = 1.0
) -> float:
    """Expected steps until `limit` for several risks: two grids, extrapolated."""
    found = [
        Chain(*step_distribution(scores, chances, limit / count, tilt), count).mean_steps()
        for count in (states, 2 * states)
    ]
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
