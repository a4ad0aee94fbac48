"""Technique and outcome in the words a clinician uses: exposures with their step, outcomes."""

from __future__ import annotations

import re

from analyses.models.technique_declared import term_of
from analyses.models.technique_outcomes import outcome_of
from analyses.statistics.regression.terms import Term

_LINE = re.compile(r"(?P<name>\w+)(?: \(per (?P<per>[^)]+)\))?(?: \[(?P<level>.+)\])?")


def exposure_words(exposure: Term) -> str:
    """An exposure with the step of its own ratio: `Mean rate, per 0.1 mL/min faster`.

    A plan may state another step than the default one, or a curve; the words follow it.
    """
    one = term_of(exposure.columns[0]) if len(exposure.columns) == 1 else None
    words = exposure.name if one is None else one.label
    if exposure.form == "spline":
        return f"{words}, upper against lower quartile of a curve"
    step = "" if one is None or exposure.form == "factor" else one.step_words(exposure.per)
    return words if one is None or not step else f"{words}, per {step} {one.more}"


def outcome_said(outcome: str, kind: str) -> str:
    """What is higher or lower, as a noun phrase: `risk of any complication`, `blood loss … (mL)`.

    A wanted outcome has a chance, not a risk. kind: the kind of the ratio; of a column without
    words of its own it decides between a level (ratio of geometric means) and a probability.
    """
    found = outcome_of(outcome)
    if found is not None:
        return found.said
    named = outcome.replace("_", " ")
    return named if kind == "ratio of geometric means" else f"probability of {named}"


def more_or_less(outcome: str) -> tuple[str, str]:
    """The words for more and less of an outcome: a time is longer, the rest is higher."""
    found = outcome_of(outcome)
    return ("higher", "lower") if found is None else found.ways


def term_said(term: str) -> str:
    """A line of a model in words: `rate_ml_min (per 0.1)` → `Mean rate, per 0.1 mL/min more`.

    A line without words here (a curve, an interaction, an own column) is named as it stands.
    """
    found = _LINE.fullmatch(term)
    one = term_of(found["name"]) if found is not None else None
    if found is None or one is None:
        return term.replace("_", " ")
    if found["level"]:
        return f"{one.label} ({found['level']})"
    step = one.step_words(float(found["per"] or 1))
    return f"{one.label}, per {step} more" if step else one.label
