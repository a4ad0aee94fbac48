"""Univariable and adjusted results side by side, with the events in each level."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.terms import Term


def side_by_side_table(
    data: pd.DataFrame, outcome: str, terms: Sequence[str | Term | Mapping[str, Any]], *,
    cluster: str | None = None, estimator: str = "auto", level: float = 0.95, unit: str = "row",
) -> pd.DataFrame:
    """Each term alone and all together, on the same complete rows.

    Index `term`; columns `seen` (events of rows with and without, or median in rows with and
    without the event), `univariable` and `adjusted`: estimates, None where no number can be
    given. Raises ValueError as `fit` does.
    """
    whole = fit(data, outcome, terms, cluster=cluster, estimator=estimator, level=level)
    same = whole.rows.frame
    alone: dict[str, Estimate] = {}
    for term in whole.rows.columns.terms:
        if len(term.columns) > 1:
            continue
        one = fit(same, outcome, [term], cluster=cluster, estimator=estimator, level=level)
        alone.update(_ratios(one, unit))
    together = _ratios(whole, unit)
    names = [name for name in whole.rows.columns.names[1:]]
    return pd.DataFrame({
        "seen": [_seen(whole, name) for name in names],
        "univariable": [alone.get(name) for name in names],
        "adjusted": [together.get(name) for name in names],
    }, index=pd.Index(names, name="term"))


def _ratios(model: ModelFit, unit: str) -> dict[str, Estimate]:
    return {(one.group or {})["term"]: one for one in model.estimates(unit)
            if one.value is not None}


def _seen(model: ModelFit, name: str) -> str:
    rows = model.rows
    column = rows.x[:, rows.columns.names.index(name)]
    if model.events is None:
        return f"median {np.median(column):g}" if not np.isin(column, (0, 1)).all() else (
            f"{int(column.sum())} of {rows.n} rows")
    if np.isin(column, (0, 1)).all():
        told = []
        for value, word in ((1, "with"), (0, "without")):
            part = column == value
            told.append(f"{int(rows.y[part].sum())}/{int(part.sum())} {word}")
        return ", ".join(told)
    return (f"median {np.median(column[rows.y == 1]):.3g} with the event, "
            f"{np.median(column[rows.y == 0]):.3g} without")
