"""What groupings and their levels are called in tables and figures."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from registry.schema import Complications

GROUP_LABELS: Mapping[str, str] = MappingProxyType({
    "sm_grade": "Spetzler–Martin grade", "ponce_class": "Spetzler–Ponce class",
    "intent": "Intent", "agent": "Agent", "period": "Calendar year", "ruptured": "Ruptured",
    "extent": "Extent of embolization", "interval": "Days since the last session",
    "formulation": "Formulation", "operator": "Operator code", "half": "Calendar period",
    "stage": "Stage", "presented": "Presented with", "years": "Years", "kind": "Kind",
    "phase": "Phase", "deficit": "Deficit", Complications.clavien_dindo: "Clavien–Dindo grade",
    Complications.mrs_30d: "mRS at 30 days", "mrs": "mRS", "attribution": "Attribution",
    "mechanism": "Mechanism",
    "rescue": "Rescue", "preventable": "Preventable",
})
"""Grouping column → its heading."""

ROMAN = {"1": "I", "2": "II", "3": "III", "4": "IV", "5": "V"}


def level_label(column: str, level: str) -> str:
    """A level of a grouping as the trade writes it: grade 3 becomes III."""
    return ROMAN.get(level, level) if column == "sm_grade" else level
