"""Sentences about fitted models: "associated with", the events behind it, never a P alone."""

from __future__ import annotations

from analyses.models.outcome_words import more_or_less, outcome_said, term_said
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import ratio, span


def ratio_text(one: Estimate) -> str:
    """`1.84 (1.10–3.07)`, or words where no number is given."""
    if one.value is None:
        return "no number can be given"
    if one.low is None or one.high is None:
        return ratio(one.value)
    return f"{ratio(one.value)} ({span(ratio(one.low), ratio(one.high))})"


def _direction(one: Estimate, outcome: str) -> str:
    more, less = more_or_less(outcome)
    if one.low is not None and one.low > 1:
        return f"associated with a {more}"
    if one.high is not None and one.high < 1:
        return f"associated with a {less}"
    return "not shown to be associated with the"


def ratio_sentence(one: Estimate, outcome: str, subject: str = "") -> str:
    """What one ratio says of an outcome, which is named by its column.

    subject: what goes with it, in words; from the ratio's own line where blank.

    An interval that includes 1 leaves the question open: the sentence then says which ratios
    the data are compatible with, not that there is no association.
    """
    term = subject or term_said((one.group or {}).get("term", one.id))
    behind = _behind(one)
    if one.value is None:
        return f"{term}: these data cannot answer ({behind})."
    start = (f"{term}: {_direction(one, outcome)} {outcome_said(outcome, one.kind)}, {one.kind} "
             f"{ratio_text(one)}; {behind}")
    if one.low is not None and one.high is not None and one.low <= 1 <= one.high:
        return start + "; the interval includes no association, so the question stays open."
    return start + "."


def _behind(one: Estimate) -> str:
    """`12 events in 281 sessions of 150 patients`."""
    counted = "" if one.events is None else (
        f"{one.events:,} {'event' if one.events == 1 else 'events'} in ")
    return f"{counted}{one.n:,} {plural(one.unit)} of {one.clusters:,} patients"
