"""Checking what comes in: durations, events, groups, patients; all problems told at once."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arrays import Floats, Mask, Whole

TIE = 1e-9
"""Times nearer to each other than this share of the mean time are the same time: 0.1 + 0.2 and
0.3 are one day, not two. (R's survival does the same with 1.5e-8.)"""

SHOWN = 5


@dataclass(frozen=True)
class Followed:
    """Checked arrays, one entry a row: the shared input of every method here."""

    duration: Floats
    event: Whole
    entry: Floats | None
    cluster: Whole | None
    group: Whole
    groups: tuple[Hashable, ...]
    group_name: str
    keys: tuple[Any, ...] | None

    def part(self, number: int) -> Followed:
        """The rows of one group."""
        mine = self.group == number
        return Followed(
            self.duration[mine], self.event[mine],
            None if self.entry is None else self.entry[mine],
            None if self.cluster is None else self.cluster[mine],
            self.group[mine], self.groups, self.group_name,
            None if self.keys is None else tuple(
                key for key, inside in zip(self.keys, mine, strict=True) if inside
            ),
        )

    @property
    def clusters(self) -> int | None:
        """The number of patients, where they were named."""
        return None if self.cluster is None else int(np.unique(self.cluster).size)

    @property
    def repeated(self) -> bool:
        """Whether any patient gives several of these rows: the variance is then by patient.

        Asked of the rows of one curve, so that a group has one interval whether it is worked out
        alone or beside others.
        """
        return self.clusters is not None and self.clusters < self.duration.size


def followed(
    duration: ArrayLike,
    event: ArrayLike,
    *,
    group: Any = None,
    entry: ArrayLike | None = None,
    cluster: Any = None,
    keys: Sequence[Any] | None = None,
) -> Followed:
    """Check the arrays and put them together.

    Raises ValueError with one plain sentence a problem: a length that differs, a duration that
    is missing or negative, an event that is not a whole code from 0, an entry not before its
    duration, a group or patient that is blank, or nobody at all.
    """
    problems: list[str] = []
    durations = _numbers(duration, "duration", problems)
    events = _numbers(event, "event", problems)
    entries = None if entry is None else _numbers(entry, "entry", problems)
    if durations.size == 0:
        problems.append("Nobody is followed: duration is empty. Give at least one row.")
    _same_lengths(durations.size, problems, event=event, group=group, entry=entry,
                  cluster=cluster, keys=keys)
    if not problems:
        _refuse_durations(durations, problems)
        _refuse_events(events, problems)
        if entries is not None:
            _refuse_entries(entries, durations, problems)
    codes, labels = _labels(group, durations.size, "group", problems)
    patients = None if cluster is None else _labels(cluster, durations.size, "cluster",
                                                    problems)[0]
    if problems:
        raise ValueError(" ".join(problems))
    durations, entries = _same_times(durations, entries)
    return Followed(
        durations, events.astype(np.int64), entries, patients, codes, labels,
        str(getattr(group, "name", None) or "group"), None if keys is None else tuple(keys),
    )


def whole_time(value: float, name: str = "time") -> float:
    """A time that a person asks about. Raises ValueError where it is not a number from 0 up."""
    asked = float(value)
    if not np.isfinite(asked) or asked < 0:
        raise ValueError(f"{name} is {value}; it has to be a finite number, 0 or more.")
    return asked


def _numbers(values: Any, name: str, problems: list[str]) -> Floats:
    try:
        found = pd.to_numeric(pd.Series(np.ravel(np.asarray(values, dtype=object)),
                                        dtype=object), errors="raise")
        return found.to_numpy(dtype=np.float64, na_value=np.nan)
    except (TypeError, ValueError):
        problems.append(f"{name} holds something that is not a number; give numbers only.")
        return np.zeros(len(np.ravel(np.asarray(values, dtype=object))))


def _same_lengths(rows: int, problems: list[str], **others: Any) -> None:
    for name, values in others.items():
        if values is not None and len(values) != rows:
            problems.append(
                f"{name} has {len(values)} entries and duration has {rows}; "
                "both need one entry a row."
            )


def _refuse_durations(durations: Floats, problems: list[str]) -> None:
    unknown = ~np.isfinite(durations)
    if unknown.any():
        problems.append(
            f"duration is missing or infinite in {rows_text(unknown)}; "
            "give the time to the event or to the last contact, or leave the row out and say so."
        )
    if (durations < 0).any():
        problems.append(
            f"duration is negative in {rows_text(durations < 0)}; the end lies before the start, "
            "so one of the two dates is wrong."
        )


def _refuse_events(events: Floats, problems: list[str]) -> None:
    with np.errstate(invalid="ignore"):
        wrong = ~(np.isfinite(events) & (events >= 0) & (events == np.floor(events)))
    if wrong.any():
        problems.append(
            f"event is not a code in {rows_text(wrong)}; use 0 censored, 1 the event, "
            "2 and above competing."
        )


def _refuse_entries(
    entries: Floats, durations: Floats, problems: list[str],
) -> None:
    unknown = ~np.isfinite(entries) | (entries < 0)
    if unknown.any():
        problems.append(f"entry is missing, infinite or negative in {rows_text(unknown)}.")
    late = entries >= durations
    if late.any():
        problems.append(
            f"entry is not before duration in {rows_text(late)}; such a row was never under "
            "observation. Leave it out and say so."
        )


def _labels(
    values: Any, rows: int, name: str, problems: list[str],
) -> tuple[Whole, tuple[Hashable, ...]]:
    """Codes and their labels: in the order of a categorical, else sorted; () where none asked."""
    if values is None:
        return np.zeros(rows, dtype=np.int64), ()
    column = values if isinstance(values, pd.Series) else pd.Series(_listed(values))
    blank = column.isna().to_numpy()
    if blank.any():
        problems.append(f"{name} is blank in {rows_text(blank)}; say which it is.")
        return np.zeros(rows, dtype=np.int64), ()
    if isinstance(column.dtype, pd.CategoricalDtype):
        used = column.cat.remove_unused_categories()
        return used.cat.codes.to_numpy(dtype=np.int64), tuple(used.cat.categories.tolist())
    try:
        codes, found = pd.factorize(column, sort=True)
    except TypeError:  # labels of several kinds have no order among them: order their text
        codes, found = pd.factorize(column.astype(str), sort=True)
    return codes.astype(np.int64), tuple(pd.Index(found).tolist())


def _listed(values: Any) -> Any:
    return values if isinstance(values, (pd.Categorical, pd.Index)) else list(values)


def _same_times(
    durations: Floats, entries: Floats | None,
) -> tuple[Floats, Floats | None]:
    """Times that differ only by the rounding of the computer become one time."""
    together = durations if entries is None else np.concatenate([durations, entries])
    times, where = np.unique(together, return_inverse=True)
    apart = np.diff(times, prepend=-np.inf) > TIE * np.mean(np.abs(together))
    snapped = times[apart][np.cumsum(apart) - 1][where]
    if entries is None:
        return snapped, None
    return snapped[:durations.size], snapped[durations.size:]


def rows_text(wrong: Mask) -> str:
    """`row 3` or `rows 3, 7, 12 and 4 more`, counted from 1."""
    found = [str(place + 1) for place in np.flatnonzero(wrong)]
    if len(found) == 1:
        return f"row {found[0]}"
    more = len(found) - SHOWN
    return "rows " + ", ".join(found[:SHOWN]) + (f" and {more} more" if more > 0 else "")
