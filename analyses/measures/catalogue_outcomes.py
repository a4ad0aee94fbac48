"""The words of the outcome estimates: function, resection, technique, procedures, comparisons.

Importing this module adds them to the catalogue.
"""

from __future__ import annotations

from analyses.measures.baseline import LEVELS, SECTIONS, Described, level_id
from analyses.measures.catalogue import CATALOGUE, About, describe
from analyses.measures.function import MOMENTS
from analyses.measures.headlines import HEADLINE_IDS
from analyses.measures.missing_outcome import QUESTIONED
from analyses.measures.procedures import PER_INJECTION, PER_PATIENT, PER_SESSION
from analyses.population.worsening import CAUSES
from registry.schema import TABLES

SEEN = ("patients with a visit at least 90 days after the last treatment, and all who died "
        "after the first treatment (as mRS 6)")
COPOLYMER = "injections of a liquid copolymer with the value recorded"

FUNCTION = {
    "function.independent": About(
        "Independent (mRS 0–2)", "independence (mRS 0–2) at the last visit",
        "mRS 0–2 at the last visit at least 90 days after the last treatment", SEEN),
    "function.worse": About(
        "Worse than before treatment", "an mRS worse than before treatment",
        "mRS at that visit higher than before the first treatment", SEEN),
}
CAUSE_WORDS = {
    "embolization": "put down to embolization", "resection": "put down to resection",
    "radiosurgery": "put down to radiosurgery",
    "haemorrhage": "put down to haemorrhage outside a procedure",
    "other_death": "death from another cause", "several": "several of these, or inseparable",
    "not_recorded": "nothing on record",
}
CAUSE_COUNTED = {
    "embolization": "a permanent deficit or death from embolization on record",
    "resection": "a permanent deficit or death from resection on record",
    "radiosurgery": "a permanent deficit or death from radiosurgery on record",
    "haemorrhage": "a bleed with a permanent deficit, or death from the lesion, on record",
    "other_death": "dead from another cause", "several": "more than one of these on record",
    "not_recorded": "none of these on record",
}
MOMENT_WORDS = {
    "before": "before treatment", "worst": "at worst since the first treatment",
    "last": "at the last visit",
}
RESECTION = {
    "resection.permanent_deficit": About(
        "New permanent deficit or death after resection",
        "a new permanent deficit or death after resection",
        "a permanent deficit after an operation on the lesion, or a permanent deficit or death "
        "from an event in the phase of the resection",
        "lesions resected whose deficit is known"),
    "resection.complete_by_extent": About(
        "Complete resection", "complete resection on angiography",
        "last resection complete on angiography after the operation",
        "lesions resected with angiography afterwards"),
    "resection.blood_loss_ml": About(
        "Blood loss", "blood loss", "estimated blood loss", "operations with it recorded"),
    "resection.operation_min": About(
        "Operation time", "operation time", "skin to skin", "operations with it recorded"),
    "resection.nights": About(
        "Nights after the operation", "nights in hospital after the operation",
        "nights in hospital after the operation", "operations with them recorded"),
}
TECHNIQUE = {
    "technique.mixing": About(
        "Agent shaken for long enough", "mixing within the practice limit",
        "sessions whose agent was shaken at least as long as the limit",
        "sessions with a liquid copolymer and the time recorded"),
    "technique.dead_space": About(
        "DMSO filled the dead space", "dead space filled within the practice limit",
        "DMSO at least the dead space of the catheter", COPOLYMER),
    "technique.rate": About(
        "Rate within the limit", "a rate within the practice limit",
        "mean rate while pushing not above the limit", COPOLYMER),
    "technique.pause": About(
        "Pauses within the limits", "pauses within the practice limits",
        "no pause above the limit, and none too short after a stop for reflux", COPOLYMER),
    "technique.reflux": About(
        "Reflux limit recorded and kept", "reflux within a recorded limit",
        "reflux limit recorded in advance and not passed", COPOLYMER),
    "technique.halted": About(
        "Halted when called for", "delivery halted when called for",
        "delivery halted where view was lost or resistance felt, or no halt called for",
        COPOLYMER),
    "technique.halted_when_needed": About(
        "Halted, of those that called for it", "delivery halted where a halt was called for",
        "delivery halted", "copolymer injections in which view was lost or resistance felt"),
    "procedure.high_kerma": About(
        "Air kerma of 5 Gy or more", "an air kerma of 5 Gy or more",
        "air kerma at the reference point of 5,000 mGy or more",
        "sessions with the air kerma recorded"),
    "outcome.favourable": About(
        "Favourable outcome", "a favourable outcome",
        "final obliteration confirmed, and no permanent deficit or death from any treatment of "
        "the lesion",
        "lesions treated whose plan is not ongoing (obliterated with a deficit not yet known: "
        "left out)"),
    "obliteration.imaged_confirmed": About(
        "Final obliteration, confirmed, of those imaged",
        "final obliteration confirmed, among lesions imaged",
        "final obliteration confirmed", "lesions imaged after the end of treatment"),
}


def _described() -> dict[str, About]:
    found = {**FUNCTION, **RESECTION, **TECHNIQUE}
    for cause in CAUSES:
        words = CAUSE_WORDS[cause]
        found[f"function.worse.{cause}"] = About(
            f"Worse: {words}", f"an mRS worse than before ({words})",
            f"worse than before, {CAUSE_COUNTED[cause]}", SEEN)
    for moment in MOMENTS:
        words = MOMENT_WORDS[moment]
        found[f"function.mrs_{moment}"] = About(
            f"mRS {words}", f"this mRS {words}", f"this mRS {words}", SEEN)
    stems = ((PER_PATIENT, "procedure"), (PER_SESSION, "procedure"),
             (PER_INJECTION, "injection"))
    for measures, stem in stems:
        for m in measures:
            found[f"{stem}.{m.column}"] = About(
                m.label, m.label.lower(), m.label.lower(), "{units} with it recorded")
    return found | _counts()


def _counts() -> dict[str, About]:
    words = {
        "recorded": "Recorded", "left_out": "Left out of the freeze", "frozen": "In this freeze",
        "treated": "Treated", "embolized": "Embolized", "not_treated": "Not treated",
        "not_embolized": "Treated, but not by embolization", "analysed": "In the analysis",
        "dropped": "Not in the analysis",
    }
    return {f"flow.{id}": About(label, label.lower(), label.lower(), "{units}")
            for id, label in words.items()}


def _compared() -> dict[str, About]:
    found = {}
    for id in HEADLINE_IDS:
        words = CATALOGUE[id]
        found[f"difference.{id}"] = About(
            f"{words.label}: difference", f"the difference in {words.subject}",
            f"{words.counted}: first group less second", words.among)
        found[f"trend.{id}"] = About(
            f"{words.label}: trend", f"the trend of {words.subject}",
            f"{words.counted}: change a step", words.among)
    for id in QUESTIONED:
        words = CATALOGUE[id]
        for way, said in (("complete", "known outcomes only"), ("bounds", "best and worst case"),
                          ("weighted", "weighted for the missing")):
            found[f"missing.{id}.{way}"] = About(
                f"{words.label}, {said}", f"{words.subject} ({said})", words.counted,
                words.among)
    return found


def _characteristics() -> dict[str, About]:
    found = {}
    for _, fields in SECTIONS:
        for field in fields:
            label = field.heading()
            stem = f"baseline.{field.column}"
            found[stem] = About(label, label, label, "{units} with it recorded")
            found[f"{stem}.missing"] = About(
                f"{label}: not recorded", f"{label} not recorded", "not recorded", "{units}")
            for level in _levels_of(field):
                said = label if level == "yes" else f"{label}: {level}"
                found[level_id(field, level)] = About(
                    said, said, said, "{units} with it recorded")
    return found


def _levels_of(field: Described) -> tuple[str, ...]:
    """The levels that can occur: the schema's list, "yes", or small numbers."""
    if field.how != LEVELS:
        return ()
    listed = next((t.by_name[field.column].values for t in TABLES.values()
                   if field.column in t.by_name), ())
    return tuple(listed) or ("yes", *map(str, range(10)))


describe(_described())
describe(_compared())
describe(_characteristics())
