"""From a frame to the rows of a model: checks, gaps, patients.

Everything wrong with a call is told at once, in words that name the column and what to do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats, Mask, Whole
from analyses.statistics.regression.design_matrix import DesignColumns, design_columns
from analyses.statistics.regression.terms import Term, as_term, is_two_valued, numbers


@dataclass(frozen=True)
class ModelRows:
    """The complete rows of one model.

    x: (rows, columns) with its intercept; y: (rows,); cluster: (rows,) codes 0, 1, … of the
    patients; kept: positions of these rows in the frame given; missing: how many rows lack each
    column.
    """

    frame: pd.DataFrame
    outcome: str
    columns: DesignColumns
    x: Floats
    y: Floats
    cluster: Whole
    kept: Whole
    missing: Mapping[str, int]
    clustered_by: str | None

    @property
    def n(self) -> int:
        return len(self.y)

    @property
    def left_out(self) -> int:
        """Rows left out because a value was not recorded."""
        return int(self.n_given - self.n)

    @property
    def n_given(self) -> int:
        return int(self.missing.get("", self.n))

    @property
    def clusters(self) -> int:
        return int(self.cluster.max()) + 1 if self.n else 0

    @property
    def repeated(self) -> bool:
        """Whether any patient gives more than one row."""
        return self.clusters < self.n


def outcome_values(column: pd.Series) -> Floats:
    """The outcome as floats; an ordered categorical as the place of its level, 0, 1, …"""
    if isinstance(column.dtype, pd.CategoricalDtype):
        codes = column.cat.codes.to_numpy(float)
        return np.where(codes < 0, np.nan, codes)
    return numbers(column)


def _call_problems(
    data: pd.DataFrame, outcome: str, terms: Sequence[Term], cluster: str | None
) -> list[str]:
    problems = []
    wanted = [("outcome", outcome)] + [("term", c) for term in terms for c in term.columns]
    if cluster is not None:
        wanted.append(("cluster", cluster))
    for role, column in wanted:
        if column not in data.columns:
            problems.append(f"{role} {column!r} is not a column; the data have "
                            f"{', '.join(map(str, data.columns))}")
        elif data[column].isna().all():
            problems.append(f"{role} {column!r} has no value recorded in any row")
    if not terms:
        problems.append("no terms were given; name at least one column")
    doubled = sorted({term.name for term in terms if [t.name for t in terms].count(term.name) > 1})
    problems += [f"term {name!r} is given twice" for name in doubled]
    if any(outcome in term.columns for term in terms):
        problems.append(f"{outcome!r} is both the outcome and a term")
    return problems


def _type_problems(data: pd.DataFrame, outcome: str, terms: Sequence[Term]) -> list[str]:
    problems = []
    column = data[outcome]
    if not (is_two_valued(column) or pd.api.types.is_numeric_dtype(column.dtype)
            or isinstance(column.dtype, pd.CategoricalDtype)):
        problems.append(f"outcome {outcome!r} is text; wanted True and False, 0 and 1, "
                        "numbers, or an ordered categorical")
    if isinstance(column.dtype, pd.CategoricalDtype) and not column.dtype.ordered:
        problems.append(f"outcome {outcome!r} is a categorical without an order; wanted an "
                        "ordered one, or True and False of the level that is meant")
    for term in terms:
        for name in term.columns:
            if term.form in ("linear", "spline") and not (
                is_two_valued(data[name]) or pd.api.types.is_numeric_dtype(data[name].dtype)
            ):
                problems.append(f"term {name!r} is text; a {term.form} term needs numbers")
    return problems


def _complete(data: pd.DataFrame, needed: list[str]) -> tuple[Mask, dict[str, int]]:
    gaps = data[needed].isna()
    for name in needed:
        if pd.api.types.is_float_dtype(data[name].dtype):
            gaps[name] |= np.isinf(data[name].to_numpy(float, na_value=np.nan))
    missing = {name: int(gaps[name].sum()) for name in needed if gaps[name].any()}
    return ~gaps.any(axis=1).to_numpy(), {"": len(data), **missing}


def model_rows(
    data: pd.DataFrame, outcome: str, terms: Sequence[str | Term | Mapping[str, Any]],
    cluster: str | None,
) -> ModelRows:
    """Check a call and gather its complete rows.

    data: one row a unit; outcome: a column; terms: column names, `Term`s or a plan file's
    tables; cluster: the column that names the patient, None where each row is one. Raises
    ValueError listing every problem.
    """
    asked = [as_term(term) for term in terms]
    problems = _call_problems(data, outcome, asked, cluster)
    problems = problems or _type_problems(data, outcome, asked)
    if problems:
        raise ValueError("; ".join(problems))
    needed = list(dict.fromkeys(
        [outcome, *(c for term in asked for c in term.columns), *([cluster] if cluster else [])]
    ))
    whole, missing = _complete(data, needed)
    kept = np.flatnonzero(whole)
    frame = data.iloc[kept]
    if not len(frame):
        raise ValueError("no row has the outcome and every term recorded")
    columns = design_columns(frame, asked)
    codes = pd.factorize(frame[cluster], sort=False)[0] if cluster else np.arange(len(frame))
    return ModelRows(frame, outcome, columns, columns.encode(frame), outcome_values(frame[outcome]),
                     codes, kept, missing, cluster)
