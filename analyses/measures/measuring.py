"""From a unit frame to medians and means: overall, and within the levels of groupings.

As `counting` for measurements: a blank leaves the number and is counted beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from analyses.measures.counting import few_marked, levels
from analyses.population.unit_frames import as_group
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.measurements.medians import clustered_mean, clustered_median
from analyses.words.estimate_text import plural
from registry.schema import Patients


def median_of(
    frame: pd.DataFrame, column: str, *, id: str, unit: str, measure: str = "",
    group: Mapping[str, str] | None = None, level: float = 0.95,
) -> Estimate:
    """The median of a column with its interval, by patient where patients repeat.

    frame: a unit frame (`key`, `patient_id`). Quartiles, smallest and largest value in `beside`;
    how many units have no value stands in the flags.
    """
    known = frame[frame[column].notna()]
    found = clustered_median(
        known[column].to_numpy(dtype=float), known[Patients.patient_id].to_numpy(dtype=str),
        measure=measure, id=id, unit=unit, group=group, keys=list(known["key"]), level=level)
    found = replaced(found, beside=(*found.beside, *_range(found, known[column])))
    return _with_missing(found, len(frame) - len(known))


def mean_of(
    frame: pd.DataFrame, column: str, *, id: str, unit: str, measure: str = "",
    group: Mapping[str, str] | None = None,
) -> Estimate:
    """The mean of a column with its interval; standard deviation in `beside`. As `median_of`."""
    known = frame[frame[column].notna()]
    found = clustered_mean(
        known[column].to_numpy(dtype=float), known[Patients.patient_id].to_numpy(dtype=str),
        measure=measure, id=id, unit=unit, group=group, keys=list(known["key"]))
    return _with_missing(found, len(frame) - len(known))


def medians(
    frame: pd.DataFrame, column: str, *, id: str, unit: str, measure: str = "",
    by: Iterable[str] = (), level: float = 0.95,
) -> list[Estimate]:
    """The median overall, then within each level of each grouping."""
    def of(part: pd.DataFrame, group: Mapping[str, str] | None) -> Estimate:
        return median_of(part, column, id=id, unit=unit, measure=measure, group=group,
                         level=level)

    found = [of(frame, None)]
    for grouping in by:
        groups = as_group(frame[grouping])
        for name in levels(frame[grouping], grouping):
            found.append(few_marked(of(frame[groups == name], {grouping: name})))
    return found


def missing_words(count: int, unit: str) -> str:
    """`3 sessions without a value left out`."""
    return f"{count} {unit if count == 1 else plural(unit)} without a value left out"


def _range(found: Estimate, values: pd.Series) -> tuple[Estimate, ...]:
    if not len(values):
        return ()
    return tuple(
        Estimate(id=f"{found.id}.{kind}", kind=kind, value=value, unit=found.unit,
                 measure=found.measure, group=found.group, n=found.n)
        for kind, value in (("smallest", float(values.min())), ("largest", float(values.max()))))


def _with_missing(found: Estimate, missing: int) -> Estimate:
    if not missing:
        return found
    return replaced(found, flags=(*found.flags, missing_words(missing, found.unit)))
