"""How patients were able to live: the modified Rankin Scale before, at worst, and at last.

The last score is that of the last visit at least 90 days after the last treatment; who died
after the first treatment counts as 6, whenever that was. A patient with neither leaves the
denominator and is counted beside it, with the bounds that leaves open.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import share
from analyses.measures.measure import Counts, Direction, Measure, Share, Worked
from analyses.measures.places import Place
from analyses.population.unit_frames import Units, once
from analyses.population.worsening import CAUSES, NOT_RECORDED, worsening_causes
from analyses.statistics.estimate import Estimate
from registry.schema import Complications, FollowUps, Patients

DAYS_AFTER = 90
INDEPENDENT = 2
DEAD = 6
SCORES = range(7)
NO_VISIT = f"without a visit at least {DAYS_AFTER} days after the last treatment"
MOMENTS = ("before", "worst", "last")


@once
def functional_outcomes(units: Units) -> pd.DataFrame:
    """Patients treated, with their scores.

    Adds to the patient frame: `mrs_before`, `mrs_worst` (worst since the first treatment, the
    last one included), `mrs_last` (Int64, 0–6), `died` (boolean), `independent` and `worse`
    (boolean, blank without a last score), and `cause` of worsening (text, see `worsening`).
    """
    people = units.tables["patients"].set_index(Patients.patient_id)
    rows = units.patients
    day = rows["key"].map(people[Patients.death_date])
    died = (day >= rows["first_treatment"]).astype("boolean")
    last = _last_visit(units).reindex(rows["key"]).astype("Int64")
    last = pd.Series(last.array, index=rows.index).mask(died, DEAD)
    before = rows["key"].map(people[Patients.mrs_before]).astype("Int64")
    found = rows.assign(
        died=died, mrs_before=before, mrs_last=last,
        mrs_worst=_worst(units, rows, last),
        independent=last.le(INDEPENDENT).astype("boolean"),
        worse=last.gt(before).astype("boolean"),
    )
    causes = worsening_causes(units)
    named = found["key"].map(causes).fillna(NOT_RECORDED).astype("string")
    return found.assign(cause=named.where(found["worse"].fillna(False)))


def _last_visit(units: Units) -> pd.Series:
    """The mRS of each patient's last visit 90 days or more after the last treatment.

    Two visits of one day (one a lesion) that differ: the worse score.
    """
    ends = units.patients.set_index("key")["last_treatment"]
    visits = units.tables["follow_ups"]
    since = (visits[FollowUps.follow_up_date] - visits[Patients.patient_id].map(ends)).dt.days
    kept = visits[since >= DAYS_AFTER].sort_values(
        [Patients.patient_id, FollowUps.follow_up_date, FollowUps.mrs]
    )
    return kept.groupby(Patients.patient_id)[FollowUps.mrs].last()


def _worst(units: Units, rows: pd.DataFrame, last: pd.Series) -> pd.Series:
    """The worst score on record since the first treatment; blank where there is none."""
    start = rows.set_index("key")["first_treatment"]
    visits = units.tables["follow_ups"].rename(columns={FollowUps.follow_up_date: "day"})
    events = units.tables["complications"].rename(columns={Complications.onset_date: "day"})
    scores = [visits[[Patients.patient_id, "day", FollowUps.mrs]]]
    scores += [
        events[[Patients.patient_id, "day", column]].rename(columns={column: "mrs"})
        for column in (Complications.mrs_worst, Complications.mrs_30d, Complications.mrs_90d)
    ]
    long = pd.concat(scores, ignore_index=True).dropna(subset=[FollowUps.mrs])
    long = long[long["day"] >= long[Patients.patient_id].map(start)]
    worst = long.groupby(Patients.patient_id)[FollowUps.mrs].max().reindex(rows["key"])
    return pd.Series(
        pd.concat([pd.Series(worst.array, index=rows.index), last], axis=1).max(axis=1),
        index=rows.index).astype("Int64")


def _event(column: str) -> Counts:
    def counts(units: Units, unit: str) -> pd.DataFrame:
        people = functional_outcomes(units)
        return people.assign(event=people[column])

    return counts


def _put_down_to(cause: str) -> Counts:
    """Worse than before treatment, and put down to this cause in the record."""
    def counts(units: Units, unit: str) -> pd.DataFrame:
        people = functional_outcomes(units)
        mine = people[Complications.cause].eq(cause).fillna(False).astype("boolean")
        return people.assign(event=mine.where(people["worse"].notna()))

    return counts


@once
def distributions(units: Units) -> list[Estimate]:
    """The share of each score before treatment, at worst and at last, of those with a last one.

    `function.mrs_before`, `_worst` and `_last`, one estimate a score; unit: patient treated.
    """
    people = functional_outcomes(units)
    seen = people[people["mrs_last"].notna()]
    return [
        share(seen.assign(event=seen[f"mrs_{moment}"].eq(score).astype("boolean")), "event",
              id=f"function.mrs_{moment}", unit="patient", group={"mrs": str(score)})
        for moment in MOMENTS for score in SCORES
    ]


PATIENT = ("patient",)
SEEN = ("patients with a visit at least 90 days after the last treatment, and all who died "
        "after the first treatment (as mRS 6)")
USES = ("follow_ups.mrs", "follow_ups.follow_up_date", "patients.mrs_before",
        "patients.death_date", "complications.mrs_worst", "complications.mrs_30d",
        "complications.mrs_90d")
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

INDEPENDENCE = Share(
    id="function.independent", units=PATIENT, label="Independent (mRS 0–2)",
    subject="independence (mRS 0–2) at the last visit",
    counted="mRS 0–2 at the last visit at least 90 days after the last treatment", among=SEEN,
    direction=Direction.BENEFIT, counts=_event("independent"), unknown=NO_VISIT,
    shown_in={Place.FUNCTION_TABLE: PATIENT, Place.FUNCTION_TEXT: PATIENT,
              Place.FUNCTION_BY_GROUP: PATIENT, Place.SUMMARY: PATIENT,
              Place.DEFINITIONS: PATIENT, Place.COMPARED: PATIENT, Place.QUESTIONED: PATIENT},
    answers=("avm-endovascular: Deficit and death", "avm-terminology: Function"), uses=USES,
    checked_against="counted by hand on the small cohort")
WORSE = Share(
    id="function.worse", units=PATIENT, label="Worse than before treatment",
    subject="an mRS worse than before treatment",
    counted="mRS at that visit higher than before the first treatment", among=SEEN,
    direction=Direction.HARM, counts=_event("worse"), unknown=NO_VISIT,
    shown_in={Place.FUNCTION_TABLE: PATIENT, Place.FUNCTION_TEXT: PATIENT,
              Place.FUNCTION_BY_GROUP: PATIENT},
    uses=USES, checked_against="counted by hand on the small cohort")
WORSE_BY_CAUSE: tuple[Measure, ...] = tuple(
    Share(
        id=f"function.worse.{cause}", units=PATIENT, label=f"Worse: {CAUSE_WORDS[cause]}",
        subject=f"an mRS worse than before ({CAUSE_WORDS[cause]})",
        counted=f"worse than before, {CAUSE_COUNTED[cause]}", among=SEEN,
        direction=Direction.HARM, counts=_put_down_to(cause), by=(), unknown=NO_VISIT,
        shown_in={Place.FUNCTION_TABLE: PATIENT}, uses=(*USES, "complications.cause"),
        checked_against="counted by hand on the small cohort")
    for cause in CAUSES)
DISTRIBUTIONS: tuple[Measure, ...] = tuple(
    Worked(
        id=f"function.mrs_{moment}", units=PATIENT, label=f"mRS {MOMENT_WORDS[moment]}",
        subject=f"this mRS {MOMENT_WORDS[moment]}", counted=f"this mRS {MOMENT_WORDS[moment]}",
        among=SEEN, work=distributions, uses=USES,
        checked_against="counted by hand on the small cohort")
    for moment in MOMENTS)
