"""Queries on patients and lesions."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import day, figure, has_match, sure
from registry.rules.finding import Hits, Rule, Tables, family, query
from registry.rules.known_dates import earliest
from registry.rules.words import column, sheet
from registry.schema import TABLES, Lesions, Patients

DIAMETERS = (Lesions.nidus_length_mm, Lesions.nidus_width_mm, Lesions.nidus_height_mm)


@query("haemorrhage without a lesion that bled")
def bled_without_lesion(tables: Tables) -> Hits:
    """Presentation with a haemorrhage, and no lesion that bled before treatment."""
    lesions = tables["lesions"].dropna(subset=[Patients.patient_id])
    bled = sure(lesions[Lesions.haemorrhage_before]).groupby(lesions[Patients.patient_id]).max()
    rows = tables["patients"]
    none_bled = sure(rows[Patients.patient_id].map(bled).astype("boolean").eq(False))
    rows = rows[none_bled & sure(rows[Patients.presentation] == "haemorrhage")]
    return Hits(
        "patients", rows, "presentation",
        "presentation: haemorrhage, and no lesion bled before treatment",
        f"a lesion with yes under {column('lesions', Lesions.haemorrhage_before)}",
        "correct the presentation, or the lesion that bled",
    )


@query("no lesion")
def without_lesion(tables: Tables) -> Hits:
    """A patient with no lesion."""
    rows = tables["patients"]
    rows = rows[
        rows[Patients.patient_id].notna()
        & ~has_match(rows, tables["lesions"], [Patients.patient_id])
    ]
    return Hits(
        "patients",
        rows,
        Patients.patient_id,
        "no lesion is recorded",
        "at least one lesion a patient",
        "add the lesion",
    )


@query("site without a services row")
def site_unknown(tables: Tables) -> Hits:
    """A site with patients and no row of services; asked once a site."""
    patients = tables["patients"]
    rows = patients[
        patients[Patients.site_id].notna()
        & ~has_match(patients, tables["services"], [Patients.site_id])
    ]
    count = rows.groupby(Patients.site_id)[Patients.patient_id].transform("size")
    once = ~rows.duplicated(Patients.site_id)
    found = (
        "site "
        + rows[Patients.site_id]
        + " ("
        + count.astype("string")
        + " patients) has no row in "
        + sheet("services")
    )
    return Hits(
        "patients", rows[once], Patients.site_id, found[once],
        f"a row a site in {sheet('services')}: the period of enrolment, and whether it was "
        "consecutive",
        "add the row, or correct the site",
    )


@query("cause of death without a date")
def death_cause_without_date(tables: Tables) -> Hits:
    """A cause of death, and no date of death."""
    rows = tables["patients"]
    rows = rows[rows[Patients.death_cause].notna() & rows[Patients.death_date].isna()]
    return Hits(
        "patients", rows, Patients.death_cause,
        "cause of death: " + rows[Patients.death_cause] + ", and no date of death",
        "a date of death wherever there is a cause",
        "enter the date; without it the patient is taken as not known to have died",
    )


@query("death before presentation")
def death_before_presentation(tables: Tables) -> Hits:
    """A date of death before the presentation, at the precision known."""
    rows = tables["patients"]
    first = earliest(rows[Patients.presentation_date], rows[Patients.presentation_date_known_to])
    rows = rows[sure(rows[Patients.death_date] < first)]
    found = (
        "death on " + day(rows[Patients.death_date]) + ", presentation on "
        + day(rows[Patients.presentation_date])
    )
    return Hits(
        "patients", rows, Patients.death_date, found, "a death not before the presentation",
        "correct one of the two dates",
    )


@query("recorded grade differs")
def grade_differs(tables: Tables) -> Hits:
    """The Spetzler–Martin grade as written differs from the one worked out."""
    from registry.clinical.scores import sm_grade

    rows = tables["lesions"].copy()
    rows["_grade"] = sm_grade(
        rows[Lesions.nidus_length_mm], rows[Lesions.eloquent], rows[Lesions.deep_drainage]
    )
    rows = rows[sure(rows[Lesions.sm_grade_recorded] != rows["_grade"])]
    found = (
        "grade " + rows[Lesions.sm_grade_recorded].astype("string") + " as written, "
        + rows["_grade"].astype("string") + " from size, eloquence and drainage"
    )
    return Hits(
        "lesions", rows, Lesions.sm_grade_recorded, found,
        "the same grade as written and as worked out",
        "check the size, the eloquence and the drainage; analyses use the grade worked out",
    )


def diameters_in_words(lesions: pd.DataFrame) -> pd.Series:
    """The three diameters of each lesion: `31 × 20 × blank mm`."""
    words = pd.Series("", index=lesions.index)
    for name in DIAMETERS:
        words = words + " × " + figure(lesions[name]).replace("nan", "blank")
    return words.str[3:] + " mm"


@query("diameters not in falling order")
def diameters_out_of_order(tables: Tables) -> Hits:
    """A diameter larger than one named before it."""
    rows = tables["lesions"]
    length, width, height = (rows[name] for name in DIAMETERS)
    rows = rows[sure(length < width) | sure(width < height) | sure(length < height)]
    return Hits(
        "lesions", rows, Lesions.nidus_length_mm, diameters_in_words(rows),
        "three diameters in falling order, the largest first",
        "put them in order; the grade uses the largest",
    )


def _not_counting_from_one(table: str) -> Rule:
    def look(tables: Tables) -> Hits:
        key = list(TABLES[table].key)
        number, inside = key[-1], key[:-1]
        rows = tables[table].dropna(subset=key).drop_duplicates(key)
        within = [rows[name] for name in inside]
        highest = rows.groupby(within, sort=False)[number].transform("max")
        count = rows.groupby(within, sort=False)[number].transform("size")
        last = rows[number] == highest
        rows = rows[sure(last & (highest > count))]
        found = (
            f"{column(table, number)} goes up to " + highest[rows.index].astype("string") + " in "
            + count[rows.index].astype("string") + " rows"
        )
        return Hits(
            table, rows, number, found, "numbers that count from 1 without a gap",
            "add the row that is missing, or number the rows again",
        )

    return Rule("numbers with a gap", "query", look)


NUMBERED = (
    "lesions", "sessions", "injections", "complications", "resections", "radiosurgeries",
    "follow_ups", "haemorrhages",
)


@family
def not_counting_from_one() -> list[Rule]:
    """Numbers of children that do not count from 1, a rule a table."""
    return [_not_counting_from_one(table) for table in NUMBERED]
