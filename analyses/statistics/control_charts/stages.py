"""Process stages and the plain list of changes a service made.

The list is a CSV file with columns `date` (ISO 8601), `what` (a few words) and, if wanted,
`new_stage` (yes or no): yes where the limits are to be worked out afresh from that day on.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from registry.problems.sentence_error import SentenceError

LONGEST_WORDS = 60


@dataclass(frozen=True)
class Change:
    """One change of practice: the day, a few words, whether limits start afresh, and why."""

    day: date
    what: str
    new_stage: bool = False
    why: str = ""


class ChangesProblem(SentenceError, ValueError):
    """The list of changes cannot be read; the message names every line and its remedy."""


def read_changes(path: str | Path) -> list[Change]:
    """The changes of a CSV file, in order of date.

    Raises ChangesProblem with all problems at once: line, what was found, what is wanted.
    """
    import csv

    place = Path(path)
    try:
        text = place.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as trouble:
        raise ChangesProblem(f"{place.name}: cannot be read as UTF-8 text ({trouble})") from None
    lines = csv.DictReader(text.splitlines())
    missing = {"date", "what"} - set(lines.fieldnames or [])
    if missing:
        raise ChangesProblem(
            f"{place.name}: the first line has no column {' and '.join(sorted(missing))}; "
            "the columns are date, what and (if wanted) new_stage"
        )
    changes, problems = [], []
    for number, row in enumerate(lines, start=2):
        try:
            changes.append(_change(row))
        except ValueError as trouble:
            problems.append(f"{place.name}, line {number}: {trouble}")
    if problems:
        raise ChangesProblem("\n".join(problems))
    return sorted(changes, key=lambda change: change.day)


def stage_of(days: Iterable[Any], changes: Sequence[Change]) -> list[str]:
    """The stage of each day: "before", then the words of the latest change with a new stage.

    days: dates in any form that numpy reads. The day of a change belongs to the new stage.
    """
    marks = sorted((c for c in changes if c.new_stage), key=lambda change: change.day)
    names = ["before" if marks else "all"]
    for number, change in enumerate(marks, start=1):
        name = f"after {change.what}"
        names.append(name if name not in names else f"{name} ({number})")
    when = np.array([np.datetime64(day, "D") for day in days])
    edges = np.array([change.day for change in marks], dtype="datetime64[D]")
    return [names[int(k)] for k in np.searchsorted(edges, when, side="right")]


def _change(row: dict[str, Any]) -> Change:
    written = (row.get("date") or "").strip()
    try:
        day = date.fromisoformat(written)
    except ValueError:
        raise ValueError(f"date is {written!r}; year-month-day is wanted, as 2026-03-01") from None
    what = (row.get("what") or "").strip()
    if not what:
        raise ValueError("what is blank; say the change in a few words")
    if len(what) > LONGEST_WORDS:
        raise ValueError(f"what has {len(what)} letters; at most {LONGEST_WORDS} fit the chart")
    fresh = (row.get("new_stage") or "no").strip().lower()
    if fresh not in {"yes", "no", ""}:
        raise ValueError(f"new_stage is {fresh!r}; yes or no is wanted")
    return Change(day, what, fresh == "yes")
