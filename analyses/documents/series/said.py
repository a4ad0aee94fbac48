"""Sentences of a manuscript from its estimates, and words that need no number."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from analyses.content.blocks import Paragraph, Sentence
from analyses.measures.declared import about, shown_at
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.measures.small_cells import SUPPRESSED
from analyses.statistics.estimate import Estimate, replaced


def told(
    results: Results, id: str, unit: str, group: Mapping[str, str] | None = None,
) -> list[Sentence]:
    """The sentence of one estimate, none where there is no such estimate or it is held back."""
    try:
        found = results.one(id, unit, group)
    except KeyError:
        return []
    return [sentence_of(found)] if found.kind != SUPPRESSED else []


def sentence_of(estimate: Estimate, subject: str | None = None) -> Sentence:
    """An estimate in a sentence; years and stages are said in words."""
    words = subject or about(estimate.id).subject
    group = dict(estimate.group or {})
    if set(group) == {"years"}:
        words += f" within {group['years']} year{'' if group['years'] == '1' else 's'}"
        return Sentence(replaced(estimate, group=None).sentence(words), (estimate,))
    if set(group) == {"stage"}:
        return Sentence(replaced(estimate, group=None).sentence(f"{words}, {group['stage']}"),
                        (estimate,))
    return Sentence(estimate.sentence(words), (estimate,))


def paragraph(results: Results, place: Place, *before: str) -> Paragraph:
    """Plain sentences, then one for each measure shown at the place that can be told."""
    return Paragraph((
        *map(Sentence, before),
        *(s for id, unit in shown_at(place) for s in told(results, id, unit))))


def listed(words: Iterable[str]) -> str:
    """`a, b and c`."""
    given = list(words)
    if len(given) < 2:
        return "".join(given)
    return f"{', '.join(given[:-1])} and {given[-1]}"
