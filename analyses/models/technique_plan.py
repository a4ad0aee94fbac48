"""The plan used where a service has written none: one technique variable at a time."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from analyses.models.model_plan import Plan, PlannedModel
from analyses.models.technique_declared import offered
from analyses.models.technique_outcomes import OUTCOMES
from analyses.statistics.regression.terms import Term


@dataclass(frozen=True)
class Adjustment:
    """What every model holds the same where the plan does not say otherwise.

    label: its words in a table; said: in a sentence.
    """

    term: Term
    why: str
    label: str
    said: str


ADJUST = (
    Adjustment(Term(("sm_grade",), "linear"), "graver lesions get other techniques and bleed more",
               "Spetzler–Martin grade", "Spetzler–Martin grade"),
    Adjustment(Term(("ruptured",), "linear"),
               "a ruptured lesion is treated sooner, in a sicker patient",
               "rupture before treatment", "rupture before treatment"),
    Adjustment(Term(("case_number",), "linear", per=50.0),
               "technique and results both change with experience",
               "case number", "the operator's case number"),
)


def adjustment_of(column: str) -> Adjustment | None:
    """What is held the same in a column; None for a column that is not of the default plan."""
    return next((one for one in ADJUST if one.term.name == column), None)


def default_plan(date: datetime.date) -> Plan:
    """Every outcome by every technique variable offered for it, adjusted as in `ADJUST`.

    Gaps in technique that was there but not recorded are imputed; the complete rows stand beside.
    date: the day the plan is adopted, which must lie before the data are looked at.
    """
    models = tuple(
        PlannedModel(
            name=f"{outcome.name} by {term.id}", unit=outcome.unit, outcome=outcome.column,
            exposure=term.exposure, adjust=tuple(held.term for held in ADJUST),
            why=tuple(held.why for held in ADJUST), estimator=outcome.estimator,
            missing="imputation")
        for outcome in OUTCOMES for term in offered(outcome.measure))
    return Plan("Technique and outcome, default plan", date, models,
                note="One technique variable a model: few events carry few terms.")
