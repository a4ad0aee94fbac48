"""Which ratios of a model are shown at all: those with rows enough on either side."""

from __future__ import annotations

import numpy as np

from analyses.models.planned_result import PlannedResult
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.model_fit import ModelFit

FEW_ROWS = 5
"""Fewer rows than this with (or without) what is compared: too few to compare."""


def shown_ratios(result: PlannedResult) -> tuple[Estimate, ...]:
    """The ratios of a model that a document shows; none where the data give no answer."""
    fit = result.fit
    if fit is None or not result.answered:
        return ()
    return tuple(e for e in result.ratios
                 if e.value is not None and enough_rows(fit, (e.group or {})["term"]))


def enough_rows(fit: ModelFit, term: str) -> bool:
    """Whether a comparison of yes with no has 5 rows on either side; true of a number."""
    smaller = smaller_side(fit, term)
    return smaller is None or smaller >= FEW_ROWS


def smaller_side(fit: ModelFit, term: str) -> int | None:
    """Of a comparison of yes with no, the rows on the smaller side; None for a number.

    term: a column of the model's design matrix, as its line is called.
    """
    column = fit.rows.x[:, fit.rows.columns.names.index(term)]
    if not np.isin(column, (0, 1)).all():
        return None
    ones = int(column.sum())
    return min(ones, fit.rows.n - ones)
