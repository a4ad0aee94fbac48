"""Each of our measures beside the published lines: those pooled, and the service's place."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from analyses.literature.compared import (
    COMPARED,
    FEWEST_SERIES,
    Beside,
    lines_for,
    lines_pooled,
)
from analyses.literature.place import Place, place_of
from analyses.literature.published import PublishedSeries, published_series
from analyses.measures.declared import about
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.pooling import pooled_proportion as pooling
from analyses.statistics.pooling.pooled_proportion import Pooled, pool_proportions

NEEDED_TOPICS = ("obliteration", "complications")
"""The topics of the results that these comparisons draw on."""
WORDS = {
    f".pooled{pooling.PARTS[0]}": "typical published series",
    f".pooled{pooling.PARTS[1]}": "standard deviation between published series",
    f".pooled{pooling.PARTS[2]}": "prediction for a new series",
    f".pooled{pooling.SIMPLE}": "prediction for a new series, t interval",
}


def stem(one: Beside) -> str:
    """How the ids of a comparison's estimates begin."""
    return f"literature.{one.id}"


@dataclass(frozen=True)
class Comparison:
    """One measure: our own estimate, the lines beside it, those pooled, and our place.

    recent: the lines of the last years that print counts, no patient twice: those pooled where
    they are enough. frozen: the freeze's date, from which those years are counted. pooled: None
    where they are fewer than FEWEST_SERIES series.
    """

    one: Beside
    own: Estimate
    lines: tuple[PublishedSeries, ...]
    recent: tuple[PublishedSeries, ...]
    frozen: datetime.date
    pooled: Pooled | None = None

    @property
    def series(self) -> int:
        """How many series the recent lines are of: a paper entered split is one."""
        return len({line.cohort for line in self.recent})

    @property
    def is_pooled(self) -> bool:
        """Whether a pooled number is told: lines enough, and the model has an answer."""
        return self.pooled is not None and self.pooled.estimate.value is not None

    @cached_property
    def place(self) -> Place | None:
        """How the service lies to the pooled lines; None where nothing is pooled."""
        if self.pooled is None or not self.is_pooled:
            return None
        return place_of(self.own, self.pooled)

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """All numbers but our own: the lines, and the pooled ones where there are any."""
        pooled = self.pooled.all_estimates if self.pooled is not None and self.is_pooled else ()
        return (*(line.estimate for line in self.lines), *map(self._called, pooled))

    def _called(self, estimate: Estimate) -> Estimate:
        """The estimate under the words of our measure and of what was worked out from others."""
        part = estimate.id.removeprefix(stem(self.one))
        said = f"{about(self.one.id).label}: {WORDS[part]}" if part in WORDS else ""
        return replaced(estimate, label=said)


@dataclass(frozen=True)
class Literature:
    """The comparisons that have a line, what has none, and every line they were chosen from."""

    comparisons: tuple[Comparison, ...]
    lines: tuple[PublishedSeries, ...]
    without: tuple[Beside, ...] = ()

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Every number of the comparisons and of the lines, each once."""
        found = (*(e for c in self.comparisons for e in c.estimates),
                 *(line.estimate for line in self.lines))
        return tuple({(e.id, e.unit): e for e in found}.values())


def beside_literature(
    results: Results, lines: Iterable[PublishedSeries] | None = None,
) -> Literature:
    """Our measures beside published lines (the package's where None).

    results: with the topics NEEDED_TOPICS at least.
    """
    given = published_series() if lines is None else tuple(lines)
    frozen = datetime.date.fromisoformat(results.manifest["date"])
    found = {one: lines_for(one, given) for one in COMPARED}
    return Literature(
        tuple(_compared(results, one, beside, frozen) for one, beside in found.items() if beside),
        given, tuple(one for one, beside in found.items() if not beside))


def _compared(
    results: Results, one: Beside, lines: Sequence[PublishedSeries], frozen: datetime.date,
) -> Comparison:
    recent = lines_pooled(lines, frozen)
    found = Comparison(one, results.one(one.id, one.unit), tuple(lines), tuple(recent), frozen)
    if found.series < FEWEST_SERIES:
        return found
    return replace(found, pooled=pool_proportions(
        [line.estimate.events or 0 for line in recent], [line.estimate.n or 0 for line in recent],
        id=f"{stem(one)}.pooled", unit=one.unit))
