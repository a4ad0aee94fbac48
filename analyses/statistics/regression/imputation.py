"""Filling gaps by chained equations that know which rows are one patient.

Each column with gaps is predicted in turn from all others, the outcome among them, and a gap
takes the recorded value of a row with a similar prediction (predictive mean matching; van Buuren
2018, Flexible Imputation of Missing Data, 3.4; factors are matched on the predicted shares of
their levels). Patients are respected in three ways: what is a property of the patient is imputed
once a patient, from the patient's rows together; what varies by row is predicted also from
the patient's other rows; and the uncertainty of the prediction is drawn by bootstrapping
whole patients.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats, Mask, Whole
from analyses.statistics.regression.terms import is_two_valued, numbers

DONORS = 5
ROUNDS = 10
RIDGE = 1e-3


@dataclass(frozen=True)
class Imputation:
    """Completed frames, and where the gaps were.

    frames: one completed copy a number of imputations; gaps: yes/no frame of the same shape,
    True where a value was imputed; constant: the columns imputed once a patient;
    without_outcome: rows dropped because the outcome was not recorded.
    """

    frames: tuple[pd.DataFrame, ...]
    gaps: pd.DataFrame
    constant: tuple[str, ...]
    without_outcome: int = 0


def patient_constant(data: pd.DataFrame, column: str, codes: Whole) -> bool:
    """Whether a column never varies within a patient (a property of the patient)."""
    return bool((data[column].groupby(codes).nunique(dropna=True) <= 1).all())


def impute(
    data: pd.DataFrame, columns: Sequence[str], outcome: str, *, cluster: str | None = None,
    times: int = 20, seed: int = 20260101,
) -> Imputation:
    """Complete the gaps of `columns` `times` over.

    data: one row a unit; columns: covariates of the model (numbers, yes/no or factors);
    outcome: enters every prediction and is never imputed (rows without it are dropped);
    cluster: the column that names the patient. Raises ValueError where a column has nothing
    recorded.
    """
    empty = [c for c in columns if data[c].isna().all()]
    if empty:
        raise ValueError(f"{', '.join(empty)}: nothing recorded, so nothing to impute from")
    keep = data[outcome].notna() & (data[cluster].notna() if cluster else True)
    frame = data.loc[keep].reset_index(drop=True)
    codes = pd.factorize(frame[cluster])[0] if cluster else np.arange(len(frame))
    constant = tuple(c for c in columns if len(np.unique(codes)) < len(codes)
                     and patient_constant(frame, c, codes))
    frame = _fill_from_own_patient(frame, constant, codes)
    gaps = frame[list(columns)].isna()
    worker = _Chain(frame, tuple(columns), outcome, codes, constant, gaps)
    streams = np.random.default_rng(seed).spawn(times)
    return Imputation(tuple(worker.complete(stream) for stream in streams), gaps, constant,
                      int(data[outcome].isna().sum()))


def _fill_from_own_patient(
    frame: pd.DataFrame, constant: tuple[str, ...], codes: Whole
) -> pd.DataFrame:
    """A property of the patient recorded in one row is known in all of that patient's rows."""
    frame = frame.copy()
    for column in constant:
        frame[column] = frame[column].groupby(codes).transform("first")
    return frame


@dataclass(frozen=True)
class _Chain:
    """The rows to complete. A gap is filled by naming the row whose recorded value it takes, so
    that the columns are made into numbers once, and not again at every step."""

    frame: pd.DataFrame
    columns: tuple[str, ...]
    outcome: str
    codes: Whole
    constant: tuple[str, ...]
    gaps: pd.DataFrame

    @cached_property
    def recorded(self) -> dict[str, Floats]:
        """Each column as recorded, as numbers (`_as_columns`)."""
        return {c: _as_columns(self.frame[c]) for c in (*self.columns, self.outcome)}

    @cached_property
    def own_other_rows(self) -> dict[str, Floats]:
        """Of each column with gaps that varies within patients: `_other_rows`."""
        if len(np.unique(self.codes)) == len(self.codes):
            return {}
        return {c: self._other_rows(c) for c in self.columns
                if c not in self.constant and self.gaps[c].any()}

    def complete(self, generator: np.random.Generator) -> pd.DataFrame:
        """One completed copy."""
        gaps = {c: self.gaps[c].to_numpy() for c in self.columns if self.gaps[c].any()}
        now, donors = dict(self.recorded), dict[str, Whole]()
        for column, gap in gaps.items():
            donors[column] = self._start(gap, column, generator)
            now[column] = self._filled(column, gap, donors[column])
        for _ in range(ROUNDS):
            for column, gap in gaps.items():
                donors[column] = self._donors(now, column, gap, generator)
                now[column] = self._filled(column, gap, donors[column])
        whole = self.frame.copy()
        for column, gap in gaps.items():
            whole.loc[gap, column] = self.frame[column].to_numpy()[donors[column]]
        return whole

    def _filled(self, column: str, gap: Mask, donors: Whole) -> Floats:
        values = self.recorded[column].copy()
        values[gap] = values[donors]
        return values

    def _start(self, gap: Mask, column: str, generator: np.random.Generator) -> Whole:
        """Rows whose values the gaps take at first: any, but the same for all of a patient."""
        drawn: Whole = generator.choice(np.flatnonzero(~gap), gap.sum())
        if column not in self.constant:
            return drawn
        _, first = np.unique(self.codes[gap], return_index=True)
        return drawn[first][np.searchsorted(self.codes[gap][first], self.codes[gap])]

    def _donors(
        self, now: dict[str, Floats], column: str, gap: Mask, generator: np.random.Generator,
    ) -> Whole:
        blocks = [now[c] for c in (*self.columns, self.outcome) if c != column]
        if column in self.own_other_rows:
            blocks.append(self.own_other_rows[column])
        x, target = np.column_stack(blocks), now[column]
        if column in self.constant:
            return self._impute_patients(x, target, gap, generator)
        return _match(x, target, gap, self.codes, generator)

    def _impute_patients(
        self, x: Floats, target: Floats, gap: Mask, generator: np.random.Generator
    ) -> Whole:
        """Match whole patients on the averages of their rows; every row gets the same donor."""
        patients, first, inverse = np.unique(self.codes, return_index=True, return_inverse=True)
        sizes = np.bincount(inverse)[:, None]
        mean = np.column_stack(
            [np.bincount(inverse, weights=column) for column in x.T]) / sizes
        mean = np.column_stack([mean, np.log(sizes)])
        donors = _match(mean, target[first], gap[first], np.arange(len(patients)), generator)
        whole = np.full(len(patients), -1)
        whole[np.flatnonzero(gap[first])] = first[donors]
        return whole[inverse[gap]]

    def _other_rows(self, column: str) -> Floats:
        """Mean recorded value in the patient's other rows, the overall mean where there is none."""
        values = self.recorded[column]
        seen = ~self.gaps[column].to_numpy()
        values = np.where(seen[:, None], values, 0.0)
        patients = self.codes.max() + 1
        count = np.bincount(self.codes, weights=seen, minlength=patients)[self.codes] - seen
        total = np.column_stack([np.bincount(self.codes, weights=v, minlength=patients)[self.codes]
                                 for v in values.T]) - values
        overall = values[seen].mean(axis=0)
        found: Floats = (total + overall) / (count + 1)[:, None]
        return found


def _as_columns(column: pd.Series) -> Floats:
    """A column as numbers: itself, 0/1, or one column a level of a factor."""
    if is_two_valued(column) or pd.api.types.is_numeric_dtype(column.dtype):
        return numbers(column)[:, None]
    levels = sorted(column.dropna().unique(), key=str)
    return np.column_stack([
        column.eq(level).fillna(False).to_numpy(dtype=bool).astype(float) for level in levels])


def _match(
    x: Floats, target: Floats, gap: Mask, codes: Whole,
    generator: np.random.Generator,
) -> Whole:
    """Rows (among all) whose recorded value each gap receives."""
    seen = np.flatnonzero(~gap)
    spread = x.std(axis=0)
    z = np.column_stack([np.ones(len(x)), (x - x.mean(axis=0)) / np.where(spread > 0, spread, 1)])
    drawn = np.bincount(generator.integers(0, codes.max() + 1, codes.max() + 1),
                        minlength=codes.max() + 1)[codes][seen].astype(float)
    held = _ridge(z[seen], target[seen], np.ones(len(seen)))
    moved = _ridge(z[seen], target[seen], drawn)
    # Type 1 matching (van Buuren 2018): donors by the plain fit, gaps by the bootstrap fit.
    distance = ((z[gap] @ moved)[:, None, :] - (z[seen] @ held)[None, :, :]) ** 2
    distance = distance.sum(axis=2)
    near = np.argsort(distance, axis=1, kind="stable")[:, : min(DONORS, len(seen))]
    return seen[near[np.arange(len(near)), generator.integers(0, near.shape[1], len(near))]]


def _ridge(x: Floats, y: Floats, weights: Floats) -> Floats:
    gram = (x * weights[:, None]).T @ x
    gram[np.diag_indices_from(gram)] += RIDGE * np.maximum(np.diag(gram), 1.0)
    return np.linalg.solve(gram, (x * weights[:, None]).T @ y)
