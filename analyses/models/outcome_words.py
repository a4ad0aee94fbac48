"""The words a clinician uses for the columns of the technique models: outcomes and exposures."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from registry.schema import Injections, Resections

if TYPE_CHECKING:
    from analyses.statistics.regression.terms import Term

OUTCOME_WORDS = {
    "event": "Any complication",
    "obliterated": "Immediate complete occlusion",
    "permanent_deficit": "Permanent deficit or death from embolization",
    Resections.blood_loss_ml: "Blood loss of the resection",
    Resections.operation_min: "Operation time of the resection",
}
"""Outcome column → its words, as a heading."""

TECHNIQUE_WORDS = {
    "pedicles": "Pedicles treated",
    Injections.agent_ml: "Agent volume",
    "agent_per_nidus": "Agent per mL of nidus",
    "rate_ml_min": "Mean rate",
    Injections.longest_pause_s: "Longest pause",
    "formulation": "Formulation",
    "reflux_past_limit": "Reflux past the agreed limit",
    Injections.venous_passage: "Agent in the draining vein",
}
"""Exposure column → its words; the step of a ratio is added by `exposure_words`."""

MEASURED_IN = {
    "pedicles": "pedicles",
    Injections.agent_ml: "mL",
    "agent_per_nidus": "mL/mL",
    "rate_ml_min": "mL/min",
    Injections.longest_pause_s: "s",
}
"""Exposure column → the unit its values are in."""

_OUTCOME_SAID = {
    "event": "risk of any complication",
    "obliterated": "chance of immediate complete occlusion",
    "permanent_deficit": "risk of a permanent deficit or death from embolization",
    Resections.blood_loss_ml: "blood loss of the resection (mL)",
    Resections.operation_min: "operation time of the resection (min)",
}
# A step is of one: one pedicle, one mL of agent a mL of nidus.
_STEPS = {**MEASURED_IN, "pedicles": "pedicle", "agent_per_nidus": "mL"}
_MORE = {"rate_ml_min": "faster", Injections.longest_pause_s: "longer"}
_TERM = re.compile(r"(?P<name>\w+)(?: \(per (?P<per>[^)]+)\))?(?: \[(?P<level>.+)\])?")


def exposure_words(exposure: Term) -> str:
    """An exposure with the step of its own ratio: `Mean rate, per 0.1 mL/min faster`.

    A plan may state another step than the default one, or a curve; the words follow it.
    """
    name = exposure.columns[0]
    words = TECHNIQUE_WORDS.get(exposure.name, exposure.name)
    if exposure.form == "spline":
        return f"{words}, upper against lower quartile of a curve"
    if name not in _STEPS or exposure.form == "factor" or len(exposure.columns) > 1:
        return words
    step = _STEPS[name] if exposure.per == 1 else f"{exposure.per:g} {_STEPS[name]}"
    return f"{words}, per {step} {_MORE.get(name, 'more')}"


def outcome_said(outcome: str, kind: str) -> str:
    """What is higher or lower, as a noun phrase: `risk of any complication`, `blood loss … (mL)`.

    A wanted outcome has a chance, not a risk. kind: the kind of the ratio; of a column without
    words here it decides between a level (ratio of geometric means) and a probability.
    """
    if outcome in _OUTCOME_SAID:
        return _OUTCOME_SAID[outcome]
    named = outcome.replace("_", " ")
    return named if kind == "ratio of geometric means" else f"probability of {named}"


def more_or_less(outcome: str) -> tuple[str, str]:
    """The words for more and less of an outcome: a time is longer, the rest is higher."""
    return ("longer", "shorter") if outcome == Resections.operation_min else ("higher", "lower")


def term_said(term: str) -> str:
    """A line of a model in words: `rate_ml_min (per 0.1)` → `Mean rate, per 0.1 mL/min more`.

    A line without words here (a curve, an interaction, an own column) is named as it stands.
    """
    found = _TERM.fullmatch(term)
    if found is None or found["name"] not in TECHNIQUE_WORDS:
        return term.replace("_", " ")
    name = found["name"]
    words = TECHNIQUE_WORDS[name]
    if found["level"]:
        return f"{words} ({found['level']})"
    if name not in _STEPS:
        return words
    step = f"{found['per']} " if found["per"] else ""
    return f"{words}, per {step}{_STEPS[name]} more"
