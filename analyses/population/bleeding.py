"""Distinct haemorrhages: every recorded bleed once, on the best date that is known of it.

Sources: the haemorrhages table; intracranial haemorrhages that stand in the complications table
alone; and a follow-up that says there was a bleed since the visit before, where none is recorded
between the two. A bleed that is in both tables (`complication_no`) is one and takes the
complication's date. Bleeds of a patient within 7 days of the one before are one, except that a
bleed from a procedure is never swallowed by a spontaneous one on a day before it. On one day there
is one bleed of a lesion, linked or not.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analyses.population.counted_events import LESION, unit_key
from analyses.population.vital_status import CONTACTS, last_contact
from registry.rules.known_dates import earliest, latest
from registry.schema import Complications, FollowUps, Haemorrhages, Lesions, Patients

SAME_BLEED_DAYS = 7
BLEED = "intracranial haemorrhage"
COLUMNS = [Patients.patient_id, Lesions.lesion_no, "key", "day", "earliest", "exact", "procedural",
           "complication_only"]


def distinct_bleeds(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """One row a distinct haemorrhage, by patient and day.

    Columns: `patient_id`, `lesion_no`, `key` (that of its first row), `day` (where it is placed),
    `earliest` (the first day it can have been), `exact` (the day is known), `procedural` (from a
    procedure, or a complication), `complication_only` (not in the haemorrhages table),
    `presenting` (it brought the patient to medical attention, or was before that) and `rows`
    (how many recorded bleeds were taken together).
    """
    rows = recorded_bleeds(tables)
    gap = rows.groupby(Patients.patient_id)["day"].diff().dt.days
    before = rows.groupby(Patients.patient_id)["procedural"].shift(fill_value=False)
    new = gap.isna() | (gap > SAME_BLEED_DAYS) | (rows["procedural"] & ~before)
    found = rows.groupby(new.cumsum()).agg(
        patient_id=(Patients.patient_id, "first"), lesion_no=(Lesions.lesion_no, "first"),
        key=("key", "first"), day=("day", "first"), earliest=("earliest", "first"),
        exact=("exact", "first"), procedural=("procedural", "any"),
        complication_only=("complication_only", "all"), rows=("key", "size"),
    ).reset_index(drop=True)
    return found.assign(presenting=_presenting(found, tables["patients"]))


def recorded_bleeds(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Every recorded bleed with its day (columns COLUMNS), ordered by patient and day."""
    linked = tables["complications"][
        [*LESION, Complications.complication_no, Complications.onset_date, Complications.kind]
    ]
    bleeds = linked_by_day(tables["haemorrhages"], linked).merge(
        linked, on=[*LESION, Complications.complication_no], how="left").reset_index(drop=True)
    told = _named(linked, bleeds)
    alone = linked[linked[Complications.kind].eq(BLEED).fillna(False) & ~told]
    parts = [_from_haemorrhages(bleeds, tables), _from_complications(alone)]
    parts.append(untold_bleeds(tables, pd.concat([p for p in parts if len(p)] or parts[:1])))
    rows = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    died = rows[Patients.patient_id].map(
        tables["patients"].set_index(Patients.patient_id)[Patients.death_date]
    )
    # A date after death is a query to the recorder; the bleed still counts.
    rows["day"] = rows["day"].mask(rows["day"] > died, died)
    rows["earliest"] = rows["earliest"].mask(rows["earliest"] > rows["day"], rows["day"])
    return rows[COLUMNS].sort_values([Patients.patient_id, "day", "key"], kind="stable",
                                     ignore_index=True)


def linked_by_day(bleeds: pd.DataFrame, linked: pd.DataFrame) -> pd.DataFrame:
    """Bleeds with `complication_no` filled where that lesion has a complication of that day.

    bleeds: the haemorrhages table; linked: complications with their kind and onset. Only bleeds
    known to the day, and intracranial haemorrhages: one lesion bleeds once on one day.
    """
    own = linked[linked[Complications.kind].eq(BLEED).fillna(False)]
    own = own.drop_duplicates([*LESION, Complications.onset_date])
    day = bleeds[Haemorrhages.haemorrhage_date].where(
        bleeds[Haemorrhages.date_known_to].eq("day").fillna(False))
    found = bleeds[LESION].assign(**{Complications.onset_date: day}).merge(
        own[[*LESION, Complications.onset_date, Complications.complication_no]],
        on=[*LESION, Complications.onset_date], how="left")[Complications.complication_no]
    number = bleeds[Complications.complication_no]
    return bleeds.assign(
        complication_no=number.fillna(found.set_axis(bleeds.index)).astype("Int64"))


def untold_bleeds(tables: Mapping[str, pd.DataFrame], told: pd.DataFrame) -> pd.DataFrame:
    """Bleeds that only a follow-up tells of ("a bleed since the visit before": yes).

    Columns COLUMNS. Each lies in the middle between the day asked from (the visit before, else
    the last treatment, else the presentation) and the visit. told: the bleeds that have a row;
    where one of the patient may lie between the two, the visit speaks of that one.
    """
    visits = tables["follow_ups"]
    since = visits[visits[FollowUps.haemorrhage_since].fillna(False).astype(bool)]
    rows = [_untold(visit, tables, told) for _, visit in since.iterrows()]
    found = pd.DataFrame([row for row in rows if row], columns=COLUMNS)
    return found.astype({name: told[name].dtype for name in COLUMNS})


def _untold(
    visit: pd.Series, tables: Mapping[str, pd.DataFrame], told: pd.DataFrame,
) -> dict[str, object]:
    """The bleed that this visit alone tells of; empty where a recorded one may be meant."""
    patient, day = visit[Patients.patient_id], visit[FollowUps.follow_up_date]
    start = _asked_from(patient, day, tables)
    own = told[told[Patients.patient_id].eq(patient)]
    if ((own["earliest"] <= day) & (own["day"] >= start)).any():
        return {}
    names = [patient, visit[Lesions.lesion_no], f"visit {visit[FollowUps.follow_up_no]}"]
    return {Patients.patient_id: patient, Lesions.lesion_no: visit[Lesions.lesion_no],
            "key": "/".join(map(str, names)),
            "day": start + pd.Timedelta(days=(day - start).days // 2), "earliest": start,
            "exact": False, "procedural": False, "complication_only": False}


def _asked_from(
    patient: str, day: pd.Timestamp, tables: Mapping[str, pd.DataFrame],
) -> pd.Timestamp:
    """The day since which a visit asks: the visit before, else the last treatment, else the first
    contact.
    """
    for names in (("follow_ups",), ("sessions", "resections", "radiosurgeries")):
        found = [tables[name].loc[tables[name][Patients.patient_id].eq(patient), CONTACTS[name]]
                 for name in names]
        before = pd.concat(found).dropna()
        before = before[before < day]
        if len(before):
            return pd.Timestamp(before.max())
    people = tables["patients"]
    first = people.loc[people[Patients.patient_id].eq(patient), Patients.presentation_date]
    return pd.Timestamp(first.iloc[0])


def _named(linked: pd.DataFrame, bleeds: pd.DataFrame) -> pd.Series:
    """Which complications rows a haemorrhages row says it is the same as."""
    named = bleeds[bleeds[Complications.complication_no].notna()]
    columns = [*LESION, Complications.complication_no]
    return unit_key(linked, columns).isin(set(unit_key(named, columns).dropna()))


def _from_haemorrhages(bleeds: pd.DataFrame, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    first, last = _possible_days(bleeds, tables)
    middle = first + pd.to_timedelta((last - first).dt.days // 2, unit="D")
    linked = bleeds[Complications.onset_date].notna()
    return bleeds.assign(
        key=unit_key(bleeds, [*LESION, Haemorrhages.haemorrhage_no]),
        day=middle.mask(linked, bleeds[Complications.onset_date]),
        earliest=first.mask(linked, bleeds[Complications.onset_date]),
        exact=(bleeds[Haemorrhages.date_known_to].eq("day").fillna(False) | linked).astype(bool),
        procedural=(bleeds[Haemorrhages.cause].eq("a procedure").fillna(False) | linked).astype(
            bool
        ),
        complication_only=False,
    )[COLUMNS]


def _from_complications(alone: pd.DataFrame) -> pd.DataFrame:
    return alone.assign(
        key=unit_key(alone, [*LESION, Complications.complication_no]),
        day=alone[Complications.onset_date],
        earliest=alone[Complications.onset_date],
        exact=True,
        procedural=True,
        complication_only=True,
    )[COLUMNS]


def _possible_days(
    bleeds: pd.DataFrame, tables: Mapping[str, pd.DataFrame],
) -> tuple[pd.Series, pd.Series]:
    """First and last day of each bleed at the precision known.

    A month or a year, cut at the last day on which the patient is known about; an interval
    between visits, from the contact before the date given to the next one on or after it.
    """
    date, known_to = bleeds[Haemorrhages.haemorrhage_date], bleeds[Haemorrhages.date_known_to]
    first, last = earliest(date, known_to), latest(date, known_to)
    end = bleeds[Patients.patient_id].map(last_contact(dict(tables)))
    last = last.mask((end >= first) & (end < last), end)
    between = first.isna()
    if between.any():
        around = _visits_around(bleeds[between], tables)
        first[between], last[between] = around["before"], around["after"]
    return first, last


def _visits_around(
    bleeds: pd.DataFrame, tables: Mapping[str, pd.DataFrame],
) -> pd.DataFrame:
    """Per bleed the contact before its date and the next on or after it (else the date itself)."""
    days = [
        tables[name][[Patients.patient_id, day]].set_axis([Patients.patient_id, "contact"], axis=1)
        for name, day in CONTACTS.items()
    ]
    days.append(tables["patients"][[Patients.patient_id, Patients.presentation_date]].set_axis(
        [Patients.patient_id, "contact"], axis=1))
    contacts = pd.concat(days, ignore_index=True).dropna()
    pairs = bleeds.reset_index(names="row")[
        ["row", Patients.patient_id, Haemorrhages.haemorrhage_date]
    ].merge(contacts, on=Patients.patient_id)
    earlier = pairs["contact"] < pairs[Haemorrhages.haemorrhage_date]
    by_row = pairs.assign(before=pairs["contact"].where(earlier),
                          after=pairs["contact"].where(~earlier)).groupby("row")
    found = pd.DataFrame({"before": by_row["before"].max(), "after": by_row["after"].min()})
    found = found.reindex(bleeds.index)
    day = bleeds[Haemorrhages.haemorrhage_date]
    return pd.DataFrame({name: column.fillna(day) for name, column in found.items()})


def _presenting(bleeds: pd.DataFrame, patients: pd.DataFrame) -> pd.Series:
    """Whether a bleed is the presenting one, or was before presentation.

    At the precision of both dates; where haemorrhage was the presentation, also a bleed dated
    up to 7 days after it.
    """
    people = patients.set_index(Patients.patient_id)
    day = latest(people[Patients.presentation_date], people[Patients.presentation_date_known_to])
    bled = people[Patients.presentation].eq("haemorrhage").fillna(False).astype(bool)
    limit = day + pd.to_timedelta(bled * SAME_BLEED_DAYS, unit="D")
    early = bleeds["earliest"] <= bleeds[Patients.patient_id].map(limit)
    return (early & ~bleeds["procedural"]).astype(bool)
