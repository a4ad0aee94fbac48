"""What became of a plan made at the first treatment: carried out, harmed, closed (plan.*).

Counted from the plan on, operated or not: who was harmed before reaching the operation, or never
reached it, belongs to the plan. The operation's own harm alone would leave them out.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.gate import Known
from analyses.measures.harm import combined_lesions
from analyses.measures.measure import Direction, Share
from analyses.measures.obliteration import final_lesions
from analyses.measures.places import Place
from analyses.population.counted_events import LESION, SESSION
from analyses.population.unit_frames import Units, once
from registry.schema import Resections, Sessions

BEFORE_RESECTION = "before resection"
EMERGENCY = "emergency"


@once
def first_plans(units: Units) -> pd.DataFrame:
    """Lesions treated, by what was planned at the first treatment: `plan` and `urgency`.

    plan: "embolized first" (the first treatment was an embolization meant to come before a
    resection, operated or not), "resected alone" (the first treatment was a resection), else
    blank. urgency: of the first operation, blank where there is none or it is not recorded.
    """
    lesions = units.lesions
    first = units.tables["sessions"].sort_values(SESSION).groupby(LESION, as_index=False).first()
    operations = units.tables["resections"].sort_values(
        [*LESION, Resections.resection_date, Resections.resection_no])
    operation = operations.groupby(LESION, as_index=False).first()
    rows = lesions[["key", *LESION, "first_treatment", "first_resection"]].merge(
        first[[*LESION, Sessions.session_date, Sessions.intent]], on=LESION, how="left").merge(
        operation[[*LESION, Resections.urgency]], on=LESION, how="left").set_axis(lesions.index)
    embolized = rows[Sessions.session_date].eq(rows["first_treatment"]) & rows[
        Sessions.intent].eq(BEFORE_RESECTION).fillna(False)
    # On one day the embolization comes first (analysis plan).
    alone = rows["first_resection"].eq(rows["first_treatment"]) & ~rows[
        Sessions.session_date].eq(rows["first_treatment"])
    plan = pd.Series(pd.NA, index=lesions.index, dtype="string")
    plan = plan.mask(embolized, "embolized first").mask(alone, "resected alone")
    return lesions.assign(plan=plan, urgency=rows[Resections.urgency].astype("string"))


def planned(units: Units, frame: pd.DataFrame, plan: str = "embolized first") -> pd.DataFrame:
    """The rows of a lesion frame (with `key`) that were treated after this plan."""
    own = first_plans(units)
    return frame[frame["key"].isin(set(own.loc[own["plan"].eq(plan).fillna(False), "key"]))]


def _completed(units: Units, unit: str) -> pd.DataFrame:
    rows = planned(units, first_plans(units))
    rows = rows[~rows["ongoing"] | rows["first_resection"].notna()]
    emergency = rows[Resections.urgency].eq(EMERGENCY).fillna(False)
    return rows.assign(event=(rows["first_resection"].notna() & ~emergency).astype("boolean"))


def _harmed(units: Units, unit: str) -> pd.DataFrame:
    return planned(units, combined_lesions(units))


def _closed(units: Units, unit: str) -> pd.DataFrame:
    rows = planned(units, final_lesions(units))
    return rows.assign(event=rows["confirmed"])


LESION_ONLY = ("lesion",)
PLANNED = "lesions whose plan at the first treatment was embolization before resection"
USES = ("sessions.intent", "sessions.session_date", "resections.resection_date")
BY = ("sm_grade", "ponce_class", "period", "ruptured")
BY_HAND = "counted by hand on the small cohort"

COMPLETED = Share(
    id="plan.completed", units=LESION_ONLY, label="Plan carried out: embolized, then resected",
    subject="a planned resection after embolization",
    counted="resected after the embolization, the operation not an emergency",
    among=f"{PLANNED}, operated or no longer ongoing", counts=_completed, by=BY,
    direction=Direction.BENEFIT,
    shown_in={Place.OPERATION_TABLE: LESION_ONLY, Place.DEFINITIONS: LESION_ONLY},
    uses=(*USES, "resections.urgency", "lesions.plan_status"), checked_against=BY_HAND)
HARMED = Share(
    id="plan.harm", units=LESION_ONLY,
    label="Permanent deficit or death, embolization before resection planned",
    subject="a permanent deficit or death where embolization before resection was planned",
    counted="permanent deficit or death from any treatment, whether it came to the operation or "
            "not",
    among=f"{PLANNED}, whose status 30 days after the last treatment is known", counts=_harmed,
    known=Known.ONLY_WITH_AN_EVENT, by=BY, direction=Direction.HARM,
    shown_in={Place.OPERATION_TABLE: LESION_ONLY, Place.DEFINITIONS: LESION_ONLY},
    uses=(*USES, "complications.deficit", "complications.death", "resections.deficit",
          "patients.death_cause"), checked_against=BY_HAND)
CLOSED = Share(
    id="plan.closed", units=LESION_ONLY,
    label="Final obliteration confirmed, embolization before resection planned",
    subject="final obliteration where embolization before resection was planned",
    counted="final obliteration confirmed", among=f"{PLANNED}, no longer ongoing", counts=_closed,
    by=BY, direction=Direction.BENEFIT,
    shown_in={Place.OPERATION_TABLE: LESION_ONLY, Place.DEFINITIONS: LESION_ONLY},
    uses=(*USES, "follow_ups.occlusion", "follow_ups.imaging", "resections.result",
          "lesions.plan_status"), checked_against=BY_HAND)
