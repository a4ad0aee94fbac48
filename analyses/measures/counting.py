"""From a unit frame to estimates: one share overall, and by every grouping.

A unit frame has one row a unit, with `key`, `patient_id`, the grouping columns, and a column of
events (boolean; blank means that the outcome is not known, and the unit leaves the denominator
but is counted beside it).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from analyses.measures.gate import LOST, Known, Verdict, verdict_on
from analyses.population.unit_frames import GROUPINGS, NOT_EMBOLIZED, NOT_RECORDED, as_group
from analyses.statistics.arrays import Floats, Labels, Mask
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
    return _share(OutcomeRows.of(frame, event), id=id, unit=unit, group=group, notes=notes,
                  unknown=unknown, known=known, level=level)


@dataclass(frozen=True)
class OutcomeRows:
    """Units with their outcome, as arrays: groups of them are counted hundreds of times a report.

    event: 1, 0, or NaN where not known; patient: text; key: the units' keys; lost: the gate's.
    """

    event: Floats
    patient: Labels
    key: Labels
    lost: Mask

    @classmethod
    def of(cls, frame: pd.DataFrame, event: str) -> OutcomeRows:
        """From a unit frame. Raises ValueError where `event` is no column of events."""
        return cls(
            event_column(frame, event).astype("Float64").to_numpy(dtype=float, na_value=np.nan),
            frame[Patients.patient_id].to_numpy(dtype=str), frame["key"].to_numpy(dtype=object),
            frame[LOST].to_numpy(dtype=bool) if LOST in frame else np.zeros(len(frame), bool))

    def where(self, mask: Mask) -> OutcomeRows:
        """Those of them."""
        return OutcomeRows(self.event[mask], self.patient[mask], self.key[mask], self.lost[mask])


def _share(
    rows: OutcomeRows, *, id: str, unit: str, group: Mapping[str, str] | None = None,
    notes: Iterable[str] = (), unknown: str, known: Known, level: float,
) -> Estimate:
    blank = np.isnan(rows.event)
    verdict = verdict_on(blank, rows.lost, known)
    if not verdict:
        return _bounds_only(rows, verdict, id, unit, group, notes, unknown, level)
    seen = rows.where(~blank)
    if len(np.unique(seen.patient)) < len(seen.patient):
        found = clustered_proportion(
            seen.event, seen.patient, id=id, unit=unit, group=group, keys=list(seen.key),
            level=level)
    else:
        happened = seen.event == 1
        found = proportion(int(happened.sum()), len(happened),
                           event_keys=list(seen.key[happened]), id=id, unit=unit, group=group,
                           keys=list(seen.key), level=level)
        found = replaced(found, clusters=len(happened))
    return _noted(found, rows, notes, unknown)


def shares(
    frame: pd.DataFrame, event: str, *, id: str, unit: str,
    by: Iterable[str] = GROUPINGS, notes: Iterable[str] = (), unknown: str = UNKNOWN,
    known: Known = Known.EITHER_WAY, level: float = 0.95,
) -> list[Estimate]:
    """The share overall, then within each level of each grouping (levels in their order).

    by: columns of any type that makes groups; units with a blank are the group "not recorded".
    """
    notes = tuple(notes)
    rows = OutcomeRows.of(frame, event)
    found = [_share(rows, id=id, unit=unit, notes=notes, unknown=unknown, known=known,
                    level=level)]
    for column in by:
        groups = as_group(frame[column])
        named = groups.to_numpy(dtype=str)
        for name in levels_among(groups, frame[column], column):
            found.append(few_marked(_share(
                rows.where(named == name), id=id, unit=unit, group={column: name},
                unknown=unknown, known=known, level=level)))
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
    return levels_among(as_group(values), values, column)


def levels_among(groups: pd.Series, values: pd.Series, column: str) -> list[str]:
    """`levels`, where `groups` are the values as `as_group` words them already."""
    present = set(groups)
    if isinstance(values.dtype, pd.CategoricalDtype):
        known = dict.fromkeys((*as_group(values.cat.categories.to_series()), NOT_RECORDED))
        return [level for level in known if level in present]
    if pd.api.types.is_numeric_dtype(values.dtype) and not is_two_valued(values):
        known = dict.fromkeys((*as_group(values.dropna().sort_values()), NOT_RECORDED))
        return [level for level in known if level in present]
    order = _listed_order(column)
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


@cache
def _listed_order(column: str) -> Mapping[str, int]:
    """Value → its place in the schema's list of a column of this name, whatever the table."""
    listed = [v for table in TABLES.values()
              for v in getattr(table.by_name.get(column), "values", ()) or ()]
    return {value: place for place, value in enumerate(dict.fromkeys(listed))}


def _noted(
    found: Estimate, rows: OutcomeRows, notes: Iterable[str], words: str,
) -> Estimate:
    """Add the words on unknown outcomes, and the bounds they leave open, beside the estimate."""
    unknown = int(np.isnan(rows.event).sum())
    extra = tuple(notes)
    beside = found.beside
    if unknown:
        name = found.unit if unknown == 1 else plural(found.unit)
        extra = (f"{unknown} {name} {words} left out", *extra)
        beside = (*beside, _bounds(rows, found.id, found.unit, found.group, found.level))
    if not extra:
        return found
    return replaced(found, flags=(*found.flags, *extra), beside=beside)


def _bounds_only(
    rows: OutcomeRows, verdict: Verdict, id: str, unit: str, group: Mapping[str, str] | None,
    notes: Iterable[str], words: str, level: float,
) -> Estimate:
    """What holds whatever the unknown outcomes are, in place of a point that would mislead."""
    bounds = _bounds(rows, id, unit, group, level)
    name = unit if verdict.unknown == 1 else plural(unit)
    return Estimate(
        id=id, kind="bounds", value=None, low=bounds.low, high=bounds.high,
        events=bounds.events, n=bounds.n, clusters=bounds.clusters, unit=unit,
        group=group, method=bounds.method, beside=bounds.beside, counted=bounds.counted,
        level=level,
        flags=(verdict.why, f"{verdict.unknown} {name} {words}", *notes,
               *((NO_INTERVAL,) if None in (bounds.low, bounds.high) else ())))


def _bounds(
    rows: OutcomeRows, id: str, unit: str, group: Mapping[str, str] | None, level: float,
) -> Estimate:
    return proportion_bounds(
        rows.event, rows.patient, id=f"{id}.bounds", unit=unit, group=group, keys=list(rows.key),
        level=level)
