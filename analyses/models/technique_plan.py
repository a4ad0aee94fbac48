"""The plan used where a service has written none: one technique variable at a time."""

from __future__ import annotations

import datetime

from analyses.models.model_plan import Plan, PlannedModel
from analyses.statistics.regression.terms import Term
from registry.schema import Injections, Resections

ADJUST = (
    (Term(("sm_grade",), "linear"), "graver lesions get other techniques and bleed more"),
    (Term(("ruptured",), "linear"), "a ruptured lesion is treated sooner, in a sicker patient"),
    (Term(("case_number",), "linear", per=50.0),
     "technique and results both change with experience"),
)
# Steps a clinician can picture: a tenth of the nidus volume, 0.1 mL/min, half a minute.
TECHNIQUE = (
    Term(("pedicles",), "linear"),
    Term((Injections.agent_ml,), "linear"),
    Term(("agent_per_nidus",), "linear", per=0.1),
    Term(("rate_ml_min",), "linear", per=0.1),
    Term((Injections.longest_pause_s,), "linear", per=30.0),
    Term(("formulation",), "factor"),
    Term(("reflux_past_limit",), "linear"),
    Term((Injections.venous_passage,), "factor", reference="none"),
)
# Each outcome, the unit whose rows it is asked of, and the column it stands in.
OUTCOMES = (
    ("complication", "session", "event"),
    ("complete obliteration", "lesion", "obliterated"),
    ("permanent deficit", "patient", "permanent_deficit"),
    ("blood loss", "resection", Resections.blood_loss_ml),
    ("operation time", "resection", Resections.operation_min),
)


def default_plan(date: datetime.date) -> Plan:
    """Every technique variable with every outcome, adjusted for sm_grade, ruptured, case_number.

    Gaps in technique that was there but not recorded are imputed; the complete rows stand beside.
    date: the day the plan is adopted, which must lie before the data are looked at.
    """
    models = tuple(
        PlannedModel(
            name=f"{outcome} by {term.name}", unit=unit, outcome=column, exposure=term,
            adjust=tuple(term for term, _ in ADJUST), why=tuple(why for _, why in ADJUST),
            estimator="log-linear" if unit == "resection" else "auto", missing="imputation")
        for outcome, unit, column in OUTCOMES
        for term in TECHNIQUE
    )
    return Plan("Technique and outcome, default plan", date, models,
                note="One technique variable a model: few events carry few terms.")
