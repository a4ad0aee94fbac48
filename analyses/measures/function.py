"""How patients were able to live: the modified Rankin Scale before, at worst, and at last.

The last score is that of the last visit at least 90 days after the last treatment; who died
after the first treatment counts as 6, whenever that was. A patient with neither leaves the
denominator and is counted beside it, with the bounds that leaves open.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import share, shares
from analyses.population.unit_frames import Units
from analyses.population.worsening import CAUSES, NOT_RECORDED, worsening_causes
from analyses.statistics.estimate import Estimate

DAYS_AFTER = 90
INDEPENDENT = 2
DEAD = 6
SCORES = range(7)
NO_VISIT = f"without a visit at least {DAYS_AFTER} days after the last treatment"
MOMENTS = ("before", "worst", "last")


def function_estimates(units: Units) -> list[Estimate]:
    """All function.* estimates: independence, worsening, its causes, and the mRS distributions.

    Unit: patient treated in any way. The distributions (`function.mrs_before`, `_worst`,
    `_last`, one estimate a score) and the causes rest on the patients with a last score.
    """
    people = functional_outcomes(units)
    named = {"unit": "patient", "unknown": NO_VISIT}
    found = [
        *shares(people, "independent", id="function.independent", **named),
        *shares(people, "worse", id="function.worse", **named),
    ]
    for cause in CAUSES:
        mine = people["cause"].eq(cause).fillna(False).astype("boolean")
        mine = mine.where(people["worse"].notna())
        found.append(share(people.assign(event=mine), "event", id=f"function.worse.{cause}",
                           **named))
    return found + distributions(people)


def distributions(people: pd.DataFrame) -> list[Estimate]:
    """The share of each score before treatment, at worst and at last, of those with a last one."""
    seen = people[people["mrs_last"].notna()]
    return [
        share(seen.assign(event=seen[f"mrs_{moment}"].eq(score).astype("boolean")), "event",
              id=f"function.mrs_{moment}", unit="patient", group={"mrs": str(score)})
        for moment in MOMENTS for score in SCORES
    ]


def functional_outcomes(units: Units) -> pd.DataFrame:
    """Patients treated, with their scores.

    Adds to the patient frame: `mrs_before`, `mrs_worst` (worst since the first treatment, the
    last one included), `mrs_last` (Int64, 0–6), `died` (boolean), `independent` and `worse`
    (boolean, blank without a last score), and `cause` of worsening (text, see `worsening`).
    """
    people = units.tables["patients"].set_index("patient_id")
    rows = units.patients
    day = rows["key"].map(people["death_date"])
    died = (day >= rows["first_treatment"]).astype("boolean")
    last = _last_visit(units).reindex(rows["key"]).astype("Int64")
    last = pd.Series(last.array, index=rows.index).mask(died, DEAD)
    before = rows["key"].map(people["mrs_before"]).astype("Int64")
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
    since = (visits["follow_up_date"] - visits["patient_id"].map(ends)).dt.days
    kept = visits[since >= DAYS_AFTER].sort_values(["patient_id", "follow_up_date", "mrs"])
    return kept.groupby("patient_id")["mrs"].last()


def _worst(units: Units, rows: pd.DataFrame, last: pd.Series) -> pd.Series:
    """The worst score on record since the first treatment; blank where there is none."""
    start = rows.set_index("key")["first_treatment"]
    visits = units.tables["follow_ups"].rename(columns={"follow_up_date": "day"})
    events = units.tables["complications"].rename(columns={"onset_date": "day"})
    scores = [visits[["patient_id", "day", "mrs"]]]
    scores += [events[["patient_id", "day", column]].rename(columns={column: "mrs"})
               for column in ("mrs_worst", "mrs_30d", "mrs_90d")]
    long = pd.concat(scores, ignore_index=True).dropna(subset=["mrs"])
    long = long[long["day"] >= long["patient_id"].map(start)]
    worst = long.groupby("patient_id")["mrs"].max().reindex(rows["key"])
    return pd.Series(
        pd.concat([pd.Series(worst.array, index=rows.index), last], axis=1).max(axis=1),
        index=rows.index).astype("Int64")
