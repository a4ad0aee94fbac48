"""Grades and scores for every lesion of the registry, worked out and never typed."""

from __future__ import annotations

import pandas as pd

from registry.clinical.elementwise import column, numbers, plain
from registry.clinical.scores import (
    SCORE_CAUTION,
    UNCONFIRMED_SCORES,
    avmes,
    buffalo_score,
    embolization_risk,
    lawton_young,
    nidus_volume_ml,
    ponce_class,
    rbas,
    sm_grade,
    vras,
)
from registry.schema import Lesions, Patients, Radiosurgeries, Resections, Sessions

__all__ = [
    "DAYS_A_YEAR", "GRADE_COLUMNS", "SCORE_CAUTION", "UNCONFIRMED_SCORES", "add_grades",
    "age_at", "avmes", "buffalo_score", "embolization_risk", "lawton_young", "nidus_volume_ml",
    "ponce_class", "rbas", "sm_grade", "vras",
]

DAYS_A_YEAR = 365.25
LESION_KEY = [Patients.patient_id, Lesions.lesion_no]

# What `add_grades` adds, with the type of each column.
GRADE_COLUMNS = {
    "nidus_volume_ml": "float64",
    "age_at_treatment": "float64",
    "sm_grade": "Int64",
    "ponce_class": "string",
    "lawton_young": "Int64",
    "lawton_young_sum": "Int64",
    "buffalo_score": "Int64",
    "avmes": "Int64",
    "embolization_risk": "Int64",
    "rbas": "float64",
    "vras": "Int64",
    "radiosurgery_basis": "string",
}
FROM_RADIOSURGERY = "target volume and age at radiosurgery"
FROM_NIDUS = "nidus volume and age at first treatment"


def add_grades(
    patients: pd.DataFrame, lesions: pd.DataFrame, sessions: pd.DataFrame,
    radiosurgeries: pd.DataFrame, resections: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """The lesions with the columns of `GRADE_COLUMNS` added, one row a lesion as before.

    Takes the registry's tables with their own column names; a column that is absent is a
    blank one. `age_at_treatment` (years) is the age at the lesion's first recorded
    embolization, radiosurgery or (where given) resection; blank before any. It is **not**
    capped at 90, because the scores use it: cap it before it leaves the service. `rbas` and
    `vras` use the target volume and the age at the first radiosurgery where there was one, the
    nidus volume and `age_at_treatment` elsewhere; `radiosurgery_basis` says which. `vras` and
    `lawton_young` take "bled before its first treatment" for earlier haemorrhage. A score with
    a missing part is blank, and so is one of `UNCONFIRMED_SCORES`.
    """
    graded = lesions.copy()
    first = _first_treatment(lesions, [sessions, radiosurgeries, resections])
    graded["age_at_treatment"] = _ages(patients, lesions, first)
    graded["nidus_volume_ml"] = nidus_volume_ml(
        column(lesions, Lesions.nidus_length_mm), column(lesions, Lesions.nidus_width_mm),
        column(lesions, Lesions.nidus_height_mm),
    )
    graded = graded.assign(**_anatomical(graded, sessions))
    graded = graded.assign(**_radiosurgical(patients, graded, radiosurgeries))
    for name in UNCONFIRMED_SCORES:
        graded[name] = pd.NA
    own = [name for name in lesions.columns if name not in GRADE_COLUMNS]
    return graded.astype(GRADE_COLUMNS)[[*own, *GRADE_COLUMNS]]


def age_at(age_y: pd.Series, presented: pd.Series, treated: pd.Series) -> pd.Series:
    """Age in years at `treated`: age at presentation and the years since then ("float64").

    Years are days / 365.25. A presentation known only to its month or year may be stored as a
    day after the treatment; the time between is then taken as none.
    """
    days = pd.to_datetime(treated) - pd.to_datetime(presented)
    years = (days / pd.Timedelta(days=1) / DAYS_A_YEAR).clip(lower=0)
    return plain(numbers(age_y) + numbers(years))


def _ages(
    patients: pd.DataFrame, lesions: pd.DataFrame, treated: pd.Series,
) -> pd.Series:
    """Age at the dates in `treated`, which has a row a lesion."""
    of_patient = patients.drop_duplicates(Patients.patient_id).set_index(Patients.patient_id)
    age = lesions[Patients.patient_id].map(column(of_patient, Patients.age_y))
    presented = lesions[Patients.patient_id].map(column(of_patient, Patients.presentation_date))
    return age_at(age, presented, treated)


def _lesion_keys(table: pd.DataFrame) -> pd.MultiIndex:
    return pd.MultiIndex.from_arrays(
        [table[Patients.patient_id].astype("object"), table[Lesions.lesion_no].astype("Int64")],
        names=LESION_KEY,
    )


def _for_lesions(lesions: pd.DataFrame, by_key: pd.Series) -> pd.Series:
    """The value of each lesion, on the index of `lesions`; blank where there is none."""
    found = by_key.reindex(_lesion_keys(lesions))
    return pd.Series(found.array, index=lesions.index)


def _first_treatment(
    lesions: pd.DataFrame, tables: list[pd.DataFrame | None],
) -> pd.Series:
    """Date of each lesion's first treatment among these tables."""
    names = (Sessions.session_date, Radiosurgeries.radiosurgery_date, Resections.resection_date)
    dates = [
        pd.Series(pd.to_datetime(table[name]).array, index=_lesion_keys(table))
        for table, name in zip(tables, names, strict=True)
        if table is not None and len(table)
    ]
    if not dates:
        return pd.Series(pd.NaT, index=lesions.index)
    first = pd.concat(dates).groupby(level=LESION_KEY).min()
    return _for_lesions(lesions, first)


def _first_rows(table: pd.DataFrame, order: list[str]) -> pd.DataFrame:
    """The first row of each lesion in that order, indexed by the lesion's key."""
    ordered = table.sort_values(order, kind="stable")
    first = ordered.drop_duplicates(LESION_KEY)
    return first.set_index(_lesion_keys(first))


def _anatomical(graded: pd.DataFrame, sessions: pd.DataFrame) -> dict[str, pd.Series]:
    """The scores that rest on the lesion, the age and the first plan."""
    length, eloquent, deep, pedicles, bled = (
        column(graded, name)
        for name in (
            Lesions.nidus_length_mm,
            Lesions.eloquent,
            Lesions.deep_drainage,
            Lesions.feeding_pedicles,
            Lesions.haemorrhage_before,
        )
    )
    # The plan at the first session; a number first written at a later one is no plan.
    first_session = _first_rows(sessions, [Sessions.session_no])
    planned = _for_lesions(graded, column(first_session, Sessions.sessions_planned))
    grade = sm_grade(length, eloquent, deep)
    supplement = lawton_young(
        graded["age_at_treatment"], bled, column(graded, Lesions.nidus_border)
    )
    return {
        "sm_grade": grade,
        "ponce_class": ponce_class(grade),
        "lawton_young": supplement,
        "lawton_young_sum": grade + supplement,
        "buffalo_score": buffalo_score(pedicles, column(graded, Lesions.feeder_calibre), eloquent),
        "avmes": avmes(
            pedicles, column(graded, Lesions.draining_veins), length,
            column(graded, Lesions.vascular_eloquence),
        ),
        "embolization_risk": embolization_risk(planned, deep, eloquent, length),
    }


def _radiosurgical(
    patients: pd.DataFrame, graded: pd.DataFrame, radiosurgeries: pd.DataFrame,
) -> dict[str, pd.Series]:
    """The two radiosurgery scores, and what volume and age they rest on."""
    first = _first_rows(
        radiosurgeries, [Radiosurgeries.radiosurgery_date, Radiosurgeries.radiosurgery_no]
    )
    dates = _for_lesions(graded, pd.to_datetime(first[Radiosurgeries.radiosurgery_date]))
    target = numbers(_for_lesions(graded, column(first, Radiosurgeries.target_volume_ml)))
    treated = dates.notna()
    # A target volume that was not recorded leaves the score blank: the nidus before
    # embolization is not what was irradiated.
    volume = target.where(treated, numbers(graded["nidus_volume_ml"]))
    age = _ages(patients, graded, dates).where(treated, graded["age_at_treatment"])
    basis = pd.Series(FROM_NIDUS, index=graded.index).where(~treated, FROM_RADIOSURGERY)
    eloquent, bled = column(graded, "eloquent"), column(graded, Lesions.haemorrhage_before)
    return {
        "rbas": rbas(volume, age, column(graded, "location")),
        "vras": vras(volume, eloquent, bled),
        "radiosurgery_basis": basis,
    }
