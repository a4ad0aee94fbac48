"""P values for a baseline table, on request: some journals ask for them.

They say how surprising the observed difference between groups would be if chance alone had made
them; they do not say whether a difference matters. The tableone package chooses and runs the
tests.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import pandas as pd

from analyses.measures.baseline import (
    LEVELS,
    MEDIAN,
    SECTIONS,
    Described,
    as_levels,
    baseline_frame,
    compared_levels,
)
from analyses.population.unit_frames import Units
from registry.schema import Patients

REPEATED = "not given: some patients have several lesions, which the usual tests cannot take"
ONE_LEVEL = "not given: fewer than two groups or levels"


@dataclass(frozen=True)
class BaselineTest:
    """One test: the field, the P value (None where not given) and the test, or the reason."""

    column: str
    label: str
    p: float | None
    test: str
    n: int


def baseline_tests(units: Units, by: str) -> list[BaselineTest]:
    """A P value a field for the groups of `by`; one that cannot be given says why.

    Lesion fields are tested only where no patient has two lesions treated, because the tests
    take rows to be independent.
    """
    found = []
    for unit, fields in SECTIONS:
        frame = baseline_frame(units, unit)
        frame = frame[frame[by].isin(compared_levels(frame, by))]
        repeats = bool(frame[Patients.patient_id].duplicated().any())
        for field in fields:
            found.append(_refused(frame, field, REPEATED) if repeats
                         else _tested(frame, field, by))
    return found


def _refused(frame: pd.DataFrame, field: Described, why: str) -> BaselineTest:
    return BaselineTest(field.column, field.heading(), None, why,
                        int(frame[field.column].notna().sum()))


def _tested(frame: pd.DataFrame, field: Described, by: str) -> BaselineTest:
    from tableone import TableOne

    values = as_levels(frame[field.column]) if field.how == LEVELS else frame[
        field.column].astype("Float64").astype(float)
    data = pd.DataFrame({field.column: values.astype(object), "group": frame[by].astype(str)})
    data = data.dropna()
    if data["group"].nunique() < 2 or data[field.column].nunique() < 2:
        return _refused(frame, field, ONE_LEVEL)
    continuous = field.how != LEVELS
    if continuous:
        data[field.column] = data[field.column].astype(float)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table = TableOne(
            data, columns=[field.column], groupby="group", pval=True, htest_name=True,
            categorical=[] if continuous else [field.column],
            continuous=[field.column] if continuous else [],
            nonnormal=[field.column] if field.how == MEDIAN else [],
        )
    row = table.htest_table.loc[field.column]
    return BaselineTest(field.column, field.heading(), float(row["P-Value"]), str(row["Test"]),
                        len(data))
