"""The words of the estimates on haemorrhage, on time, and on complications in detail."""

from __future__ import annotations

from analyses.measures.catalogue import GROUP_LABELS, About, describe

describe({
    "rate.haemorrhage": About(
        "Haemorrhage", "haemorrhage",
        "distinct haemorrhages (bleeds of a patient within 7 days are one; a bleed that is also "
        "a complication is one; the presenting bleed left out)",
        "patient-years, days/365.25, to death or the last day on which the patient is known about",
    ),
    "rate.haemorrhage.ratio": About(
        "Ratio of haemorrhage rates", "the ratio of haemorrhage rates",
        "the first rate", "the second rate",
    ),
    "time.confirmed_obliteration": About(
        "Obliteration confirmed", "obliteration confirmed by catheter angiography",
        "probability that a catheter angiogram has shown complete occlusion, death competing, "
        "loss censored", "lesions treated, from their first treatment",
    ),
    "time.death_before_obliteration": About(
        "Death before confirmed obliteration", "death before obliteration was confirmed",
        "probability of death before obliteration was confirmed",
        "lesions treated, from their first treatment",
    ),
    "time.confirmed_obliteration_weighted": About(
        "Obliteration confirmed, weighted for loss",
        "obliteration confirmed by catheter angiography, weighted for loss",
        "the same probability, with those still followed standing for those lost of like age, "
        "grade and rupture", "lesions treated, from their first treatment",
    ),
    "time.obliteration_bracketed": About(
        "Obliteration itself, between two images",
        "obliteration itself, known to lie between two images",
        "probability of closure by Turnbull's estimate, each closure between the last day on "
        "which the nidus was open and the day of confirmation",
        "lesions treated, from their first treatment",
    ),
    "time.obliteration_interval_width": About(
        "Time between the two images", "the time between the two images around a closure",
        "days from the last image or treatment with an open nidus to confirmation",
        "lesions of confirmed obliteration",
    ),
    "time.confirmed_obliteration.difference": About(
        "Difference in confirmed obliteration", "the difference in confirmed obliteration",
        "probability in one group less that in the other", "lesions treated",
    ),
    "time.recurrence": About(
        "Recurrence after confirmed obliteration", "recurrence after confirmed obliteration",
        "probability that an image has shown the nidus again, watched to the last image",
        "lesions of confirmed obliteration, from its confirmation",
    ),
    "time.recurrence_bracketed": About(
        "Recurrence itself, between two images",
        "recurrence itself, known to lie between two images",
        "probability of reopening by Turnbull's estimate, each between the last image that showed "
        "closure and the first that showed the nidus",
        "lesions of confirmed obliteration, from its confirmation",
    ),
    "time.haemorrhage_free_survival": About(
        "Alive without haemorrhage", "being alive without haemorrhage",
        "probability of neither haemorrhage nor death", "patients, from their first treatment",
    ),
    "time.first_haemorrhage": About(
        "First haemorrhage", "a first haemorrhage",
        "probability of a haemorrhage, death competing", "patients, from their first treatment",
    ),
    "time.haemorrhage_free_restricted_mean": About(
        "Mean time alive without haemorrhage", "mean time alive without haemorrhage",
        "years alive without haemorrhage within the years given",
        "patients, from their first treatment",
    ),
    "time.haemorrhage_free_restricted_mean.difference": About(
        "Difference in mean time alive without haemorrhage",
        "the difference in mean time alive without haemorrhage",
        "mean years in one group less those in the other", "patients",
    ),
    "time.follow_up": About(
        "Follow-up", "follow-up", "years from the first treatment to the last day known of, "
        "by reverse Kaplan–Meier", "patients treated",
    ),
    "complication.kind": About(
        "Complication by kind", "a complication of this kind",
        "{units} with at least one event of this kind (of the set of embolization "
        "complications)", "{units}",
    ),
    "complication.within_24h": About(
        "Complication within 24 h", "a complication within 24 h of a session",
        "{units} with an event within 24 h", "{units} where the time is known",
    ),
    "complication.after_24h": About(
        "Complication after 24 h, to day 30", "a complication after 24 h, up to day 30",
        "{units} with an event later than 24 h after a session, up to day 30",
        "{units} where the time is known",
    ),
    "complication.transient_deficit": About(
        "Transient deficit", "a transient deficit from an embolization complication",
        "{units} with an event that left a transient deficit",
        "{units} whose outcome at 30 days is known",
    ),
    "complication.clavien_dindo_3": About(
        "Complication of Clavien–Dindo grade III or more",
        "a complication of Clavien–Dindo grade III or more",
        "{units} with an event of grade IIIa or more (Dindo 2004)",
        "{units} without an ungraded event",
    ),
    "complication.worse_at_30d": About(
        "mRS worse 30 days after a complication", "a worse mRS 30 days after a complication",
        "{units} with an event after which the mRS at 30 days was above that before treatment",
        "{units} where it is recorded (no symptoms and no deficit: not worse)",
    ),
    "complication.definite_or_probable": About(
        "Complication, definite or probable",
        "a complication definitely or probably due to the embolization",
        "{units} with an event attributed to the embolization as definite or probable",
        "{units}",
    ),
    "complication.phase": About(
        "Complication by phase", "a complication in this phase",
        "patients with a recorded complication of the phase, whatever it is attributed to",
        "patients who had the treatment of that phase",
    ),
    "complication.event_share": About(
        "Events", "an event at this level", "events at this level",
        "events of the set of embolization complications",
    ),
    "complication.patient_with_retained_catheter": About(
        "Patient with a retained catheter", "a retained catheter",
        "patients with a catheter retained in part or whole, not by design",
        "patients embolized whose retrievals are recorded",
    ),
})

GROUP_LABELS.update({
    "stage": "Stage", "presented": "Presented with", "years": "Years", "kind": "Kind",
    "phase": "Phase", "deficit": "Deficit", "clavien_dindo": "Clavien–Dindo grade",
    "mrs_30d": "mRS at 30 days", "attribution": "Attribution", "mechanism": "Mechanism",
    "rescue": "Rescue", "preventable": "Preventable",
})
