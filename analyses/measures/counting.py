"""From a unit frame to estimates: one share overall, and by every grouping.

A unit frame has one row a unit, with `key`, `patient_id`, the grouping columns, and a column of
events (boolean; blank means that the outcome is not known, and the unit leaves the denominator
but is counted beside it).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from analyses.measures.gate import LOST, Known, Verdict, gate
from analyses.population.unit_frames import GROUPINGS, NOT_EMBOLIZED, NOT_RECORDED, as_group
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.proportions.bounds import proportion_bounds
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.independent import proportion
from analyses.statistics.regression.terms import is_two_valued
from analyses.words.estimate_text import plural
from analyses.words.flags import FEW_UNITS, NO_INTERVAL, NOTHING_COUNTED
from registry.schema import TABLES, Patients

UNKNOWN = "of unknown outcome"
"""What is said of the units left out, unless a caller has better words."""

FEW = 5
"""A group under this many units is printed with its counts and "too few to compare"."""


def share(
    frame: pd.DataFrame, event: str, *, id: str, unit: str,
    group: Mapping[str, str] | None = None, notes: Iterable[str] = (), unknown: str = UNKNOWN,
    known: Known = Known.EITHER_WAY, level: float = 0.95,
) -> Estimate:
    """The proportion of units in which `event` is true, among those where it is known.

    frame: a unit frame. Clustered on the patient where a patient gives more than one row
    (`clustered_proportion`), else Clopper–Pearson. `notes` are added to the flags; `unknown` are
    the words on units whose event is blank: "3 sessions of unknown outcome left out". `known`: in
    which units the outcome can be unknown; where the gate refuses a point, bounds (kind "bounds":
    its events and n are those of the known, the two cases stand in `beside`). level: coverage of
    the interval. Raises ValueError where `event` holds anything but yes, no and blanks.
    """
    frame = frame.assign(**{event: event_column(frame, event)})
    verdict = gate(frame, event, known)
    if not verdict:
        return _bounds_only(frame, event, verdict, id, unit, group, notes, unknown, level)
    rows = frame[frame[event].notna()]
    happened = rows[event].astype(bool)
    if rows[Patients.patient_id].duplicated().any():
        found = clustered_proportion(
            happened.to_numpy(), rows[Patients.patient_id].to_numpy(dtype=str), id=id, unit=unit,
            group=group, keys=list(rows["key"]), level=level)
    else:
        found = proportion(int(happened.sum()), len(rows), event_keys=list(rows["key"][happened]),
                           id=id, unit=unit, group=group, keys=list(rows["key"]), level=level)
        found = replaced(found, clusters=len(rows))
    return _noted(found, frame, event, notes, unknown)


def shares(
    frame: pd.DataFrame, event: str, *, id: str, unit: str,
    by: Iterable[str] = GROUPINGS, notes: Iterable[str] = (), unknown: str = UNKNOWN,
    known: Known = Known.EITHER_WAY, level: float = 0.95,
) -> list[Estimate]:
    """The share overall, then within each level of each grouping (levels in their order).

    by: columns of any type that makes groups; units with a blank are the group "not recorded".
    """
    notes = tuple(notes)
    found = [share(frame, event, id=id, unit=unit, notes=notes, unknown=unknown, known=known,
                   level=level)]
    # Frames are wide, and each group is a copy: only what the gate and the count look at is.
    counted = frame[[c for c in ("key", Patients.patient_id, event, LOST) if c in frame]]
    for column in by:
        groups = as_group(frame[column])
        for name in levels(frame[column], column):
            estimate = share(counted[groups == name], event, id=id, unit=unit, group={column: name},
                             unknown=unknown, known=known, level=level)
            found.append(few_marked(estimate))
    return found


def few_marked(estimate: Estimate) -> Estimate:
    """The estimate, with the words "too few to compare" where it counts fewer than FEW units."""
    if (estimate.n or 0) >= FEW or FEW_UNITS in estimate.flags:
        return estimate
    if NOTHING_COUNTED in estimate.flags:
        return estimate
    return replaced(estimate, flags=(*estimate.flags, FEW_UNITS))


def levels(values: pd.Series, column: str) -> list[str]:
    """The levels of a grouping that occur, as `as_group` words them, in order.

    That of the categories where the column has them, no before yes, numbers by size, else that of
    the schema's list, else sorted; "not recorded" comes last.
    """
    present = set(as_group(values))
    if isinstance(values.dtype, pd.CategoricalDtype):
        known = dict.fromkeys((*as_group(values.cat.categories.to_series()), NOT_RECORDED))
        return [level for level in known if level in present]
    if pd.api.types.is_numeric_dtype(values.dtype) and not is_two_valued(values):
        known = dict.fromkeys((*as_group(values.dropna().sort_values()), NOT_RECORDED))
        return [level for level in known if level in present]
    listed = [v for table in TABLES.values() for v in _listed(table.by_name.get(column))]
    order = {value: place for place, value in enumerate(dict.fromkeys(listed))}
    last = {NOT_EMBOLIZED: 1, NOT_RECORDED: 2}
    return sorted(present, key=lambda v: (last.get(v, 0), order.get(v, len(order)), v))


def event_column(frame: pd.DataFrame, event: str) -> pd.Series:
    """A column of events as truth values (dtype "boolean"), blank where not known.

    Raises ValueError for text and for numbers other than 0 and 1: the word "no" would count as an
    event, and so would the code of a competing one.
    """
    values = frame[event]
    if is_two_valued(values) or values.isna().all():
        return values.astype("boolean")
    if not pd.api.types.is_numeric_dtype(values.dtype):
        raise ValueError(f"{event!r} is text; a share counts yes and no: give True and False (or "
                         "1 and 0), blank where it is not known.")
    other = values[values.notna() & ~values.isin((0, 1))]
    if len(other):
        raise ValueError(f"{event!r} holds {other.iloc[0]:g}; a share counts 0 and 1 only: say "
                         "which codes are the event.")
    return values.astype("boolean")


def any_known(units: pd.DataFrame, unit_column: str, rows: pd.DataFrame, flag: pd.Series,
              row_column: str) -> pd.Series:
    """Per unit: true where a row of it is true, blank where none is but one is blank, else no.

    `flag` is a boolean Series on `rows`; `row_column` of rows names the unit.
    """
    flag = flag.astype("boolean")
    true = set(rows.loc[flag.fillna(False), row_column].dropna())
    unknown = set(rows.loc[flag.isna(), row_column].dropna()) - true
    names = units[unit_column]
    found = names.isin(true).astype("boolean")
    return found.mask(names.isin(unknown))


def _listed(spec: object) -> tuple[str, ...]:
    return getattr(spec, "values", ()) or ()


def _noted(
    found: Estimate, frame: pd.DataFrame, event: str, notes: Iterable[str], words: str,
) -> Estimate:
    """Add the words on unknown outcomes, and the bounds they leave open, beside the estimate."""
    unknown = int(frame[event].isna().sum())
    extra = tuple(notes)
    beside = found.beside
    if unknown:
        name = found.unit if unknown == 1 else plural(found.unit)
        extra = (f"{unknown} {name} {words} left out", *extra)
        beside = (*beside, _bounds(found, frame, event))
    if not extra:
        return found
    return replaced(found, flags=(*found.flags, *extra), beside=beside)


def _bounds_only(
    frame: pd.DataFrame, event: str, verdict: Verdict, id: str, unit: str,
    group: Mapping[str, str] | None, notes: Iterable[str], words: str, level: float,
) -> Estimate:
    """What holds whatever the unknown outcomes are, in place of a point that would mislead."""
    bounds = proportion_bounds(
        _as_numbers(frame[event]),
        frame[Patients.patient_id].to_numpy(dtype=str),
        id=f"{id}.bounds",
        unit=unit,
        group=group,
        keys=list(frame["key"]),
        level=level,
    )
    name = unit if verdict.unknown == 1 else plural(unit)
    return Estimate(
        id=id, kind="bounds", value=None, low=bounds.low, high=bounds.high,
        events=bounds.events, n=bounds.n, clusters=bounds.clusters, unit=unit,
        group=group, method=bounds.method, beside=bounds.beside, counted=bounds.counted,
        level=level,
        flags=(verdict.why, f"{verdict.unknown} {name} {words}", *notes,
               *((NO_INTERVAL,) if None in (bounds.low, bounds.high) else ())))


def _as_numbers(event: pd.Series) -> Floats:
    return event.astype("Float64").to_numpy(dtype=float, na_value=float("nan"))


def _bounds(found: Estimate, frame: pd.DataFrame, event: str) -> Estimate:
    return proportion_bounds(
        _as_numbers(frame[event]),
        frame[Patients.patient_id].to_numpy(dtype=str),
        id=f"{found.id}.bounds",
        unit=found.unit,
        group=found.group,
        keys=list(frame["key"]),
        level=found.level,
    )
