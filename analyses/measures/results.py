"""All results of one freeze: the estimates in order, found again by id, unit and group."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from analyses.measures.comparisons import comparison_estimates
from analyses.measures.declared import TOPICS, estimates_of
from analyses.measures.missing_outcome import missing_outcome_estimates
from analyses.measures.small_cells import Hidden, without_small_cells
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from registry.clinical.practice_limits import PracticeLimits

Progress = Callable[[str], None]
"""Told what is being worked on, in a few words, as each step starts."""

QUESTIONS: tuple[tuple[str, Callable[[Units], list[Estimate]]], ...] = (
    ("comparisons", comparison_estimates),
    ("missing outcomes", missing_outcome_estimates),
)
"""What is asked of the measures themselves, with a name for the progress line."""


@dataclass(frozen=True, repr=False)
class Results:
    """The estimates of one freeze, and the units they counted.

    In the order of their topics, then what was asked of them. hidden: what was hidden because
    few patients are behind it; None where nothing was to be.
    """

    units: Units
    estimates: tuple[Estimate, ...]
    hidden: Hidden | None = None

    def __repr__(self) -> str:
        stems = dict.fromkeys(e.id.split(".")[0] for e in self.estimates)
        return (f"{len(self.estimates):,} estimates: {', '.join(stems)}. One of them: "
                "results.one(id, unit, group); every group of one: results.by(id, unit, column).")

    @property
    def manifest(self) -> Mapping[str, Any]:
        """What the freeze says of itself."""
        return self.units.manifest

    @property
    def limits(self) -> PracticeLimits:
        """The practice limits used."""
        return self.units.limits

    @cached_property
    def _index(self) -> dict[tuple[str, str, tuple[tuple[str, str], ...]], Estimate]:
        return {(e.id, e.unit, _group_key(e.group)): e for e in self.estimates}

    def one(self, id: str, unit: str, group: Mapping[str, str] | None = None) -> Estimate:
        """The estimate with this id and unit in this group (overall where None).

        Raises KeyError where there is none.
        """
        return self._index[(id, unit, _group_key(group))]

    def by(self, id: str, unit: str, column: str) -> list[Estimate]:
        """The estimates of every level of one grouping, in order."""
        return [e for e in self.estimates
                if e.id == id and e.unit == unit and e.group and tuple(e.group) == (column,)]

    def outside(self) -> Results:
        """The results with small cells hidden (see `small_cells`)."""
        kept, hidden = without_small_cells(self.estimates)
        return replace(self, estimates=kept, hidden=hidden)

    def units_of(self, id: str) -> list[str]:
        """The units of analysis in which this id is given, in order."""
        return list(dict.fromkeys(e.unit for e in self.estimates if e.id == id))


def work_out(units: Units, *, progress: Progress | None = None) -> Results:
    """Work out every measure of a freeze, and what is asked of them (see `units_of`)."""
    tell = progress or (lambda words: None)
    found: list[Estimate] = []
    for topic in TOPICS:
        tell(topic)
        found += estimates_of(topic, units)
    for words, question in QUESTIONS:
        tell(words)
        found += question(units)
    return Results(units, tuple(_unique(found)))


def work_out_topics(topics: Iterable[str], units: Units) -> Results:
    """The estimates of some topics only, the same as of all: quicker where few are needed."""
    found = [e for topic in topics for e in estimates_of(topic, units)]
    return Results(units, tuple(_unique(found)))


def _group_key(group: Mapping[str, str] | None) -> tuple[tuple[str, str], ...]:
    return tuple(sorted((group or {}).items()))


def _unique(estimates: Iterable[Estimate]) -> Sequence[Estimate]:
    """The estimates as they are; raises ValueError where two share id, unit and group."""
    seen: set[object] = set()
    kept = list(estimates)
    for e in kept:
        key = (e.id, e.unit, _group_key(e.group))
        if key in seen:
            raise ValueError(f"Two estimates share id, unit and group: {key}.")
        seen.add(key)
    return kept
