"""What happened over time: confirmed obliteration, recurrence, life without haemorrhage.

Obliteration: Aalen–Johansen with death as the competing event and loss as censoring, a result
weighted for loss beside it, and what it changes that imaging only brackets the day of closure.
Lesions cluster in patients, and every interval allows for it. The curves behind the estimates
are made by the functions here, so that figures and numbers cannot differ.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.measures.counting import FEW, few_marked, levels
from analyses.measures.durations import (
    DAYS_A_YEAR,
    DIED,
    bleed_durations,
    follow_up_durations,
    obliteration_durations,
    recurrence_durations,
)
from analyses.measures.measure import Direction, Worked
from analyses.population.unit_frames import NOT_RECORDED, Units, once
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.timetoevent.at_risk import FEW_LEFT
from analyses.statistics.timetoevent.incidence_curves import (
    IncidenceCurves,
    cumulative_incidence,
)
from analyses.statistics.timetoevent.interval_censoring import (
    IntervalCensored,
    interval_censored,
)
from analyses.statistics.timetoevent.survival_curves import SurvivalCurves, follow_up, survival
from analyses.statistics.timetoevent.weighted_incidence import (
    LOSSES_A_COVARIATE,
    weighted_cumulative_incidence,
)
from analyses.words.flags import NOTHING_COUNTED
from registry.schema import Patients

HORIZONS = (1, 2, 5)
"""Years at which every curve is read."""

OBLITERATION = "time.confirmed_obliteration"
WEIGHTED = "time.confirmed_obliteration_weighted"
BRACKETED = "time.obliteration_bracketed"
WIDTH = "time.obliteration_interval_width"
DEATH_FIRST = "time.death_before_obliteration"
RECURRENCE = "time.recurrence"
RECURRENCE_BRACKETED = "time.recurrence_bracketed"
BLEED_FREE = "time.haemorrhage_free_survival"
FIRST_BLEED = "time.first_haemorrhage"
RESTRICTED = "time.haemorrhage_free_restricted_mean"
FOLLOW_UP = "time.follow_up"

GROUPED_AT = 2
"""Years at which groups are read and compared."""
OBLITERATION_BY = ("intent", "ponce_class", "ruptured")
BLEED_FREE_BY = ("ponce_class", "ruptured")


@once
def over_time_estimates(units: Units) -> list[Estimate]:
    """All time.* estimates but the comparisons: at HORIZONS, and by group at GROUPED_AT years.

    Probabilities from 0 to 1 with group {"years": "2"}; times in years.
    """
    lesions, patients = obliteration_durations(units), bleed_durations(units)
    return [
        *_read(incidence(lesions, OBLITERATION, "lesion"), OBLITERATION, "lesion"),
        *_read(incidence(lesions, OBLITERATION, "lesion"), DEATH_FIRST, "lesion", cause=2),
        *_grouped(lesions, OBLITERATION, "lesion", OBLITERATION_BY),
        *weighted(units, lesions),
        *_bracketed(lesions),
        *_recurrence(units),
        *_read(bleed_free(patients), BLEED_FREE, "patient"),
        *_read(incidence(patients, FIRST_BLEED, "patient"), FIRST_BLEED, "patient"),
        *_grouped(patients, BLEED_FREE, "patient", BLEED_FREE_BY),
        *_restricted(patients),
        median_follow_up(units),
    ]


def incidence(
    rows: pd.DataFrame, id: str, unit: str, column: str | None = None,
) -> IncidenceCurves | None:
    """Cumulative incidence of event 1 with 2 competing, by `column` where given; None if empty."""
    if rows.empty:
        return None
    return cumulative_incidence(
        rows["years"], rows["event"], group=categories(rows, column), cluster=repeats(rows),
        keys=list(rows["key"]), id=id, unit=unit, measure="years", label=_label(id),
    )


def bleed_free(rows: pd.DataFrame, column: str | None = None) -> SurvivalCurves | None:
    """Kaplan–Meier curve of life without haemorrhage: a bleed or death ends it."""
    if rows.empty:
        return None
    return survival(
        rows["years"], (rows["event"] > 0).astype(int), group=categories(rows, column),
        keys=list(rows["key"]), id=BLEED_FREE, unit="patient", measure="years",
        label=ALIVE_WITHOUT_BLEED.label,
    )


def bracketed(rows: pd.DataFrame, id: str = BRACKETED) -> IntervalCensored | None:
    """The time of the event itself, known to lie between two images; deaths censor it."""
    if rows.empty:
        return None
    return interval_censored(
        rows["last_negative"], rows["first_positive"], cluster=repeats(rows),
        keys=list(rows["key"]), id=id, unit="lesion", measure="years", label=_label(id),
    )


def weighted(units: Units, lesions: pd.DataFrame) -> list[Estimate]:
    """Confirmed obliteration weighted for loss by age at presentation, rupture and grade.

    None with words where fewer than LOSSES_A_COVARIATE lesions a covariate are censored, or the
    model of loss does not settle.
    """
    groups = [{"years": str(year)} for year in HORIZONS]
    covariates = _loss_covariates(units, lesions)
    censored, needed = int((lesions["event"] == 0).sum()), LOSSES_A_COVARIATE * covariates.shape[1]
    if censored < needed:
        why = f"{censored} lesions censored: too few to model who is lost (at least {needed})"
        return [_nothing(WEIGHTED, "lesion", group, why, len(lesions)) for group in groups]
    try:
        found = weighted_cumulative_incidence(
            lesions["years"], lesions["event"], covariates=covariates, cluster=repeats(lesions),
            keys=list(lesions["key"]), id=WEIGHTED, unit="lesion", measure="years",
            label=CONFIRMED_WEIGHTED.label)
        return [_named(found.at(year), WEIGHTED, group)
                for year, group in zip(HORIZONS, groups, strict=True)]
    except ValueError as reason:
        return [_nothing(WEIGHTED, "lesion", group, str(reason), len(lesions))
                for group in groups]


def _label(id: str) -> str:
    """What the curve of a measure is called; the id itself for a curve that is none."""
    return next((one.label for one in CURVES if one.id == id), id)


def _loss_covariates(units: Units, lesions: pd.DataFrame) -> pd.DataFrame:
    """What loss is modelled on, centred; the few blanks take the median."""
    age = units.tables["patients"].set_index(Patients.patient_id)[Patients.age_y].astype(float)
    grade = lesions["sm_grade_value"].astype("Float64").astype(float)
    columns = pd.DataFrame({"age": lesions[Patients.patient_id].map(age) / 10, "grade": grade})
    middle = columns.median().fillna(0.0)
    return (columns.fillna(middle) - middle).assign(
        ruptured=lesions["ruptured"].eq("yes").astype(float))


def median_follow_up(units: Units) -> Estimate:
    """Median follow-up of the treated patients, in years: reverse Kaplan–Meier."""
    rows = follow_up_durations(units)
    if rows.empty:
        return _nothing(FOLLOW_UP, "patient", None, kind="median")
    found = follow_up(rows["years"], rows["event"], keys=list(rows["key"]), id=FOLLOW_UP,
                      unit="patient", measure="years").median()
    return _named(found, FOLLOW_UP, None)


def common_end(rows: pd.DataFrame) -> int | None:
    """The latest of HORIZONS at which a tenth of the rows is still followed (None: not even 1)."""
    fits = [year for year in HORIZONS
            if len(rows) and (rows["years"] >= year).mean() >= FEW_LEFT]
    return max(fits, default=None)


def repeats(rows: pd.DataFrame) -> np.ndarray | None:
    """The patient of each row where any patient has several, else None."""
    if rows[Patients.patient_id].duplicated().any():
        return rows[Patients.patient_id].to_numpy(dtype=str)
    return None


def large_groups(rows: pd.DataFrame, column: str) -> list[str]:
    """Levels of a grouping with FEW units or more, in order, "not recorded" left out."""
    counts = rows[column].value_counts()
    return [level for level in levels(rows[column], column)
            if level != NOT_RECORDED and counts.get(level, 0) >= FEW]


def categories(rows: pd.DataFrame, column: str | None) -> pd.Series | None:
    """A grouping with its levels in their order, named as its column (None where none is)."""
    if column is None:
        return None
    ordered = pd.Categorical(rows[column], categories=levels(rows[column], column), ordered=True)
    return pd.Series(ordered, name=column)


def _read(
    curves: IncidenceCurves | SurvivalCurves | None, id: str, unit: str, cause: int = 1,
) -> list[Estimate]:
    """A curve at every horizon. A cause that never occurred: 0 with its exact upper limit."""
    found = []
    for year in HORIZONS:
        group = {"years": str(year)}
        if curves is None:
            found.append(_nothing(id, unit, group))
        elif isinstance(curves, SurvivalCurves):
            found.append(_named(curves.at(year), id, group))
        elif cause in curves.causes:
            found.append(_named(curves.at(year, cause=cause), id, group))
        else:
            found.append(_never(curves, year, id, unit, group))
    return found


def _never(
    curves: IncidenceCurves, year: int, id: str, unit: str, group: dict[str, str],
) -> Estimate:
    value, low, high = curves.curve().value_at(year, 2)
    people = curves.people
    read = curves.at(year)
    if read.value is None:
        return replaced(_named(read, id, group), events=0)
    return Estimate(
        id=id, kind="probability", value=value, low=low, high=high, unit=unit, group=group,
        events=0, n=people.duration.size, clusters=people.clusters or people.duration.size,
        method=read.method,
        flags=("no such event yet: exact upper limit for the number followed so far",),
    )


def _grouped(
    rows: pd.DataFrame, id: str, unit: str, columns: tuple[str, ...],
) -> list[Estimate]:
    """At GROUPED_AT years by group; every level that occurs, the small ones said to be so."""
    found = []
    for column in columns:
        for level in levels(rows[column], column):
            part = rows[rows[column] == level]
            curves = bleed_free(part) if id == BLEED_FREE else incidence(part, id, unit)
            assert curves is not None  # a level that occurs has rows
            group = {"years": str(GROUPED_AT), column: level}
            found.append(few_marked(_named(curves.at(GROUPED_AT), id, group)))
    return found


def _bracketed(lesions: pd.DataFrame) -> list[Estimate]:
    """Closure itself at every horizon, and the median width of its brackets."""
    deaths = int((lesions["event"] == DIED).sum())
    name = "death" if deaths == 1 else "deaths"
    words = (f"{deaths} {name} counted as censored",) if deaths else ()
    found = bracketed(lesions)
    read = _read_bracketed(found, BRACKETED, words)
    return read if found is None else [*read, _in_days(_named(found.widths(), WIDTH, None))]


def _read_bracketed(
    found: IntervalCensored | None, id: str, words: tuple[str, ...],
) -> list[Estimate]:
    groups = [{"years": str(year)} for year in HORIZONS]
    if found is None:
        return [_nothing(id, "lesion", group) for group in groups]
    return [_named(found.at(year), id, group, words)
            for year, group in zip(HORIZONS, groups, strict=True)]


def _in_days(width: Estimate) -> Estimate:
    """A width of years in days: most are a few."""
    value = None if width.value is None else round(width.value * DAYS_A_YEAR, 6)
    return replaced(width, value=value, measure="days", beside=tuple(map(_in_days, width.beside)))


def _recurrence(units: Units) -> list[Estimate]:
    """Recurrence after confirmed obliteration; lesions not imaged again are told, not guessed."""
    rows = recurrence_durations(units)
    unseen = int((~rows["imaged"]).sum()) if len(rows) else 0
    name = "lesion" if unseen == 1 else "lesions"
    words = (f"{unseen} {name} without imaging after confirmation",) if unseen else ()
    read = _read(incidence(rows, RECURRENCE, "lesion"), RECURRENCE, "lesion")
    itself = _read_bracketed(bracketed(rows, RECURRENCE_BRACKETED), RECURRENCE_BRACKETED, ())
    return [replaced(e, flags=(*e.flags, *words)) for e in (*read, *itself)]


def _restricted(patients: pd.DataFrame) -> list[Estimate]:
    """Mean years without haemorrhage within the latest horizon that can be read."""
    curves, end = bleed_free(patients), common_end(patients)
    if curves is None or end is None:
        return [_nothing(RESTRICTED, "patient", None, kind="restricted mean")]
    return [_named(curves.restricted_mean(end), RESTRICTED, {"years": str(end)})]


def _named(
    found: Estimate, id: str, group: dict[str, str] | None, words: tuple[str, ...] = (),
) -> Estimate:
    """The estimate under our id and group, with its patients counted also where none repeats."""
    return replaced(found, id=id, group=group, flags=(*found.flags, *words),
                    clusters=found.n if found.clusters is None else found.clusters)


def _nothing(
    id: str, unit: str, group: dict[str, str] | None, why: str = NOTHING_COUNTED, n: int = 0,
    kind: str = "probability",
) -> Estimate:
    return Estimate(id=id, kind=kind, value=None, unit=unit, group=group, n=n, events=0,
                    clusters=0, flags=(why,), measure="" if kind == "probability" else "years")


IMAGES = ("follow_ups.imaging", "follow_ups.occlusion", "follow_ups.follow_up_date",
          "resections.result", "resections.angiography_date", "patients.death_date")
VISITS = ("follow_ups.follow_up_date", "haemorrhages.haemorrhage_date", "patients.death_date")
CONFIRMED_OVER_TIME = Worked(
    id=OBLITERATION, units=("lesion",), kind="probability",
    label="Obliteration confirmed",
    subject="obliteration confirmed by catheter angiography",
    counted="probability that a catheter angiogram has shown complete occlusion, death "
            "competing, loss censored",
    among="lesions treated, from their first treatment",
    work=over_time_estimates,
    direction=Direction.BENEFIT, answers=("avm-endovascular: Durability",),
    uses=IMAGES, checked_against="R cmprsk on open data sets")
DEATH_BEFORE = Worked(
    id=DEATH_FIRST, units=("lesion",), kind="probability",
    label="Death before confirmed obliteration",
    subject="death before obliteration was confirmed",
    counted="probability of death before obliteration was confirmed",
    among="lesions treated, from their first treatment",
    work=over_time_estimates,
    direction=Direction.HARM, uses=IMAGES, checked_against="R cmprsk on open data sets")
CONFIRMED_WEIGHTED = Worked(
    id=WEIGHTED, units=("lesion",), kind="probability",
    label="Obliteration confirmed, weighted for loss",
    subject="obliteration confirmed by catheter angiography, weighted for loss",
    counted="the same probability, with those still followed standing for those lost of like "
            "age, grade and rupture",
    among="lesions treated, from their first treatment",
    work=over_time_estimates, uses=(*IMAGES, "patients.age_y"),
    checked_against="R survival, weights of the censoring")
CLOSURE_BRACKETED = Worked(
    id=BRACKETED, units=("lesion",), kind="probability",
    label="Obliteration itself, between two images",
    subject="obliteration itself, known to lie between two images",
    counted="probability of closure by Turnbull's estimate, each closure between the last day "
            "on which the nidus was open and the day of confirmation",
    among="lesions treated, from their first treatment",
    work=over_time_estimates, uses=IMAGES, checked_against="Turnbull 1976, worked example")
BRACKET_WIDTH = Worked(
    id=WIDTH, units=("lesion",), kind="median",
    label="Time between the two images",
    subject="the time between the two images around a closure",
    counted="days from the last image or treatment with an open nidus to confirmation",
    among="lesions of confirmed obliteration",
    work=over_time_estimates, uses=IMAGES, checked_against="order statistics, Conover")
REOPENED = Worked(
    id=RECURRENCE, units=("lesion",), kind="probability",
    label="Recurrence after confirmed obliteration",
    subject="recurrence after confirmed obliteration",
    counted="probability that an image has shown the nidus again, watched to the last image",
    among="lesions of confirmed obliteration, from its confirmation",
    work=over_time_estimates,
    direction=Direction.HARM, uses=IMAGES, checked_against="R cmprsk on open data sets")
REOPENED_BRACKETED = Worked(
    id=RECURRENCE_BRACKETED, units=("lesion",), kind="probability",
    label="Recurrence itself, between two images",
    subject="recurrence itself, known to lie between two images",
    counted="probability of reopening by Turnbull's estimate, each between the last image "
            "that showed closure and the first that showed the nidus",
    among="lesions of confirmed obliteration, from its confirmation",
    work=over_time_estimates, direction=Direction.HARM,
    uses=IMAGES, checked_against="Turnbull 1976, worked example")
ALIVE_WITHOUT_BLEED = Worked(
    id=BLEED_FREE, units=("patient",), kind="probability",
    label="Alive without haemorrhage",
    subject="being alive without haemorrhage",
    counted="probability of neither haemorrhage nor death",
    among="patients, from their first treatment",
    work=over_time_estimates,
    direction=Direction.BENEFIT, uses=VISITS, checked_against="R survival on open data sets")
FIRST_HAEMORRHAGE = Worked(
    id=FIRST_BLEED, units=("patient",), kind="probability",
    label="First haemorrhage",
    subject="a first haemorrhage",
    counted="probability of a haemorrhage, death competing",
    among="patients, from their first treatment",
    work=over_time_estimates,
    direction=Direction.HARM, uses=VISITS, checked_against="R survival on open data sets")
MEAN_WITHOUT_BLEED = Worked(
    id=RESTRICTED, units=("patient",), kind="restricted mean",
    label="Mean time alive without haemorrhage",
    subject="mean time alive without haemorrhage",
    counted="years alive without haemorrhage within the years given",
    among="patients, from their first treatment",
    work=over_time_estimates,
    direction=Direction.BENEFIT, uses=VISITS, checked_against="R survival on open data sets")
FOLLOWED = Worked(
    id=FOLLOW_UP, units=("patient",), kind="median",
    label="Follow-up",
    subject="follow-up",
    counted="years from the first treatment to the last day known of, by reverse Kaplan–Meier",
    among="patients treated",
    work=over_time_estimates,
    answers=("process 12", "strobe 14c"), uses=VISITS,
    checked_against="Schemper and Smith 1996; R survival")
CURVES = (CONFIRMED_OVER_TIME, CLOSURE_BRACKETED, REOPENED, REOPENED_BRACKETED, FIRST_HAEMORRHAGE)
