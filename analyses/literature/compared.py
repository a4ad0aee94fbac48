"""What of ours is set beside what of others, which lines count the same thing, and what differs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analyses.literature.published import PublishedSeries, published_series
from analyses.measures.harm import (
    ANY,
    HAEMORRHAGIC_EVENT,
    HAEMORRHAGIC_WITHOUT_NAVIGATION,
    PERMANENT_DEFICIT,
    SYMPTOMATIC,
)
from analyses.measures.obliteration import EMBOLIZATION_COMPLETE


@dataclass(frozen=True)
class Beside:
    """One of our measures, and the words of the published ones that count most nearly the same.

    published: how the measures of lines to be shown begin. alike: the measures, word for word,
    that count one thing and may be pooled. difference: why ours and theirs are not quite the
    same. apart: why lines that are shown are not pooled.
    """

    id: str
    unit: str
    published: tuple[str, ...]
    alike: tuple[str, ...]
    difference: str
    apart: str = ""


NOT_ONE_THING = ("A clinically significant complication and any new deficit are counts of "
                 "different things: they are not pooled with each other.")

COMPARED = (
    Beside(ANY.id, "session", ANY.comparable, ("any complication",),
           "Papers differ in how long after a session they look, and in whether an event without "
           "symptoms counts; ours counts 30 days and every recorded event."),
    Beside(SYMPTOMATIC.id, "session", SYMPTOMATIC.comparable,
           ("any new deficit",),
           "A clinically significant complication and a new deficit are not the same as a "
           "symptomatic event; they are the nearest that was printed.", NOT_ONE_THING),
    Beside(SYMPTOMATIC.id, "patient", SYMPTOMATIC.comparable,
           ("any new deficit",),
           "A clinically significant complication and a new deficit are not the same as a "
           "symptomatic event; they are the nearest that was printed. A patient with several "
           "sessions has several chances of an event.",
           NOT_ONE_THING),
    Beside(PERMANENT_DEFICIT.id, "session", PERMANENT_DEFICIT.comparable,
           ("permanent deficit or death",),
           "Ours includes death; the paper's own words stand in its line.",
           "Counts of deficits alone are not pooled with counts that include death, as ours do."),
    Beside(PERMANENT_DEFICIT.id, "patient", PERMANENT_DEFICIT.comparable,
           ("permanent deficit or death",),
           "Ours includes death; the paper's own words stand in its line.",
           "Counts of deficits alone, or of severe ones alone (mRS over 2), are not pooled with "
           "counts that include death, as ours do."),
    Beside(HAEMORRHAGIC_EVENT.id, "session", HAEMORRHAGIC_EVENT.comparable,
           ("haemorrhagic complication",),
           "Ours includes vessel perforation without symptoms. Papers differ in the agent and in "
           "how long after a session they look."),
    Beside(HAEMORRHAGIC_WITHOUT_NAVIGATION.id, "session",
           HAEMORRHAGIC_WITHOUT_NAVIGATION.comparable,
           ("haemorrhage unrelated to arterial perforation",),
           "Ours leaves out perforation by navigation only; one published line leaves out "
           "perforation by navigation or by catheter retrieval, the other is of a transvenous "
           "cohort.", "Transvenous and transarterial embolization are not pooled."),
    Beside(EMBOLIZATION_COMPLETE.id, "lesion",
           EMBOLIZATION_COMPLETE.comparable, ("complete obliteration by embolization",),
           "A service that embolizes before a resection does not aim at closing the nidus by "
           "embolization alone."),
)
"""What is set beside what, what is pooled, and why the two are not quite the same."""


def lines_for(
    one: Beside, lines: Iterable[PublishedSeries] | None = None,
) -> list[PublishedSeries]:
    """The published lines of the same unit whose measure begins with one of the words.

    lines: a table of one's own; the package's where None.
    """
    return [line for line in (published_series() if lines is None else lines)
            if line.unit == one.unit and line.measure.startswith(one.published)]


def lines_pooled(one: Beside, lines: Iterable[PublishedSeries]) -> list[PublishedSeries]:
    """Those that may be pooled: counts printed, word for word one measure, one line a cohort.

    Two counts of one paper, or of one hospital in overlapping years, are counts of the same
    patients: the one with the most units stands for both.
    """
    kept: dict[str, PublishedSeries] = {}
    for line in lines:
        if line.measure in one.alike and line.estimate.value is not None:
            other = kept.get(line.cohort)
            if other is None or (line.estimate.n or 0) > (other.estimate.n or 0):
                kept[line.cohort] = line
    return list(kept.values())
