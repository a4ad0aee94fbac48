"""All results of one freeze: the estimates in order, found again by id, unit and group."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import analyses.measures.catalogue_outcomes  # noqa: F401  (adds the words of these estimates)
import analyses.measures.catalogue_time  # noqa: F401
from analyses.measures.baseline import baseline_estimates
from analyses.measures.comparison_tests import comparison_tests
from analyses.measures.comparisons import comparison_estimates
from analyses.measures.complication_detail import complication_detail
from analyses.measures.favourable import favourable_estimates
from analyses.measures.flow import flow_estimates
from analyses.measures.function import function_estimates
from analyses.measures.haemorrhage import haemorrhage_estimates
from analyses.measures.harm import complication_estimates
from analyses.measures.missing_outcome import missing_outcome_estimates
from analyses.measures.obliteration import obliteration_estimates
from analyses.measures.over_time import over_time_estimates
from analyses.measures.over_time_compared import compared_over_time
from analyses.measures.practice_kept import technique_estimates
from analyses.measures.procedures import procedure_estimates
from analyses.measures.resection import resection_estimates
from analyses.measures.weaknesses import weakness_estimates
from analyses.population.unit_frames import Units, units_of
from analyses.statistics.estimate import Estimate
from registry.clinical.practice_limits import PracticeLimits, default_limits

Progress = Callable[[str], None]
"""Told what is being worked on, in a few words, as each step starts."""

STEPS: tuple[tuple[str, Callable[[Units], list[Estimate]]], ...] = (
    ("obliteration", obliteration_estimates),
    ("complications", complication_estimates),
    ("favourable outcome", favourable_estimates),
    ("function", function_estimates),
    ("resection", resection_estimates),
    ("procedures", procedure_estimates),
    ("technique", technique_estimates),
    ("patients and lesions", baseline_estimates),
    ("comparisons", comparison_estimates),
    ("tests beside them", comparison_tests),
    ("missing outcomes", missing_outcome_estimates),
    ("complications in detail", complication_detail),
    ("haemorrhage", haemorrhage_estimates),
    ("over time", over_time_estimates),
    ("groups over time", compared_over_time),
    ("what the data leave open", weakness_estimates),
)
"""What a report works out, in its order: a name for the progress line, and the function."""


@dataclass(frozen=True, repr=False)
class Results:
    """The estimates of one freeze, and the units they counted.

    `manifest` is the freeze's own; `limits` are the practice limits used.
    """

    units: Units
    estimates: tuple[Estimate, ...]
    manifest: Mapping[str, Any]
    limits: PracticeLimits = field(default_factory=default_limits)

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

    def __repr__(self) -> str:
        from analyses.content.plain_text import sections_text
        from analyses.documents.results_shown import overview

        return sections_text([overview(self)])

    def _repr_html_(self) -> str:
        from analyses.documents.notebook_show import show
        from analyses.documents.results_shown import overview

        return show(overview(self)).html

    def units_of(self, id: str) -> list[str]:
        """The units of analysis in which this id is given, in order."""
        return list(dict.fromkeys(e.unit for e in self.estimates if e.id == id))


def work_out(
    tables: Mapping[str, Any], manifest: Mapping[str, Any], *,
    limits: PracticeLimits | None = None, progress: Progress | None = None,
) -> Results:
    """Work out every estimate of a freeze (its tables and manifest).

    limits: a service's own practice limits; the package's where None.
    """
    tell = progress or (lambda words: None)
    used = limits or default_limits()
    tell("who is counted")
    units = units_of(tables)
    found: list[Estimate] = flow_estimates(units, manifest)
    for words, step in STEPS:
        tell(words)
        found += technique_estimates(units, used) if step is technique_estimates else step(units)
    return Results(units, tuple(_unique(found)), manifest, used)


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
