"""Everything a report may print, as the entries of `results.json`.

An estimate is printed with what stands beside it (quartiles, best and worst case) and with what it
compares; those are entries of their own, so that every printed number is found there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from analyses.statistics.estimate import Estimate, replaced

Key = tuple[str, str, tuple[tuple[str, str], ...]]


def key_of(estimate: Estimate) -> Key:
    """What tells one entry from the others: id, unit and group."""
    return estimate.id, estimate.unit, tuple(sorted((estimate.group or {}).items()))


def every_estimate(estimates: Iterable[Estimate]) -> list[Estimate]:
    """The estimates, each followed by those shown with it, under ids of their own.

    One that stands among them already, with the same numbers, is not repeated.
    """
    given = list(estimates)
    seen = {key_of(e): e.as_record() for e in given}
    found: list[Estimate] = []
    for estimate in given:
        found.append(estimate)
        for part in _parts(estimate):
            record = part.as_record()
            held = seen.setdefault(key_of(part), record)
            if held is record:
                found.append(part)
            elif held != record:
                raise ValueError(f"Two different numbers are called {key_of(part)}.")
    return found


def records(estimates: Iterable[Estimate]) -> list[dict[str, Any]]:
    """The entries of `results.json`, in order."""
    return [estimate.as_record() for estimate in every_estimate(estimates)]


def _parts(estimate: Estimate) -> Iterator[Estimate]:
    """What is shown with an estimate, named after it where the name alone would be another's."""
    named = [(part, part.kind.replace(" ", "_")) for part in estimate.beside]
    named += [(part, f"arm_{place}") for place, part in enumerate(estimate.arms, start=1)]
    for part, word in named:
        id = part.id if part.id.startswith(f"{estimate.id}.") else f"{estimate.id}.{word}"
        group = {**(estimate.group or {}), **(part.group or {})}
        own = replaced(part, id=id, group=group or None)
        yield own
        yield from _parts(own)
