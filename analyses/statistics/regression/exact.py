"""Tests that stay valid with a handful of events: exact conditional and permutation tests.

With under eight events no regression interval is trustworthy. What can still be asked is
whether the events fall where they would by chance: outcomes are exchanged between patients,
each patient's rows kept together, and the association found is compared with those of all
(or many) exchanges. Fisher 1935 for one yes/no variable and one row a patient; Ernst 2004,
Stat Sci 19:676 for permutation tests; the adjusted one permutes the residuals of the model
without the term (Freedman and Lane 1983, J Bus Econ Stat 1:292), which is approximate.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.regression.penalised_core import Design, maximise

PERMUTATIONS = 9_999


def exchange_patients(
    cluster: Whole, times: int, generator: np.random.Generator, strata: Whole | None = None,
) -> Whole:
    """Row orders that exchange whole patients among those with the same number of rows.

    cluster: (rows,) codes 0, 1, … of the patients; strata: (rows,) codes, patients then stay
    among those whose rows are of the same strata. Returns (times, rows): the row whose residual
    each row receives. A patient whose number of rows is like no other's stays in place.
    """
    rows = np.argsort(cluster, kind="stable")
    sizes = np.bincount(cluster)
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    orders = np.tile(np.arange(len(cluster)), (times, 1))
    for size in np.unique(sizes):
        alike = rows[starts[sizes == size][:, None] + np.arange(size)]
        for members in _inside_strata(alike, strata):
            mixed = generator.permuted(np.tile(np.arange(len(members)), (times, 1)), axis=1)
            orders[:, members.ravel()] = members[mixed].reshape(times, -1)
    return orders


def _inside_strata(members: Whole, strata: Whole | None) -> list[Whole]:
    """Patients (down) with their rows (across), those of the same strata together."""
    if strata is None:
        return [members]
    which = np.unique(strata[members], axis=0, return_inverse=True)[1].ravel()
    return [members[which == number] for number in range(int(which.max()) + 1)]


def fisher_exact(y: Floats, exposed: Floats) -> float:
    """Two-sided P of Fisher's exact test; y and exposed: (rows,) of 0 and 1."""
    from scipy.stats import fisher_exact as test

    table = [[int(((y == a) & (exposed == b)).sum()) for b in (1, 0)] for a in (1, 0)]
    return float(test(table)[1])


def permutation_p(
    x: Floats, y: Floats, places: list[int], cluster: Whole, *, seed: int = 20260101,
    times: int = PERMUTATIONS,
) -> float:
    """Two-sided permutation P of the terms in columns `places`, adjusted for the others.

    x: (rows, columns) with its intercept; y: (rows,) of 0 and 1; cluster: (rows,) codes. The
    statistic is the score of those columns at the model without them, after the other columns
    are projected out.
    """
    others = [j for j in range(x.shape[1]) if j not in places]
    design = Design.of(x[:, others])
    null = maximise(design, y, weights=np.ones((1, len(y))), start=np.zeros((1, len(others))))
    risk = expit(design.x @ null.beta[0])
    root = np.sqrt(risk * (1 - risk))
    base = x[:, others] * root[:, None]
    tested = x[:, places] * root[:, None]
    tested = tested - base @ np.linalg.lstsq(base, tested, rcond=None)[0]
    residual = (y - risk) / root
    scale = np.linalg.pinv(tested.T @ tested)

    def statistic(residuals: Floats) -> Floats:
        score = residuals @ tested
        found: Floats = np.einsum("bi,ij,bj->b", score, scale, score)
        return found

    generator = np.random.default_rng(seed)
    seen, extreme = statistic(residual[None, :])[0], 0
    for block in np.array_split(np.arange(times), max(1, times // 1000)):  # bounds the memory
        orders = exchange_patients(cluster, len(block), generator)
        extreme += int((statistic(residual[orders]) >= seen * (1 - 1e-10)).sum())
    return (1 + extreme) / (1 + times)
