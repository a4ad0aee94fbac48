"""The plan used where a service has written none: one technique variable at a time."""

from __future__ import annotations

import datetime

from analyses.models.model_plan import Plan, PlannedModel
from analyses.models.technique_declared import offered
from analyses.models.technique_outcomes import OUTCOMES
from analyses.statistics.regression.terms import Term

ADJUST = (
    (Term(("sm_grade",), "linear"), "graver lesions get other techniques and bleed more"),
    (Term(("ruptured",), "linear"), "a ruptured lesion is treated sooner, in a sicker patient"),
    (Term(("case_number",), "linear", per=50.0),
     "technique and results both change with experience"),
)


def default_plan(date: datetime.date) -> Plan:
    """Every outcome by every technique variable offered for it, adjusted as in `ADJUST`.

    Gaps in technique that was there but not recorded are imputed; the complete rows stand beside.
    date: the day the plan is adopted, which must lie before the data are looked at.
    """
    models = tuple(
        PlannedModel(
            name=f"{outcome.name} by {term.id}", unit=outcome.unit, outcome=outcome.column,
            exposure=term.exposure, adjust=tuple(held for held, _ in ADJUST),
            why=tuple(why for _, why in ADJUST), estimator=outcome.estimator,
            missing="imputation")
        for outcome in OUTCOMES for term in offered(outcome.measure))
    return Plan("Technique and outcome, default plan", date, models,
                note="One technique variable a model: few events carry few terms.")
