"""Queries on how bad an event was: its grade, its deficit, its scores and its death together."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import bring, figure, sure
from registry.rules.deaths_and_life import (
    DEAD,
    DEAD_GRADE,
    MRS_OF_EVENT,
    dead_without_date,
    signs_of_death,
)
from registry.rules.finding import Hits, Tables, query
from registry.rules.words import column
from registry.schema import Complications, Patients

BELOW_AN_OPERATION = ("I", "II", "IIIa")
"""Clavien–Dindo grades below an intervention under general anaesthesia, IIIb (Dindo 2004)."""
WORST_OF_THE_LIVING = 5


def _value_words(rows: pd.DataFrame, names: list[str], apply: list[pd.Series]) -> list[str]:
    """For each row, the labels and values of those fields that apply, joined by commas."""
    parts = [
        (column("complications", name) + " " + rows[name].astype("string")).where(there, "")
        for name, there in zip(names, apply, strict=True)
    ]
    return [", ".join(str(word) for word in row if str(word)) for row in zip(*parts, strict=True)]


@query("death with a lower severity")
def death_below_its_grade(tables: Tables) -> Hits:
    """Death from the event, and a severity grade or an mRS of somebody who lived.

    The mRS at 30 days may be that of a patient who died later; the worst and that at 90 days may
    not: a death from an event is looked for up to then.
    """
    rows = tables["complications"]
    dead = sure(rows[Complications.death])
    grade = sure(rows[Complications.clavien_dindo] != DEAD_GRADE)
    scores = [Complications.mrs_worst, Complications.mrs_90d]
    lower = [grade, *(sure(rows[name] < DEAD) for name in scores)]
    hit = dead & (lower[0] | lower[1] | lower[2])
    rows = rows[hit]
    found = _value_words(
        rows, [Complications.clavien_dindo, *scores], [part[hit] for part in lower])
    return Hits(
        "complications", rows, Complications.death,
        [f"death from this event, and {words}" for words in found],
        f"grade {DEAD_GRADE} and mRS {DEAD} for an event the patient died of",
        "correct the grade or the mRS, or the death",
    )


@query("severity of a death without the death")
def grade_of_a_death(tables: Tables) -> Hits:
    """Grade V, or a worst mRS of 6, of an event that nobody died of.

    An mRS of 6 at 30 or 90 days may be a death of something else. Of a patient without a date of
    death the date is asked for first, as an error.
    """
    rows = tables["complications"]
    rows = rows[~rows.index.isin(dead_without_date(rows, tables).index)]
    signs = signs_of_death(rows)
    named = [Complications.clavien_dindo, Complications.mrs_worst]
    hit = sure(~rows[Complications.death]) & (signs[named[0]] | signs[named[1]])
    rows = rows[hit]
    found = _value_words(rows, named, [signs[name][hit] for name in named])
    return Hits(
        "complications", rows, Complications.death,
        [f"{words}, and no death from this event" for words in found],
        f"grade {DEAD_GRADE} and a worst mRS of {DEAD} only for a death from the event",
        "correct the grade or the mRS, or enter the death",
    )


@query("open operation below grade IIIb")
def operation_below_its_grade(tables: Tables) -> Hits:
    """An event that needed an open operation, graded as one that needed less."""
    rows = tables["complications"]
    rows = rows[
        sure(rows[Complications.rescue] == "open operation")
        & sure(rows[Complications.clavien_dindo].isin(BELOW_AN_OPERATION))
    ]
    return Hits(
        "complications", rows, Complications.clavien_dindo,
        "an open operation for the event, graded " + rows[Complications.clavien_dindo],
        "grade IIIb or above where an open operation was needed",
        "correct the grade, or what was done for the event",
    )


@query("deficit without symptoms")
def deficit_without_symptoms(tables: Tables) -> Hits:
    """A deficit, or death, from an event said to be without symptoms."""
    rows = tables["complications"]
    dead = sure(rows[Complications.death])
    harmed = dead | sure(rows[Complications.deficit].isin(["transient", "permanent"]))
    rows = rows[harmed & sure(~rows[Complications.symptomatic])]
    deficit = "a " + rows[Complications.deficit].astype("string") + " deficit"
    found = deficit.mask(dead[rows.index], "death from this event") + ", and symptomatic: no"
    return Hits(
        "complications", rows, Complications.symptomatic, found,
        "symptomatic yes wherever there was a deficit or a death",
        "correct the symptoms, or the deficit",
    )


@query("permanent deficit, and mRS as before")
def permanent_deficit_back_to_before(tables: Tables) -> Hits:
    """A permanent deficit after which the mRS is no higher than before treatment.

    The later of the scores at 30 and 90 days is compared. An mRS before of 5 cannot rise.
    """
    rows = bring(
        tables["complications"], tables["patients"], [Patients.patient_id], [Patients.mrs_before]
    )
    later = rows[Complications.mrs_90d].fillna(rows[Complications.mrs_30d])
    before = rows[Patients.mrs_before]
    hit = (
        sure(rows[Complications.deficit] == "permanent") & sure(later <= before)
        & sure(before < WORST_OF_THE_LIVING)
    )
    rows, later = rows[hit], later[hit]
    field = MRS_OF_EVENT[-1]
    return Hits(
        "complications", rows, field,
        "a permanent deficit, mRS " + figure(later) + " after it and "
        + figure(rows[Patients.mrs_before]) + " before treatment",
        "a higher mRS after a permanent deficit, or a deficit that is gone",
        "correct the deficit or one of the scores; a lasting deficit that the mRS does not show "
        "may stay",
    )
