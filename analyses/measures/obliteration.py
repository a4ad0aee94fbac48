"""How often the nidus was closed: at the end of embolization, after resection, and at the end."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analyses.measures.measure import Counts, Direction, Share
from analyses.measures.places import Place
from analyses.population.counted_events import LESION
from analyses.population.unit_frames import Units, once
from registry.schema import FollowUps, Lesions, Resections, Sessions

NEAR_COMPLETE_PCT = 90.0
CATHETER = "catheter angiography"
CROSS_SECTIONAL = ("MR angiography", "CT angiography")


def last_assessed(sessions: pd.DataFrame, lesions: pd.DataFrame) -> pd.DataFrame:
    """The occlusion at the last assessed session before any resection or radiosurgery.

    Returns LESION and `occlusion_pct` (0–100), one row a lesion that has such a session. A
    session on the day of a resection came first.
    """
    bounds = lesions[[*LESION, "first_resection", "first_radiosurgery"]]
    rows = sessions.merge(bounds, on=LESION)
    other = rows[["first_resection", "first_radiosurgery"]].min(axis=1)
    assessed = rows[Sessions.occlusion_after_pct].notna() & rows[Sessions.occlusion_status].ne(
        "not assessed").fillna(True)
    before = other.isna() | (rows[Sessions.session_date] <= other)
    rows = rows[assessed & before].sort_values([*LESION, Sessions.session_no])
    last = rows.groupby(LESION, as_index=False).tail(1)
    return last[[*LESION, Sessions.occlusion_after_pct]].rename(
        columns={Sessions.occlusion_after_pct: "occlusion_pct"})


@once
def embolized_lesions(units: Units) -> pd.DataFrame:
    """Lesions embolized and assessed; adds `occlusion_pct`, `complete`, `near_complete`."""
    last = last_assessed(units.tables["sessions"], units.lesions)
    rows = units.lesions[units.lesions["embolized"]].merge(last, on=LESION, how="left")
    known = rows["occlusion_pct"].notna()
    return rows.assign(
        complete=rows["occlusion_pct"].eq(100).astype("boolean").where(known),
        near_complete=rows["occlusion_pct"].ge(NEAR_COMPLETE_PCT).astype("boolean").where(known),
    )


@once
def resected_lesions(units: Units) -> pd.DataFrame:
    """Lesions resected; `complete` by the last resection's result, blank where not imaged."""
    rows = units.tables["resections"].sort_values(
        [*LESION, Resections.resection_date, Resections.resection_no]
    )
    last = rows.groupby(LESION, as_index=False).tail(1)[[*LESION, Resections.result]]
    found = units.lesions.merge(last, on=LESION)
    complete = found[Resections.result].eq("complete").astype("boolean")
    return found.assign(complete=complete.where(found[Resections.result].ne("not imaged")))


@once
def final_lesions(units: Units) -> pd.DataFrame:
    """Lesions treated whose plan is not ongoing; `confirmed` and `presumed` at the latest image.

    Those never imaged count as not confirmed (the plan's rule), so neither column is ever blank.
    """
    rows = units.lesions[~units.lesions["ongoing"]]
    images = imaging_after_treatment(units)
    confirmed = _closed(images[images[FollowUps.imaging] == CATHETER], images)
    presumed = _closed(images, images)
    return rows.assign(
        confirmed=rows["key"].isin(confirmed).astype("boolean"),
        presumed=rows["key"].isin(presumed).astype("boolean"),
        imaged=rows["key"].isin(set(images["key"])).astype("boolean"),
    )


def lesion_images(units: Units) -> pd.DataFrame:
    """Every image of a treated lesion on which its occlusion was read, in order of its day.

    Columns: `key` (of the lesion), LESION, `day`, `imaging`, `complete` (boolean), `operation`
    (boolean: the angiogram after a resection, on its own date, else that of the operation).
    """
    seen = units.tables["follow_ups"]
    seen = seen[seen[FollowUps.occlusion].notna() & seen[FollowUps.imaging].ne("none")]
    follow = seen[[*LESION, FollowUps.imaging, FollowUps.occlusion]].assign(
        day=seen[FollowUps.follow_up_date],
        complete=seen[FollowUps.occlusion].eq("complete"),
        operation=False,
    )
    operated = units.tables["resections"]
    operated = operated[operated[Resections.result].ne("not imaged")]
    after = operated[LESION].assign(
        imaging=CATHETER, complete=operated[Resections.result].eq("complete"), operation=True,
        day=operated[Resections.angiography_date].fillna(operated[Resections.resection_date]))
    both = [follow.drop(columns=FollowUps.occlusion), after]
    images = pd.concat([rows for rows in both if len(rows)] or both[:1], ignore_index=True)
    images = images.merge(units.lesions[["key", *LESION]], on=LESION)
    images = images.assign(complete=images["complete"].astype(bool),
                           operation=images["operation"].astype(bool))
    columns = ["key", *LESION, "day", "imaging", "complete", "operation"]
    return images[columns].sort_values(["key", "day"], kind="stable").reset_index(drop=True)


def imaging_after_treatment(units: Units) -> pd.DataFrame:
    """The images of `lesion_images` from the end of each lesion's treatment on.

    Images on the day of radiosurgery plan it, and do not count.
    """
    images = lesion_images(units)
    ends = units.lesions.set_index("key")[["last_treatment", "last_radiosurgery"]]
    ends = ends.reindex(images["key"]).set_axis(images.index)
    planning = images["day"].eq(ends["last_radiosurgery"])
    return images[(images["day"] >= ends["last_treatment"]) & ~planning].reset_index(drop=True)


def plan_notes(units: Units) -> list[str]:
    """What the reader must know: who was never embolized, whose plan is ongoing or not recorded."""
    notes = []
    never = int((~units.lesions["embolized"].astype(bool) & ~units.lesions["ongoing"]).sum())
    if never:
        notes.append(f"{_lesions(never)} among them never embolized")
    ongoing = int(units.lesions["ongoing"].sum())
    blank = int(units.lesions[Lesions.plan_status].isna().sum())
    if ongoing:
        notes.append(f"{_lesions(ongoing)} with treatment ongoing listed apart")
    if blank:
        notes.append(f"{_lesions(blank)} without a recorded state of the plan taken as ended")
    return notes


def _closed(reading: pd.DataFrame, images: pd.DataFrame) -> set[str]:
    """Keys of lesions whose latest image of `reading` is complete, and no later one is not.

    Two images of one day that disagree count as not complete.
    """
    if reading.empty:
        return set()
    latest = reading.groupby("key")["day"].max()
    here = reading[reading["day"] == reading["key"].map(latest)]
    complete = here.groupby("key")["complete"].all()
    later = images[images["day"] > images["key"].map(latest)]
    residual = set(later.loc[~later["complete"], "key"])
    return set(complete.index[complete]) - residual


def _lesions(count: int) -> str:
    return f"{count} lesion" if count == 1 else f"{count} lesions"


def _event(column: str, frame: Callable[[Units], pd.DataFrame]) -> Counts:
    """Counts of one column of a lesion frame."""
    def counts(units: Units, unit: str) -> pd.DataFrame:
        rows = frame(units)
        return rows.assign(event=rows[column].astype("boolean"))

    return counts


def _plan_notes(units: Units, unit: str) -> list[str]:
    return plan_notes(units)


LESION_ONLY = ("lesion",)
EVERY_CLOSURE = {Place.CLOSURE_TABLE: LESION_ONLY, Place.CLOSURE_BY_GROUP: LESION_ONLY}
ENDED = "lesions treated whose plan is not ongoing (never imaged: not {})"

EMBOLIZATION_COMPLETE = Share(
    id="obliteration.embolization_complete", units=LESION_ONLY,
    label="Immediate complete occlusion", subject="immediate complete occlusion by embolization",
    counted="occlusion 100 % at the last assessed session before any resection or radiosurgery",
    among="lesions embolized and assessed", direction=Direction.BENEFIT,
    counts=_event("complete", embolized_lesions),
    shown_in={**EVERY_CLOSURE, Place.SUMMARY: LESION_ONLY, Place.DEFINITIONS: LESION_ONLY,
              Place.CLOSURE_TEXT: LESION_ONLY, Place.CLOSURE_BY_GRADE: LESION_ONLY,
              Place.QUALITY_BALANCING: LESION_ONLY,
              Place.COMPARED: LESION_ONLY},
    answers=("avm-endovascular: Angiographic result",),
    comparable=("complete obliteration by embolization",),
    uses=("sessions.occlusion_after_pct", "sessions.occlusion_status", "sessions.session_date"),
    checked_against="counted by hand on the small cohort")
EMBOLIZATION_NEAR_COMPLETE = Share(
    id="obliteration.embolization_near_complete", units=LESION_ONLY,
    label="Immediate occlusion of 90 % or more",
    subject="immediate occlusion of 90 % or more by embolization",
    counted="occlusion 90 % or more at the last assessed session before any resection or "
            "radiosurgery",
    among="lesions embolized and assessed", direction=Direction.BENEFIT,
    counts=_event("near_complete", embolized_lesions), shown_in=EVERY_CLOSURE,
    uses=("sessions.occlusion_after_pct", "sessions.occlusion_status", "sessions.session_date"),
    checked_against="counted by hand on the small cohort")
RESECTION_COMPLETE = Share(
    id="obliteration.resection_complete", units=LESION_ONLY,
    label="Complete resection", subject="complete resection on angiography",
    counted="last resection complete on angiography after the operation",
    among="lesions resected with angiography afterwards", direction=Direction.BENEFIT,
    counts=_event("complete", resected_lesions),
    shown_in={**EVERY_CLOSURE, Place.CLOSURE_TEXT: LESION_ONLY},
    uses=("resections.result", "resections.resection_date"),
    checked_against="counted by hand on the small cohort")
FINAL_CONFIRMED = Share(
    id="obliteration.final_confirmed", units=LESION_ONLY,
    label="Final obliteration, confirmed",
    subject="final obliteration confirmed by catheter angiography",
    counted="the latest catheter angiogram after the end of treatment shows complete occlusion, "
            "and no later imaging shows residual",
    among=ENDED.format("confirmed"), direction=Direction.BENEFIT,
    counts=_event("confirmed", final_lesions), notes=_plan_notes,
    shown_in={**EVERY_CLOSURE, Place.SUMMARY: LESION_ONLY, Place.DEFINITIONS: LESION_ONLY,
              Place.CLOSURE_TEXT: LESION_ONLY, Place.CLOSURE_BY_GRADE: LESION_ONLY,
              Place.COMPARED: LESION_ONLY},
    answers=("avm-terminology: Result of imaging",),
    uses=("follow_ups.imaging", "follow_ups.occlusion", "follow_ups.follow_up_date",
          "resections.result", "resections.angiography_date", "lesions.plan_status"),
    checked_against="counted by hand on the small cohort")
FINAL_PRESUMED = Share(
    id="obliteration.final_presumed", units=LESION_ONLY,
    label="Final obliteration, confirmed or presumed",
    subject="final obliteration on catheter, MR or CT angiography",
    counted="the latest catheter, MR or CT angiogram after the end of treatment shows complete "
            "occlusion",
    among=ENDED.format("presumed"), direction=Direction.BENEFIT,
    counts=_event("presumed", final_lesions), notes=_plan_notes,
    shown_in={**EVERY_CLOSURE, Place.DEFINITIONS: LESION_ONLY, Place.CLOSURE_TEXT: LESION_ONLY},
    uses=("follow_ups.imaging", "follow_ups.occlusion", "follow_ups.follow_up_date",
          "resections.result", "resections.angiography_date", "lesions.plan_status"),
    checked_against="counted by hand on the small cohort")


def _imaged(units: Units, unit: str) -> pd.DataFrame:
    """Lesions never imaged taken as not known; the plan's own measure takes them as not closed."""
    rows = final_lesions(units)
    return rows.assign(event=rows["confirmed"].where(rows["imaged"]))


IMAGED_CONFIRMED = Share(
    id="obliteration.imaged_confirmed", units=LESION_ONLY, in_results=False,
    label="Final obliteration, confirmed, of those imaged",
    subject="final obliteration confirmed, among lesions imaged",
    counted="final obliteration confirmed", among="lesions imaged after the end of treatment",
    direction=Direction.BENEFIT, counts=_imaged, shown_in={Place.QUESTIONED: LESION_ONLY},
    uses=FINAL_CONFIRMED.uses, checked_against="counted by hand on the small cohort")
