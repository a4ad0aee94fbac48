"""From when to when each patient and each lesion was watched, and what ended it.

Every frame has one row a unit, the columns of its unit frame, and `start`, `stop` (days), `years`
(from one to the other, days/365.25) and `event` (0 end of follow-up, 1 the event, 2 death first).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.measures.obliteration import CATHETER, lesion_images
from analyses.population.bleeding import distinct_bleeds
from analyses.population.counted_events import LESION
from analyses.population.unit_frames import Units
from analyses.population.vital_status import last_alive, last_contact
from registry.schema import FollowUps, Patients, Radiosurgeries, Resections, Sessions

DAYS_A_YEAR = 365.25
SEEN, DIED = 1, 2


def years_between(start: pd.Series, stop: pd.Series) -> pd.Series:
    """Years from one day to another, days/365.25."""
    return (stop - start).dt.days.astype(float) / DAYS_A_YEAR


def death_days(units: Units) -> pd.Series:
    """Recorded day of death (index: patient_id), blank for those not known to have died."""
    return units.tables["patients"].set_index(Patients.patient_id)[Patients.death_date]


def last_known(units: Units, bleeds: pd.DataFrame | None = None) -> pd.Series:
    """The last day on which each patient is known about (index: patient_id).

    The last contact, or a later angiogram after an operation or a later bleed, and never after
    the day of death. A patient with none of these: the day of presentation.
    """
    bleeds = distinct_bleeds(units.tables) if bleeds is None else bleeds
    people = units.tables["patients"].set_index(Patients.patient_id)
    images = (
        units.tables["resections"].groupby(Patients.patient_id)[Resections.angiography_date].max()
    )
    days = pd.DataFrame({
        "contact": last_contact(dict(units.tables)), "image": images,
        "bleed": bleeds.groupby(Patients.patient_id)["day"].max(),
        Patients.presentation: people[Patients.presentation_date],
    }).reindex(people.index)
    last = days.max(axis=1)
    died = people[Patients.death_date]
    return last.mask(died.notna(), died)


def treatments(units: Units) -> pd.DataFrame:
    """Every day of treatment of a treated lesion: `key` (of the lesion), LESION, `day`."""
    fields = {"sessions": Sessions.session_date, "resections": Resections.resection_date,
              "radiosurgeries": Radiosurgeries.radiosurgery_date}
    rows = pd.concat([units.tables[name][[*LESION, day]].rename(columns={day: "day"})
                      for name, day in fields.items()], ignore_index=True)
    rows = rows.merge(units.lesions[["key", *LESION]], on=LESION)
    return rows.drop_duplicates().sort_values(["key", "day"], ignore_index=True)


def images_since_treatment(units: Units) -> pd.DataFrame:
    """Images of each lesion since its first treatment, but for those made to plan a treatment.

    A follow-up image on the day of a treatment was made before it and shows no result; the
    angiogram of an operation shows its result on whatever day.
    """
    images = lesion_images(units)
    first = images["key"].map(units.lesions.set_index("key")["first_treatment"])
    days = treatments(units)
    treated = pd.MultiIndex.from_frame(days[["key", "day"]])
    planning = pd.MultiIndex.from_frame(images[["key", "day"]]).isin(treated)
    kept = (images["day"] >= first) & (images["operation"] | ~planning)
    return images[kept].reset_index(drop=True)


def confirmed_days(units: Units) -> pd.Series:
    """The day a catheter angiogram first showed each lesion closed after its first treatment.

    Index: key of the lesion. A lesion that was closed, opened again and was treated again keeps
    its first day: what came later is its recurrence.
    """
    images = images_since_treatment(units)
    shut = images[images["complete"] & images[FollowUps.imaging].eq(CATHETER)]
    return shut.groupby("key")["day"].min().reindex(units.lesions["key"])


def obliteration_durations(units: Units) -> pd.DataFrame:
    """Treated lesions from their first treatment to confirmed obliteration, death or last contact.

    Adds `last_negative` and `first_positive` (years): the last day on which the nidus is known
    to have been open (an image, or a treatment of it) and the day of confirmation (infinite
    where there is none): closure itself lies between the two.
    """
    rows = units.lesions
    shut = confirmed_days(units).set_axis(rows.index)
    died = rows[Patients.patient_id].map(death_days(units))
    end = rows[Patients.patient_id].map(last_known(units))
    event = np.select([shut.notna(), died.notna()], [SEEN, DIED], 0)
    stop = shut.fillna(end)
    open_until = _last_open(units, stop, rows)
    years = years_between(rows["first_treatment"], stop)
    return rows.assign(
        start=rows["first_treatment"], stop=stop, years=years, event=event,
        last_negative=years_between(rows["first_treatment"], open_until),
        first_positive=years.where(shut.notna(), np.inf),
    )


def _last_open(units: Units, stop: pd.Series, rows: pd.DataFrame) -> pd.Series:
    """The last day up to `stop` on which an image showed each nidus, or it was treated."""
    images = images_since_treatment(units)
    seen = pd.concat([images.loc[~images["complete"], ["key", "day"]],
                      treatments(units)[["key", "day"]]], ignore_index=True)
    upto = seen["key"].map(stop.set_axis(rows["key"]))
    last = seen[seen["day"] <= upto].groupby("key")["day"].max()
    return pd.Series(last.reindex(rows["key"]).array, index=rows.index).fillna(
        rows["first_treatment"])


def recurrence_durations(units: Units) -> pd.DataFrame:
    """Lesions of confirmed obliteration, to the first image that shows the nidus again.

    The end of watching is the last image (of any kind), not the last contact: what was not
    imaged is not known to have stayed closed. `imaged`: there was an image after confirmation.
    Adds `last_negative` and `first_positive` (years) as above.
    """
    rows = units.lesions.assign(start=confirmed_days(units).array)
    rows = rows[rows["start"].notna()].reset_index(drop=True)
    images = images_since_treatment(units)
    images = images[images["day"] > images["key"].map(rows.set_index("key")["start"])]
    back = rows["key"].map(images[~images["complete"]].groupby("key")["day"].min())
    last = rows["key"].map(images.groupby("key")["day"].max())
    closed = images[images["complete"]
                    & ~(images["day"] >= images["key"].map(back.set_axis(rows["key"])))]
    negative = rows["key"].map(closed.groupby("key")["day"].max()).fillna(rows["start"])
    stop = back.fillna(last).fillna(rows["start"])
    years = years_between(rows["start"], stop)
    return rows.assign(
        stop=stop, years=years, event=back.notna().astype(int), imaged=last.notna(),
        last_negative=years_between(rows["start"], negative),
        first_positive=years.where(back.notna(), np.inf),
    )


def bleed_durations(units: Units) -> pd.DataFrame:
    """Treated patients from their first treatment to the first bleed, death or last contact."""
    rows = units.patients
    bleeds = distinct_bleeds(units.tables)
    start = rows["first_treatment"]
    since = bleeds[bleeds["day"] >= bleeds[Patients.patient_id].map(start.set_axis(rows["key"]))]
    bled = rows["key"].map(since[~since["presenting"]].groupby(Patients.patient_id)["day"].min())
    died = rows["key"].map(death_days(units))
    end = rows["key"].map(last_known(units, bleeds))
    event = np.select([bled.notna(), died.notna()], [SEEN, DIED], 0)
    stop = bled.fillna(end)
    return rows.assign(start=start, stop=stop, years=years_between(start, stop), event=event)


def follow_up_durations(units: Units) -> pd.DataFrame:
    """Treated patients from their first treatment to death (event 1) or last contact.

    A later try to reach the patient that was answered is a contact: the patient lived.
    """
    rows = units.patients
    died = rows["key"].map(death_days(units)).notna()
    alive = rows["key"].map(last_alive(dict(units.tables)))
    end = pd.concat([rows["key"].map(last_known(units)), alive], axis=1).max(axis=1)
    start = rows["first_treatment"]
    return rows.assign(start=start, stop=end, years=years_between(start, end),
                       event=died.astype(int))
