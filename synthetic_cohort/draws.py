"""Random numbers: every value is made from uniform numbers of named PCG64 streams.

Each draw has a name and, from the seed and that name, a stream of its own: a field added later
shifts no other field. Only `Generator.random` is used, because numpy promises its bit streams
but not the algorithms of its other distributions; the inverse distribution functions below
make the rest, so a seed gives the same cohort under any numpy on any machine.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtri

Array = NDArray[np.float64]
Columns = dict[str, np.ndarray]


class Streams:
    """Named streams of uniform numbers behind one seed.

    `block` tells apart the blocks of a long calculation that share a seed.
    """

    def __init__(self, seed: int, block: int = 0) -> None:
        self.seed = int(seed)
        self.block = int(block)

    def uniform(self, name: str, size: int | tuple[int, ...]) -> Array:
        """Uniform numbers strictly between 0 and 1."""
        entropy = [self.seed, self.block, zlib.crc32(name.encode("utf-8"))]
        generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence(entropy)))
        return np.clip(generator.random(size), 1e-12, 1 - 1e-12)

    def normal(self, name: str, size: int | tuple[int, ...]) -> Array:
        """Standard normal numbers."""
        return ndtri(self.uniform(name, size))

    def chance(self, name: str, probability: Array | float, size: int) -> NDArray[np.bool_]:
        """True with the given probability (a number, or one a row)."""
        return self.uniform(name, size) < probability

    def pick(
        self, name: str, values: Sequence[str], weights: Sequence[float], size: int
    ) -> NDArray[np.object_]:
        """Values of a list, with the given weights."""
        return np.array(values, dtype=object)[self.code(name, weights, size)]

    def code(self, name: str, weights: Sequence[float], size: int) -> NDArray[np.int64]:
        """Positions in a list, with the given weights."""
        share = np.cumsum(np.asarray(weights, dtype=float) / np.sum(weights))
        found = np.searchsorted(share, self.uniform(name, size), side="right")
        return np.minimum(found, len(weights) - 1)

    def code_by_row(self, name: str, weights: Array) -> NDArray[np.int64]:
        """Positions in a list, the weights given for each row (rows × positions)."""
        share = np.cumsum(weights / weights.sum(axis=1, keepdims=True), axis=1)
        found = (self.uniform(name, len(weights))[:, None] >= share).sum(axis=1)
        return np.minimum(found, weights.shape[1] - 1)

    def poisson(self, name: str, mean: Array | float, size: int) -> NDArray[np.int64]:
        """Poisson counts by inversion (means up to some tens)."""
        u, mean = self.uniform(name, size), np.broadcast_to(np.asarray(mean, dtype=float), size)
        count = np.zeros(size, dtype=np.int64)
        term = np.exp(-mean)
        total = term.copy()
        for k in range(1, 200):
            more = u > total
            if not more.any():
                break
            count[more] = k
            term = term * mean / k
            total = total + term
        return count

    def exponential(self, name: str, rate: Array | float, size: int) -> Array:
        """Waiting times of a constant rate; never where the rate is zero."""
        rate = np.broadcast_to(np.asarray(rate, dtype=float), size)
        with np.errstate(divide="ignore"):
            return -np.log1p(-self.uniform(name, size)) / rate

    def lognormal(
        self, name: str, median: Array | float, sigma: float, size: int
    ) -> Array:
        """Log-normal numbers with the given median."""
        return median * np.exp(sigma * self.normal(name, size))


def logistic(linear: Array | float) -> Array:
    """Probability of a log-odds."""
    return expit(linear)


def within(counts: np.ndarray) -> NDArray[np.int64]:
    """1, 2, … inside each parent, for parents with the given numbers of children."""
    counts = np.asarray(counts, dtype=np.int64)
    ends = np.cumsum(counts)
    return np.arange(ends[-1] if len(ends) else 0) - np.repeat(ends - counts, counts) + 1


def group_sum(values: np.ndarray, group: np.ndarray, groups: int) -> Array:
    """Sum of `values` in each group 0 … groups − 1."""
    return np.bincount(group, weights=values, minlength=groups)


def group_any(flags: np.ndarray, group: np.ndarray, groups: int) -> NDArray[np.bool_]:
    """Whether any flag of each group is set."""
    return np.bincount(group[np.asarray(flags, dtype=bool)], minlength=groups) > 0


def group_last(group: np.ndarray, groups: int, order: np.ndarray) -> NDArray[np.int64]:
    """The highest `order` in each group; −1 where the group is empty."""
    best = np.full(groups, -1, dtype=np.int64)
    np.maximum.at(best, group, order)
    return best


def take(values: Sequence[str], codes: np.ndarray) -> NDArray[np.object_]:
    """Values of a list by position."""
    return np.array(values, dtype=object)[codes]
