"""What of ours is set beside what of others: the same code and the same unit, and all of those."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

from analyses.literature.published import PublishedSeries, published_series
from analyses.measures.declared import all_measures
from analyses.measures.harm import (
    ANY,
    HAEMORRHAGIC_EVENT,
    HAEMORRHAGIC_WITHOUT_NAVIGATION,
    NEW_DEFICIT,
    PERMANENT_DEFICIT,
    SYMPTOMATIC,
)
from analyses.measures.obliteration import EMBOLIZATION_COMPLETE

YEARS = 15
"""Lines published longer than this before the freeze are shown and not pooled."""
FEWEST_SERIES = 5
"""Under this many series of the last YEARS nothing is pooled and no place is given."""

DIFFERENCES = {
    ANY.id:
        "Papers differ in how long after a session they look, and in whether an event without "
        "symptoms counts; ours counts 30 days and every recorded event.",
    SYMPTOMATIC.id:
        "Papers differ in what they call clinically significant; ours counts every event with "
        "symptoms, a deficit or death within 30 days.",
    NEW_DEFICIT.id:
        "Papers differ in who looks for a deficit and when; ours counts every recorded deficit, "
        "lasting or not, and death, among those whose outcome at 30 days is known.",
    PERMANENT_DEFICIT.id:
        "Papers differ in when a deficit is called permanent; ours counts those still there after "
        "30 days, and death.",
    HAEMORRHAGIC_EVENT.id:
        "Ours includes vessel perforation without symptoms. Papers differ in the agent and in "
        "how long after a session they look.",
    HAEMORRHAGIC_WITHOUT_NAVIGATION.id:
        "Ours leaves out perforation by navigation only; a published line may be of transvenous "
        "embolization, which its agent says.",
    EMBOLIZATION_COMPLETE.id:
        "A service that embolizes before a resection does not aim at closing the nidus by "
        "embolization alone.",
}
"""Why ours and theirs are not quite the same though they share a code."""


@dataclass(frozen=True)
class Beside:
    """One of our measures in one unit, and the definition code of the lines set beside it.

    difference: why ours and theirs are still not quite the same; empty where nothing is written.
    """

    id: str
    unit: str
    code: str
    difference: str = ""


COMPARED = tuple(
    Beside(measure.id, unit, code, DIFFERENCES.get(measure.id, ""))
    for measure in all_measures().values() for code in measure.comparable for unit in measure.units)
"""Every declared pair of a measure and a code, in every unit the measure is given in."""


def beside(id: str, unit: str) -> Beside | None:
    """What this measure is set beside in this unit; None where it declares no code."""
    return next((one for one in COMPARED if (one.id, one.unit) == (id, unit)), None)


def lines_for(
    one: Beside, lines: Iterable[PublishedSeries] | None = None,
) -> list[PublishedSeries]:
    """Every published line of the same unit and the same code.

    lines: a table of one's own; the package's where None.
    """
    return [line for line in (published_series() if lines is None else lines)
            if line.unit == one.unit and line.code == one.code]


def lines_pooled(
    lines: Iterable[PublishedSeries], frozen: datetime.date,
) -> list[PublishedSeries]:
    """Those of the last YEARS before the freeze that print counts, no patient counted twice.

    Two counts of one paper, or of one hospital in overlapping years, are counts of the same
    patients: the one with the most units stands for both. Parts of a paper that is entered split
    are other patients each: all of them stand, unless the whole is entered too.
    """
    kept: dict[str, list[PublishedSeries]] = {}
    for line in lines:
        if line.estimate.value is not None and is_recent(line, frozen):
            kept.setdefault(line.cohort, []).append(line)
    return [line for same in kept.values() for line in _standing(same)]


def is_recent(line: PublishedSeries, frozen: datetime.date) -> bool:
    """Whether a line was published in the last YEARS, counted from the freeze's date."""
    return frozen.year - line.year <= YEARS


def _standing(same: list[PublishedSeries]) -> list[PublishedSeries]:
    whole = [line for line in same if not line.subgroup]
    return [max(whole, key=lambda line: line.estimate.n or 0)] if whole else same
