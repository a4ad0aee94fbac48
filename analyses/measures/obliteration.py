"""How often the nidus was closed: at the end of embolization, after resection, and at the end."""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import shares
from analyses.population.counted_events import LESION
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate

NEAR_COMPLETE_PCT = 90.0
CATHETER = "catheter angiography"
CROSS_SECTIONAL = ("MR angiography", "CT angiography")


def obliteration_estimates(units: Units) -> list[Estimate]:
    """All obliteration.* estimates of the analysis plan, overall and by every grouping.

    Unit: lesion. Embolization results are called "immediate complete occlusion", never cure.
    """
    embolized = embolized_lesions(units)
    resected = resected_lesions(units)
    final = final_lesions(units)
    notes = plan_notes(units)
    return [
        *shares(embolized, "complete", id="obliteration.embolization_complete", unit="lesion"),
        *shares(embolized, "near_complete", id="obliteration.embolization_near_complete",
                unit="lesion"),
        *shares(resected, "complete", id="obliteration.resection_complete", unit="lesion"),
        *shares(final, "confirmed", id="obliteration.final_confirmed", unit="lesion",
                notes=notes),
        *shares(final, "presumed", id="obliteration.final_presumed", unit="lesion",
                notes=notes),
    ]


def last_assessed(sessions: pd.DataFrame, lesions: pd.DataFrame) -> pd.DataFrame:
    """The occlusion at the last assessed session before any resection or radiosurgery.

    Returns LESION and `occlusion_pct` (0–100), one row a lesion that has such a session. A
    session on the day of a resection came first.
    """
    bounds = lesions[[*LESION, "first_resection", "first_radiosurgery"]]
    rows = sessions.merge(bounds, on=LESION)
    other = rows[["first_resection", "first_radiosurgery"]].min(axis=1)
    assessed = rows["occlusion_after_pct"].notna() & rows["occlusion_status"].ne(
        "not assessed").fillna(True)
    before = other.isna() | (rows["session_date"] <= other)
    rows = rows[assessed & before].sort_values([*LESION, "session_no"])
    last = rows.groupby(LESION, as_index=False).tail(1)
    return last[[*LESION, "occlusion_after_pct"]].rename(
        columns={"occlusion_after_pct": "occlusion_pct"})


def embolized_lesions(units: Units) -> pd.DataFrame:
    """Lesions embolized and assessed; adds `occlusion_pct`, `complete`, `near_complete`."""
    last = last_assessed(units.tables["sessions"], units.lesions)
    rows = units.lesions[units.lesions["embolized"]].merge(last, on=LESION, how="left")
    known = rows["occlusion_pct"].notna()
    return rows.assign(
        complete=rows["occlusion_pct"].eq(100).astype("boolean").where(known),
        near_complete=rows["occlusion_pct"].ge(NEAR_COMPLETE_PCT).astype("boolean").where(known),
    )


def resected_lesions(units: Units) -> pd.DataFrame:
    """Lesions resected; `complete` by the last resection's result, blank where not imaged."""
    rows = units.tables["resections"].sort_values([*LESION, "resection_date", "resection_no"])
    last = rows.groupby(LESION, as_index=False).tail(1)[[*LESION, "result"]]
    found = units.lesions.merge(last, on=LESION)
    complete = found["result"].eq("complete").astype("boolean")
    return found.assign(complete=complete.where(found["result"].ne("not imaged")))


def final_lesions(units: Units) -> pd.DataFrame:
    """Lesions treated whose plan is not ongoing; `confirmed` and `presumed` at the latest image.

    Those never imaged count as not confirmed (the plan's rule), so neither column is ever blank.
    """
    rows = units.lesions[~units.lesions["ongoing"]]
    images = imaging_after_treatment(units)
    confirmed = _closed(images[images["imaging"] == CATHETER], images)
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
    seen = seen[seen["occlusion"].notna() & seen["imaging"].ne("none")]
    follow = seen[[*LESION, "imaging", "occlusion"]].assign(
        day=seen["follow_up_date"], complete=seen["occlusion"].eq("complete"), operation=False)
    operated = units.tables["resections"]
    operated = operated[operated["result"].ne("not imaged")]
    after = operated[LESION].assign(
        imaging=CATHETER, complete=operated["result"].eq("complete"), operation=True,
        day=operated["angiography_date"].fillna(operated["resection_date"]))
    both = [follow.drop(columns="occlusion"), after]
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
    """What the reader must know of lesions whose plan is ongoing, or not recorded."""
    notes = []
    ongoing = int(units.lesions["ongoing"].sum())
    blank = int(units.lesions["plan_status"].isna().sum())
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
