"""What each estimate is called and means, in a clinician's words: one table for every text.

Tables, sentences, figures and documents take their labels from here, so that a measure has one
name wherever it stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class About:
    """An estimate's words: a label for tables, a subject for sentences, what is counted over what.

    `subject` is a noun phrase in the singular. `counted` is the numerator, `among` the
    denominator ("{unit}" stands for the unit of analysis).
    """

    label: str
    subject: str
    counted: str
    among: str

    def definition(self, unit: str) -> str:
        """Numerator over denominator in words, for footnotes and lists of definitions."""
        return f"{self.counted} / {self.among}".replace("{units}", _plural(unit))


CATALOGUE: dict[str, About] = {
    "obliteration.embolization_complete": About(
        "Immediate complete occlusion", "immediate complete occlusion by embolization",
        "occlusion 100 % at the last assessed session before any resection or radiosurgery",
        "lesions embolized and assessed",
    ),
    "obliteration.embolization_near_complete": About(
        "Immediate occlusion of 90 % or more",
        "immediate occlusion of 90 % or more by embolization",
        "occlusion 90 % or more at the last assessed session before any resection or "
        "radiosurgery",
        "lesions embolized and assessed",
    ),
    "obliteration.resection_complete": About(
        "Complete resection", "complete resection on angiography",
        "last resection complete on angiography after the operation",
        "lesions resected with angiography afterwards",
    ),
    "obliteration.final_confirmed": About(
        "Final obliteration, confirmed", "final obliteration confirmed by catheter angiography",
        "the latest catheter angiogram after the end of treatment shows complete occlusion, and "
        "no later imaging shows residual",
        "lesions treated whose plan is not ongoing (never imaged: not confirmed)",
    ),
    "obliteration.final_presumed": About(
        "Final obliteration, confirmed or presumed",
        "final obliteration on catheter, MR or CT angiography",
        "the latest catheter, MR or CT angiogram after the end of treatment shows complete "
        "occlusion",
        "lesions treated whose plan is not ongoing (never imaged: not presumed)",
    ),
    "complication.any": About(
        "Any complication", "any embolization complication",
        "{units} with at least one event: not unrelated to the embolization, onset from "
        "vascular access to 30 days after a session",
        "{units}",
    ),
    "complication.symptomatic": About(
        "Symptomatic complication", "a symptomatic embolization complication",
        "{units} with at least one symptomatic event of that set", "{units}",
    ),
    "complication.haemorrhagic": About(
        "Haemorrhagic complication", "a haemorrhagic complication",
        "{units} with an intracranial haemorrhage or a vessel perforation of that set",
        "{units}",
    ),
    "complication.haemorrhagic_symptomatic": About(
        "Haemorrhagic complication, symptomatic", "a symptomatic haemorrhagic complication",
        "{units} with a symptomatic intracranial haemorrhage or vessel perforation of that set",
        "{units}",
    ),
    "complication.haemorrhagic_without_navigation": About(
        "Haemorrhagic complication, navigation perforation left out",
        "a haemorrhagic complication other than navigation perforation",
        "{units} with an intracranial haemorrhage or vessel perforation of that set whose "
        "mechanism is not navigation perforation",
        "{units} where the mechanism is known",
    ),
    "complication.ischaemic": About(
        "Ischaemic complication", "an ischaemic complication",
        "{units} with an ischaemic stroke, or with an unintended vessel occlusion, "
        "thromboembolism or dissection that left a deficit",
        "{units}",
    ),
    "complication.permanent_deficit": About(
        "Permanent deficit or death from embolization",
        "permanent deficit or death from an embolization complication",
        "{units} with an event of that set that left a permanent deficit or death",
        "{units} whose outcome at 30 days is known",
    ),
    "complication.death_30d": About(
        "Death from a complication within 30 days",
        "death from an embolization complication within 30 days",
        "{units} with a death from an event of that set within 30 days of the session",
        "{units} whose vital status at 30 days is known",
    ),
    "death.all_cause_30d": About(
        "Death from any cause within 30 days",
        "death from any cause within 30 days of a session",
        "{units} followed by death from any cause within 30 days",
        "{units} whose vital status at 30 days is known",
    ),
    "complication.retained_catheter": About(
        "Retained catheter", "a catheter retained in part or whole, not by design",
        "catheters retained in part or whole, not by design",
        "catheters used whose retrieval is recorded",
    ),
    "combined.permanent_deficit_or_death": About(
        "Permanent deficit or death from any treatment",
        "a new permanent deficit or death from any treatment phase",
        "patients with a new permanent deficit or death from embolization, resection or "
        "radiosurgery",
        "patients starting treatment whose status is known",
    ),
}
"""Estimate id → its words. Other rooms of `analyses` add theirs with `describe`."""


def describe(entries: Mapping[str, About]) -> None:
    """Add the words of more estimates. Raises ValueError where an id has other words already."""
    for id, about in entries.items():
        if CATALOGUE.setdefault(id, about) != about:
            raise ValueError(f"{id} is described twice, in different words.")


def about(id: str) -> About:
    """The words of an estimate; an id that is not listed speaks for itself."""
    return CATALOGUE.get(id) or About(id, id, id, "{units}")


GROUP_LABELS = {
    "sm_grade": "Spetzler–Martin grade", "ponce_class": "Spetzler–Ponce class",
    "intent": "Intent", "agent": "Agent", "period": "Calendar year", "ruptured": "Ruptured",
    "extent": "Extent of embolization", "interval": "Days since the last session",
    "formulation": "Formulation", "operator": "Operator code", "half": "Calendar period",
}
"""Grouping column → its heading."""

ROMAN = {"1": "I", "2": "II", "3": "III", "4": "IV", "5": "V"}


def level_label(column: str, level: str) -> str:
    """A level of a grouping as the trade writes it: grade 3 becomes III."""
    return ROMAN.get(level, level) if column == "sm_grade" else level


def _plural(unit: str) -> str:
    return unit if unit.endswith("s") else f"{unit}s"
