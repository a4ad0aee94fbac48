"""From the names in a question to what is asked: the measure, its unit, and the rows grouped."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analyses.measures.counting import levels
from analyses.measures.declared import all_measures
from analyses.measures.measure import Measure, Share, Spread, Worked
from analyses.population.unit_frames import GROUPINGS, NOT_RECORDED, Units, as_group
from analyses.statistics.estimate import Estimate
from analyses.study.frame_columns import UNIT_NAMES
from analyses.study.study_errors import StudyError, unknown_name
from analyses.study.study_frames import StudyFrame

MOST_LEVELS = 12
"""A column with more values than this is a measurement, not a grouping."""

FRAME_OF = {"operation": "resection"}
"""Units of measures that the frame of another unit describes."""


def measure_asked(id: str) -> Measure:
    """The measure of an id. Raises UnknownName with the nearest."""
    found = all_measures().get(id)
    if found is None:
        raise unknown_name("measure", id, all_measures(), "All are in study.measures().")
    return found


def share_asked(id: str, for_what: str) -> Share:
    """The measure of an id, which must be a share of units."""
    found = measure_asked(id)
    if not isinstance(found, Share):
        raise StudyError(f"{id} is a {found.kind}; {for_what} is given for shares of units with "
                         "and without an event.")
    return found


def unit_asked(measure: Measure, unit: str | None) -> str:
    """The unit of a question; its only one where none was named."""
    if unit is None:
        if len(measure.units) == 1:
            return measure.units[0]
        raise StudyError(f"{measure.id} is given per {' or '.join(measure.units)}; say which, "
                         f"such as unit=\"{measure.units[0]}\".")
    named = next((own for own, frame in FRAME_OF.items()
                  if frame == unit and own in measure.units), unit)
    if named not in measure.units:
        raise unknown_name(f"unit of {measure.id}", unit, measure.units,
                           f"It is given per {', '.join(measure.units)}.")
    return named


def frame_asked(unit: str, frames: Mapping[str, StudyFrame]) -> StudyFrame:
    """The frame that describes a unit of a measure, or of a study."""
    name = FRAME_OF.get(unit, unit)
    if name not in frames:
        raise unknown_name("unit", unit, UNIT_NAMES, f"There are {', '.join(UNIT_NAMES)}.")
    return frames[name]


def level_asked(level: float) -> float:
    """The coverage of intervals, a share between 0 and 1."""
    if isinstance(level, bool) or not isinstance(level, int | float) or not 0 < level < 1:
        raise StudyError(f"The level is {level!r}; a share between 0 and 1 is wanted, such as "
                         "0.95.")
    return float(level)


def important_asked(size: float | None) -> float | None:
    """A size of difference that matters, a share between 0 and 1; None where none is named."""
    if size is None:
        return None
    if isinstance(size, bool) or not isinstance(size, int | float) or not 0 < size < 1:
        raise StudyError(f"The important difference is {size!r}; a difference of shares between 0 "
                         "and 1 is wanted, such as 0.05 for 5 percentage points.")
    return float(size)


def grouped(rows: pd.DataFrame, by: str, frame: StudyFrame) -> pd.DataFrame:
    """A measure's rows with the column `by` as levels of text; blanks are "not recorded".

    The groupings of the analyses keep their own texts, so that the numbers are those of the
    results. Raises UnknownName for a column that is not there, StudyError for a measurement.
    """
    if by in GROUPINGS and by in rows:
        return rows
    if by not in frame.frame:
        raise unknown_name("column", by, frame.frame.columns,
                           f"All columns of the {frame.unit}s are in study.dictionary().")
    values = frame.frame[by]
    numeric = pd.api.types.is_numeric_dtype(values.dtype) and not (
        pd.api.types.is_bool_dtype(values.dtype))
    many = values.nunique()
    if pd.api.types.is_datetime64_any_dtype(values.dtype) or (numeric and many > MOST_LEVELS):
        raise StudyError(f"{by} has {many} different values; make groups of it with study.add, "
                         "such as older = study.patients[\"age_y\"] >= 60.")
    text = as_group(values).reindex(rows["key"].astype("string")).set_axis(rows.index)
    known = [level for level in levels(values, by) if level != NOT_RECORDED]
    dtype = pd.CategoricalDtype([*known, NOT_RECORDED])
    return rows.assign(**{by: pd.Series(pd.Categorical(text.fillna(NOT_RECORDED), dtype=dtype),
                                        index=rows.index)})


def rows_of(measure: Measure, units: Units, unit: str) -> pd.DataFrame:
    """The rows that a share or a median is worked out from."""
    if isinstance(measure, Share):
        return measure.frame(units, unit)
    assert isinstance(measure, Spread)
    return measure.values(units, unit)


def worked_estimates(
    measure: Worked, units: Units, unit: str, by: str | None, level: float,
) -> tuple[Estimate, ...]:
    """The estimates of a measure that is worked out together with others.

    Raises StudyError where it is not given by this grouping, or at another level than 95 %.
    """
    if level != 0.95:
        raise StudyError(f"{measure.id} is worked out together with others, at the level 0.95 "
                         "only.")
    found = [e for e in measure.estimates(units) if e.unit == unit]
    if by is None:
        return tuple(e for e in found if not set(e.group or {}) & set(GROUPINGS))
    mine = tuple(e for e in found if by in (e.group or {}))
    if not mine:
        given = dict.fromkeys(column for e in found for column in e.group or {})
        raise StudyError(f"{measure.id} is not given by {by}"
                         + (f"; it is by {', '.join(given)}." if given else "; it has no groups."))
    return mine
