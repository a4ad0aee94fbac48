"""Sentences about fitted models: "associated with", the events behind it, never a P alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.estimate import Estimate

if TYPE_CHECKING:
    from analyses.regression.planned_run import PlannedResult

MARK = {"planned": "", "exploratory": "Exploratory (not in the plan): "}


def ratio_text(one: Estimate) -> str:
    """`1.84 (1.10–3.07)`, or words where no number is given."""
    if one.value is None:
        return "no number can be given"
    return f"{one.value:.2f} ({one.low:.2f}–{one.high:.2f})"


def _direction(one: Estimate) -> str:
    if one.low is not None and one.low > 1:
        return "associated with a higher"
    if one.high is not None and one.high < 1:
        return "associated with a lower"
    return "not shown to be associated with the"


def ratio_sentence(one: Estimate, outcome: str, per: str = "") -> str:
    """What one ratio says of an outcome.

    An interval that includes 1 leaves the question open: the sentence then says which ratios
    the data are compatible with, not that there is no association.
    """
    term = (one.group or {}).get("term", one.id)
    base = "risk" if one.kind != "ratio of geometric means" else "level"
    counted = f"{one.events} events in " if one.events is not None else ""
    behind = (f"{counted}{one.n} {one.unit}s of {one.clusters} patients")
    if one.value is None:
        return f"{term}: these data cannot answer ({behind})."
    start = (f"{term} is {_direction(one)} {base} of {outcome}: {one.kind}{per} "
             f"{ratio_text(one)}; {behind}")
    if one.low is not None and one.high is not None and one.low <= 1 <= one.high:
        return start + "; the interval includes no association, so the question stays open."
    return start + "."


def result_sentence(result: PlannedResult) -> str:
    """One sentence for a planned result, marked where it was not planned."""
    outcome = result.model.outcome.replace("_", " ")
    mark = MARK[result.status]
    if result.fit is None:
        return f"{mark}{result.model.name}: not fitted, because {result.refusal}."
    if result.fit.estimator == "exact":
        return f"{mark}{result.model.name}: {result.fit.why} {' '.join(result.fit.warnings[:1])}"
    return mark + " ".join(ratio_sentence(one, outcome) for one in result.ratios)
