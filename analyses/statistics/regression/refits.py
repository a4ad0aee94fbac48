"""Refits with patients left out or drawn again, many at a time.

Both keep whole patients together and start from the fitted model, so that a thousand refits
cost about as much as a few dozen single fits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analyses.statistics.arrays import Floats, Mask, Whole
from analyses.statistics.regression.corrected_intercept import corrected_intercept
from analyses.statistics.regression.penalised_core import CHUNK, Design, maximise


@dataclass(frozen=True)
class Refits:
    """Coefficients of several refits, their row weights, and the corrected intercepts.

    coefficients: (refits, columns); intercept: (refits,), FLIC; weights: (refits, rows);
    usable: (refits,), both outcomes occurred and the fit converged.
    """

    coefficients: Floats
    intercept: Floats
    weights: Floats
    usable: Mask

    @property
    def corrected(self) -> Floats:
        """Coefficients with the corrected intercept in place of the penalised one."""
        beta = self.coefficients.copy()
        beta[:, 0] = self.intercept
        return beta


def weighted_refits(
    x: Floats, y: Floats, weights: Floats, start: Floats, *, tolerance: float = 1e-6
) -> Refits:
    """Firth fits of the same rows under each line of `weights` (refits, rows).

    start: (columns,), where to begin; tolerance: in standard errors.
    """
    parts = [_chunk(x, y, block, start, tolerance) for block in _blocks(weights)]
    return Refits(np.concatenate([p.coefficients for p in parts]),
                  np.concatenate([p.intercept for p in parts]), weights,
                  np.concatenate([p.usable for p in parts]))


def _blocks(weights: Floats) -> Iterator[Floats]:
    for first in range(0, len(weights), CHUNK):
        yield weights[first : first + CHUNK]


def _chunk(x: Floats, y: Floats, weights: Floats, start: Floats, tolerance: float) -> Refits:
    design = Design.of(x)
    events = weights @ y
    usable = (events > 0) & (events < weights.sum(axis=1))
    begin = np.tile(start * design.scale, (len(weights), 1))
    state = maximise(design, y, weights=weights, start=begin, tolerance=tolerance, max_iter=40)
    beta = state.beta / design.scale
    intercept = corrected_intercept(beta[:, 1:] @ x[:, 1:].T, y, weights)
    return Refits(beta, intercept, weights, usable & state.converged)


def leave_one_patient_out(x: Floats, y: Floats, cluster: Whole, start: Floats) -> Refits:
    """A refit without each patient, in the order of the codes in `cluster`."""
    patients = int(cluster.max()) + 1
    weights = (np.arange(patients)[:, None] != cluster[None, :]).astype(float)
    return weighted_refits(x, y, weights, start)


def patient_draws(cluster: Whole, times: int, seed: int) -> Floats:
    """(times, rows) row weights of bootstrap samples of whole patients."""
    patients = int(cluster.max()) + 1
    generator = np.random.default_rng(seed)
    counts = generator.multinomial(patients, np.full(patients, 1 / patients), size=times)
    return counts[:, cluster].astype(float)


def bootstrap_patients(
    x: Floats, y: Floats, cluster: Whole, start: Floats, *, times: int = 1000,
    seed: int = 20260101,
) -> Refits:
    """Refits on `times` samples of patients drawn with replacement."""
    return weighted_refits(x, y, patient_draws(cluster, times, seed), start)
