"""The outcomes that technique is asked for: unit, column, the measure behind it, and words."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.measures.harm import ANY, PERMANENT_DEFICIT
from analyses.measures.measure import Measure
from analyses.measures.obliteration import EMBOLIZATION_COMPLETE
from analyses.measures.resection import BLOOD_LOSS, DURATION
from registry.schema import Resections


@dataclass(frozen=True, kw_only=True)
class TechniqueOutcome:
    """One outcome of the technique models.

    name: in the names of models. unit, column: what a row is, and where the outcome stands.
    measure: the one it is. label: as a heading; said: as what is higher or lower. ways: the words
    for more and less of it. estimator: see the plan.
    """

    name: str
    unit: str
    column: str
    measure: Measure
    label: str
    said: str
    ways: tuple[str, str] = ("higher", "lower")
    estimator: str = "auto"


OUTCOMES = (
    TechniqueOutcome(
        name="complication", unit="session", column="event", measure=ANY,
        label="Any complication", said="risk of any complication"),
    TechniqueOutcome(
        name="complete obliteration", unit="lesion", column="obliterated",
        measure=EMBOLIZATION_COMPLETE, label="Immediate complete occlusion",
        said="chance of immediate complete occlusion"),
    TechniqueOutcome(
        name="permanent deficit", unit="patient", column="permanent_deficit",
        measure=PERMANENT_DEFICIT, label="Permanent deficit or death from embolization",
        said="risk of a permanent deficit or death from embolization"),
    TechniqueOutcome(
        name="blood loss", unit="resection", column=Resections.blood_loss_ml, measure=BLOOD_LOSS,
        label="Blood loss of the resection", said="blood loss of the resection (mL)",
        estimator="log-linear"),
    TechniqueOutcome(
        name="operation time", unit="resection", column=Resections.operation_min,
        measure=DURATION, label="Operation time of the resection",
        said="operation time of the resection (min)", ways=("longer", "shorter"),
        estimator="log-linear"),
)
"""In the order of the report; a wanted outcome has a chance, the others a risk."""


def outcome_of(column: str) -> TechniqueOutcome | None:
    """The outcome that stands in a column; None for one of the service's own."""
    return next((one for one in OUTCOMES if one.column == column), None)


def outcome_label(column: str) -> str:
    """An outcome as a heading; one without words here by its column."""
    found = outcome_of(column)
    return found.label if found else column
