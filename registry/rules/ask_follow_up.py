"""Queries on follow-up, imaging and what happens after death."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, bring, day, has_match, sure
from registry.rules.finding import Hits, Rule, Tables, family, query
from registry.rules.known_dates import earliest
from registry.rules.what_happened import TREATMENTS
from registry.schema import (
    Complications,
    FollowUps,
    Haemorrhages,
    Patients,
    Resections,
)

GAP_MONTHS = 18
PRESUMING = ("MR angiography", "CT angiography")

@query("occlusion without imaging")
def occlusion_without_imaging(tables: Tables) -> Hits:
    """An occlusion given at a visit without imaging."""
    rows = tables["follow_ups"]
    rows = rows[sure(rows[FollowUps.imaging] == "none") & rows[FollowUps.occlusion].notna()]
    return Hits(
        "follow_ups",
        rows,
        "occlusion",
        "occlusion: " + rows[FollowUps.occlusion] + ", imaging: none",
        "an occlusion only where the lesion was imaged at this visit",
        "enter the imaging it was seen on, or leave the occlusion blank",
    )


@query("complete without catheter angiography")
def complete_not_confirmed(tables: Tables) -> Hits:
    """Complete on MR or CT angiography, and never on a catheter angiogram."""
    visits, operations = tables["follow_ups"], tables["resections"]
    complete = visits[sure(visits[FollowUps.occlusion] == "complete")]
    confirmed = complete[sure(complete[FollowUps.imaging] == "catheter angiography")]
    presumed = complete[sure(complete[FollowUps.imaging].isin(PRESUMING))]
    operated = operations[sure(operations[Resections.result] == "complete")]
    known = has_match(presumed, confirmed, LESION) | has_match(presumed, operated, LESION)
    rows = presumed[~known].sort_values(FollowUps.follow_up_date, kind="stable")
    rows = rows[~rows.duplicated(LESION, keep="last")].sort_index()
    found = "complete on " + rows[FollowUps.imaging] + " alone: presumed, not confirmed"
    return Hits(
        "follow_ups", rows, "occlusion", found, "catheter angiography to confirm it",
        "add the catheter angiogram if there was one; until then it counts as presumed",
    )


def _contacts(tables: Tables) -> pd.DataFrame:
    """Every treatment and every visit: patient_id, _date."""
    dated = {**TREATMENTS, "follow_ups": FollowUps.follow_up_date}
    frames = [
        tables[table][[Patients.patient_id]].assign(_date=tables[table][field])
        for table, field in dated.items()
    ]
    return pd.concat(frames).dropna().drop_duplicates().sort_values([Patients.patient_id, "_date"])


@query("long gap in follow-up")
def follow_up_gap(tables: Tables) -> Hits:
    """More than 18 months from the contact before (treatment or visit, of any lesion)."""
    contacts = _contacts(tables)
    contacts["_before"] = contacts.groupby(Patients.patient_id)["_date"].shift()
    contacts = contacts.rename(columns={"_date": FollowUps.follow_up_date})
    rows = bring(
        tables["follow_ups"], contacts, [Patients.patient_id, FollowUps.follow_up_date], ["_before"]
    )
    late = rows[FollowUps.follow_up_date] > rows["_before"] + pd.DateOffset(months=GAP_MONTHS)
    rows = rows[sure(late)]
    found = day(rows[FollowUps.follow_up_date]) + ", the contact before on " + day(rows["_before"])
    return Hits(
        "follow_ups", rows, FollowUps.follow_up_date, found,
        f"no more than {GAP_MONTHS} months between two contacts",
        "add the visits in between, if there were any",
    )


@query("visit of the dead before the death")
def dead_before_death(tables: Tables) -> Hits:
    """mRS 6 at a visit before the date of death."""
    rows = bring(
        tables["follow_ups"], tables["patients"], [Patients.patient_id], [Patients.death_date]
    )
    early = sure(rows[FollowUps.mrs] == 6) & sure(
        rows[FollowUps.follow_up_date] < rows[Patients.death_date]
    )
    rows = rows[early]
    found = (
        "mRS 6 (dead) on " + day(rows[FollowUps.follow_up_date]) + ", date of death "
        + day(rows[Patients.death_date])
    )
    return Hits(
        "follow_ups", rows, "mrs", found, "mRS 6 only from the date of death on",
        "correct the mRS or one of the dates",
    )


def _recorded_after_death(table: str, field: str, what: str, known_to: str | None) -> Rule:
    def look(tables: Tables) -> Hits:
        rows = bring(
            tables[table], tables["patients"], [Patients.patient_id], [Patients.death_date]
        )
        first = earliest(rows[field], rows[known_to]) if known_to else rows[field]
        rows = rows[sure(first > rows[Patients.death_date])]
        found = (
            f"{what} on " + day(rows[field]) + ", date of death " + day(rows[Patients.death_date])
        )
        return Hits(
            table, rows, field, found, "nothing after the date of death",
            "correct this date or the date of death",
        )

    return Rule("recorded after death", "query", look)


@family
def recorded_after_death() -> list[Rule]:
    """What is dated after the death, a rule a table."""
    return [
        _recorded_after_death("complications", Complications.onset_date, "a complication", None),
        _recorded_after_death(
            "complications", Complications.resolved_date, "a recovery from a deficit", None),
        _recorded_after_death(
            "haemorrhages", Haemorrhages.haemorrhage_date, "a bleed", Haemorrhages.date_known_to),
    ]
