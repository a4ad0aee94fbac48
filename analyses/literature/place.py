"""Where a service lies among series like those pooled: chances of a count, and words.

No P value and no rank: what is said is what share of new series of the service's own size, that
differ among themselves as those pooled do, would show as high a proportion or a higher one, and
as low or lower.
"""

from __future__ import annotations

from dataclasses import dataclass

from analyses.statistics.estimate import Estimate
from analyses.statistics.pooling.pooled_proportion import Pooled
from analyses.words.estimate_text import plural
from analyses.words.numerals import whole

MIDDLE = 0.25
EDGE = 0.025
"""Below MIDDLE on one side: the outer half. Below EDGE: outside what 95 of 100 would show."""
PARTS = (".as_many_or_more", ".as_few_or_fewer")


@dataclass(frozen=True)
class Place:
    """A service's own proportion in the predictive distribution of a new series of its size.

    own: its estimate. events, total: the counts compared, the effective ones where rows repeat
    within patients. as_many, as_few: the two chances, kind "probability", n the
    number of independent units they are worked out for; None where there is no
    prediction, and `words` then say why.
    """

    own: Estimate
    events: float
    total: float
    as_many: Estimate | None
    as_few: Estimate | None
    words: str

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The chances that there are."""
        return tuple(e for e in (self.as_many, self.as_few) if e is not None)


def place_of(own: Estimate, pooled: Pooled, *, id: str = "place") -> Place:
    """The place of `own`, a proportion, among series like those pooled.

    Where rows repeat within patients, own's effective number of rows stands in for its rows, and
    its share of events in that number for its events (Korn and Graubard 1998).
    """
    total = own.effective_n or float(own.n or 0)
    if own.value is None or not total:
        return Place(own, 0.0, 0.0, None, None, "This service has no row to compare.")
    events = own.value * total
    if pooled.new is None:
        return Place(own, events, total, None, None, NOT_PLACED)
    many, few = (
        _chance(own, total, id + part, value) for part, value in zip(PARTS, (
            pooled.new.chance_of_as_many(events, total),
            pooled.new.chance_of_as_few(events, total)), strict=True))
    return Place(own, events, total, many, few, _words(own, total, many, few, len(pooled.events)))


NOT_PLACED = ("There is no prediction interval to place this service in; the lines are set beside "
              "each other.")


def _chance(own: Estimate, total: float, id: str, value: float) -> Estimate:
    return Estimate(id=id, kind="probability", value=value, unit=own.unit, n=round(total),
                    effective_n=own.effective_n, group=own.group,
                    method="predictive distribution of a new series of this size")


def _words(own: Estimate, total: float, many: Estimate, few: Estimate, k: int) -> str:
    units, said = plural(own.unit or "unit"), (many.value or 0.0, few.value or 0.0)
    size = f"{whole(own.n or 0)} {units}"
    if own.n and round(total) != own.n:
        size += f", worth {whole(total)} independent ones because patients repeat"
    many_text, few_text = (e.number_text().partition(",")[0] for e in (many, few))
    return (f"Of new series of this service's size ({size}) that differ as these {k} series do, "
            f"{many_text} would show as high a proportion or a higher one, and {few_text} as low "
            f"or lower: {_where(*said)}.")


def _where(many: float, few: float) -> str:
    side = "higher" if many < few else "lower"
    nearest = min(many, few)
    if nearest >= MIDDLE:
        return "this service lies in the middle half of what such series would show"
    if nearest >= EDGE:
        return (f"this service lies on the {side} side, inside the range of 95 of 100 such series")
    return (f"this service lies on the {side} side, outside the range of 95 of 100 such series; "
            "differences in patients, aims and counting come before any other reading")

