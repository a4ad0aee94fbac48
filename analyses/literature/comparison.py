"""Each of our measures beside the published lines: those pooled, and the service's place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analyses.literature import place as places
from analyses.literature.compared import COMPARED, Beside, lines_for, lines_pooled
from analyses.literature.place import Place, place_of
from analyses.literature.published import PublishedSeries
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
    f".place{places.PARTS[0]}": "new series of this size with as high a proportion or higher",
    f".place{places.PARTS[1]}": "new series of this size with as low a proportion or lower",
}


def stem(one: Beside) -> str:
    """How the ids of a comparison's estimates begin."""
    return f"literature.{one.id}"


@dataclass(frozen=True)
class Comparison:
    """One measure: our own estimate, the lines beside it, those pooled, and our place.

    `pooled` is worked out for all alike, and told where `is_pooled`.
    """

    one: Beside
    own: Estimate
    lines: tuple[PublishedSeries, ...]
    alike: tuple[PublishedSeries, ...]
    pooled: Pooled
    place: Place

    @property
    def is_pooled(self) -> bool:
        """Whether a pooled number is told: three lines or more, and the model has an answer.

        Of two the interval is of almost any width, and no number says more than the two lines.
        """
        return (len(self.alike) >= pooling.FEWEST_PREDICTED
                and self.pooled.estimate.value is not None)

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """All numbers but our own: the lines, the pooled ones where there are any, the place."""
        pooled = self.pooled.all_estimates if self.is_pooled else ()
        own = tuple(self._called(e) for e in (*pooled, *self.place.estimates))
        return (*(line.estimate for line in self.lines), *own)

    def _called(self, estimate: Estimate) -> Estimate:
        """The estimate under the words of our measure and of what was worked out from others."""
        part = estimate.id.removeprefix(stem(self.one))
        said = f"{about(self.one.id).label}: {WORDS[part]}" if part in WORDS else ""
        return replaced(estimate, label=said)


@dataclass(frozen=True)
class Literature:
    """All comparisons, and every published line they were chosen from."""

    comparisons: tuple[Comparison, ...]
    lines: tuple[PublishedSeries, ...]

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
    from analyses.literature.published import published_series

    given = published_series() if lines is None else tuple(lines)
    return Literature(tuple(_compared(results, one, given) for one in COMPARED), given)


def _compared(
    results: Results, one: Beside, given: Sequence[PublishedSeries],
) -> Comparison:
    own, lines = results.one(one.id, one.unit), lines_for(one, given)
    alike = lines_pooled(one, lines)
    pooled = pool_proportions(
        [line.estimate.events or 0 for line in alike], [line.estimate.n or 0 for line in alike],
        id=f"{stem(one)}.pooled", unit=one.unit)
    return Comparison(one, own, tuple(lines), tuple(alike), pooled,
                      place_of(own, pooled, id=f"{stem(one)}.place"))
