"""Haemorrhages per 100 patient-years: before treatment, under it, and after obliteration.

Person-time runs from day to day (years = days/365.25) and ends at death or the last day on which
the patient is known about. "Before treatment" starts at presentation, whose own bleed does not
count; "under treatment" starts at the first treatment and ends when a catheter angiogram has
confirmed the closure of every treated lesion; "after obliteration" is what follows. The days from
a treatment to day 30 after it are also shown apart.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.measures.durations import DAYS_A_YEAR, confirmed_days, last_known, treatments
from analyses.measures.measure import Direction, Worked
from analyses.measures.places import Place
from analyses.population.bleeding import distinct_bleeds
from analyses.population.unit_frames import NOT_RECORDED, Units, once
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.rates.rates import clustered_rate, clustered_rate_ratio
from analyses.words.flags import NOTHING_COUNTED
from registry.rules.known_dates import earliest, latest
from registry.schema import Patients

ID = "rate.haemorrhage"
RATIO = "rate.haemorrhage.ratio"
UNIT = "patient-year"
PER = 100
WINDOW_DAYS = 30

BEFORE, UNDER, AFTER = "before treatment", "under treatment", "after obliteration"
NEAR, LATER = ", treatment day to day 30", ", after day 30"
STAGES = (BEFORE, UNDER, UNDER + NEAR, UNDER + LATER, AFTER, AFTER + NEAR, AFTER + LATER)
IN_MAIN_TEXT = (BEFORE, UNDER + LATER, AFTER)
"""The stages of a main text. Bleeds from a treatment day to day 30 belong to the complications and
stand there: mixed with the years after them they made a rate that closure seemed to end."""
RATIOS = ((UNDER + LATER, BEFORE), (AFTER, UNDER + LATER), (AFTER, BEFORE),
          (UNDER + NEAR, UNDER + LATER))
"""Which stages are compared, the first over the second."""


@once
def haemorrhage_estimates(units: Units) -> list[Estimate]:
    """All rate.haemorrhage* estimates: per 100 patient-years, clustered on the patient.

    Overall: since the first treatment. By `stage` (STAGES); before treatment also by how the
    patient presented (`presented`), since then by whether a lesion had bled (`ruptured`); rate
    ratios between stages, and between ruptured and not.
    """
    rows = stretches(units)
    since = rows[rows["stage"] != BEFORE]
    found = [rate(since, None)]
    for stage in STAGES:
        found.append(rate(in_stage(rows, stage), {"stage": stage}))
    for presented in ("haemorrhage", "other"):
        mine = in_stage(rows, BEFORE)
        found.append(rate(mine[mine["presented"] == presented],
                          {"stage": BEFORE, "presented": presented}))
    for stage in (UNDER, AFTER):
        mine = in_stage(rows, stage)
        found += [rate(mine[mine["ruptured"] == level], {"stage": stage, "ruptured": level})
                  for level in ("no", "yes", NOT_RECORDED) if (mine["ruptured"] == level).any()]
    return [*found, *_ratios(rows)]


def stretches(units: Units) -> pd.DataFrame:
    """Person-time of every patient, one row a stage and patient.

    Columns: `patient_id`, `stage` (of STAGES, those of the split kind: BEFORE, UNDER + NEAR …),
    `years`, `bleeds` (distinct ones), `inexact` (of these, day not known), `from_complications`
    (of these, in the complications table only), `ruptured` and `presented`. Patients never
    treated stay before treatment to their last contact.
    """
    bleeds = distinct_bleeds(units.tables)
    people = _people(units, bleeds)
    windows = _windows(units, people)
    times = people.assign(**{
        BEFORE: _days(people["presented_on"], people["treated"].fillna(people["end"])),
        UNDER: _days(people["treated"], people["shut"]).where(people["treated"].notna(), 0.0),
        AFTER: _days(people["shut"], people["end"]).where(people["treated"].notna(), 0.0),
        UNDER + NEAR: windows[UNDER], AFTER + NEAR: windows[AFTER],
    })
    for stage in (UNDER, AFTER):
        times[stage + LATER] = times[stage] - times[stage + NEAR]
    parts = [BEFORE, UNDER + NEAR, UNDER + LATER, AFTER + NEAR, AFTER + LATER]
    long = times.melt(id_vars=[Patients.patient_id, "ruptured", "presented"], value_vars=parts,
                      var_name="stage", value_name="days")
    counts = _counted(units, people, bleeds[~bleeds["presenting"]])
    long = long.merge(counts, on=[Patients.patient_id, "stage"], how="left")
    for name in ("bleeds", "inexact", "from_complications"):
        long[name] = long[name].fillna(0).astype(int)
    long["years"] = long["days"] / DAYS_A_YEAR
    kept = long[(long["years"] > 0) | (long["bleeds"] > 0)]
    return kept.sort_values([Patients.patient_id, "stage"], ignore_index=True)


def in_stage(rows: pd.DataFrame, stage: str) -> pd.DataFrame:
    """The stretches of a stage, its two parts together where the whole is asked for."""
    return rows[rows["stage"].isin({stage, stage + NEAR, stage + LATER})]


def rate(rows: pd.DataFrame, group: dict[str, str] | None) -> Estimate:
    """Haemorrhages per 100 patient-years of some stretches; its rows are the patients."""
    columns = ["bleeds", "years", "inexact", "from_complications"]
    each = rows.groupby(Patients.patient_id, as_index=False)[columns].sum()
    found = (
        clustered_rate(
            each["bleeds"],
            each["years"],
            each[Patients.patient_id].to_numpy(dtype=str),
            per=PER,
            id=ID,
            unit=UNIT,
            group=group,
            keys=list(each[Patients.patient_id]),
        )
        if each["years"].sum() > 0
        else _no_time(each, group)
    )
    return replaced(found, flags=(*found.flags, *_placement(each)))


def ratio(rows: pd.DataFrame, arm: pd.Series, names: tuple[str, str],
          group: dict[str, str]) -> Estimate:
    """The rate where `arm` is the first name over that where it is the second."""
    kept = rows[arm.isin(names)]
    arm = arm[arm.isin(names)]
    time = kept["years"].groupby(arm).sum()
    if any(time.get(name, 0.0) <= 0 for name in names):
        return Estimate(id=RATIO, kind="rate ratio", value=None, unit=UNIT, group=group,
                        flags=(NOTHING_COUNTED,))
    # A stage has two parts: a patient is one row of an arm, or would be counted twice in it.
    each = kept.groupby([kept[Patients.patient_id], arm.rename("arm")])[
        ["bleeds", "years"]].sum().reset_index()
    return clustered_rate_ratio(
        each["bleeds"], each["years"], each["arm"].tolist(),
        each[Patients.patient_id].to_numpy(dtype=str), reference=names[1], per=PER, id=RATIO,
        unit=UNIT, group=group,
    )


def _ratios(rows: pd.DataFrame) -> list[Estimate]:
    found = []
    for first, second in RATIOS:
        arm = pd.Series(pd.NA, index=rows.index, dtype="string")
        for stage in (first, second):
            arm[in_stage(rows, stage).index] = stage
        found.append(ratio(rows, arm, (first, second), {"stage": f"{first} / {second}"}))
    under = in_stage(rows, UNDER + LATER)
    named = under["ruptured"].map({"yes": "ruptured", "no": "not ruptured"})
    found.append(ratio(under, named, ("ruptured", "not ruptured"),
                       {"stage": UNDER + LATER, "ruptured": "yes / no"}))
    return found


def _people(units: Units, bleeds: pd.DataFrame) -> pd.DataFrame:
    """All patients with the days that bound their stages.

    `presented_on` (the middle of the month or year where no more is known), `treated`, `shut`
    (every treated lesion confirmed; the end where not), `end`.
    """
    people = units.tables["patients"]
    known = people[Patients.presentation_date_known_to]
    first = earliest(people[Patients.presentation_date], known)
    last = latest(people[Patients.presentation_date], known)
    treated_people = units.patients.set_index("key")
    treated = people[Patients.patient_id].map(treated_people["first_treatment"])
    end = people[Patients.patient_id].map(last_known(units, bleeds))
    limit = treated.fillna(end)
    middle = first + pd.to_timedelta((last - first).dt.days // 2, unit="D")
    shut = people[Patients.patient_id].map(_all_shut(units)).fillna(end)
    bled = people[Patients.presentation].eq("haemorrhage").fillna(False)
    return pd.DataFrame(
        {
            Patients.patient_id: people[Patients.patient_id],
            "treated": treated,
            "end": end,
            "presented_on": middle.mask(middle > limit, limit),
            "shut": shut.mask(shut > end, end).mask(shut < treated, treated),
            "ruptured": people[Patients.patient_id]
            .map(treated_people["ruptured"])
            .fillna(NOT_RECORDED),
            "presented": np.where(bled, "haemorrhage", "other"),
        }
    ).reset_index(drop=True)


def _all_shut(units: Units) -> pd.Series:
    """The day by which every treated lesion of a patient was confirmed closed (patients where so).
    """
    shut = confirmed_days(units)
    owner = units.lesions[Patients.patient_id].set_axis(shut.index)
    return shut.groupby(owner).agg(lambda days: days.max() if days.notna().all() else pd.NaT)


def _windows(units: Units, people: pd.DataFrame) -> pd.DataFrame:
    """Days of each patient within 30 days of a treatment, under treatment and after closure."""
    days = _treatment_days(units)
    following = days.groupby(Patients.patient_id)["day"].shift(-1)
    stop = days["day"] + pd.Timedelta(days=WINDOW_DAYS)
    days = days.assign(stop=stop.mask(following < stop, following))
    days = days.merge(
        people[[Patients.patient_id, "treated", "shut", "end"]], on=Patients.patient_id
    )
    found = {}
    for stage, low, high in ((UNDER, "treated", "shut"), (AFTER, "shut", "end")):
        inside = _days(days[["day", low]].max(axis=1), days[["stop", high]].min(axis=1))
        found[stage] = inside.groupby(days[Patients.patient_id]).sum()
    return (
        pd.DataFrame(found).reindex(people[Patients.patient_id]).fillna(0.0).set_axis(people.index)
    )


def _treatment_days(units: Units) -> pd.DataFrame:
    days = treatments(units).assign(
        patient_id=lambda rows: rows[Patients.patient_id].astype("string")
    )
    return days[[Patients.patient_id, "day"]].drop_duplicates().sort_values(
        [Patients.patient_id, "day"], ignore_index=True)


def _counted(units: Units, people: pd.DataFrame, bleeds: pd.DataFrame) -> pd.DataFrame:
    """Distinct bleeds by patient and stage: `bleeds`, `inexact`, `from_complications`."""
    rows = bleeds.merge(people, on=Patients.patient_id)
    rows = rows[(rows["day"] > rows["presented_on"]) | (rows["day"] >= rows["treated"])]
    last = pd.merge_asof(
        rows.reset_index(names="row").sort_values("day", kind="stable"),
        _treatment_days(units).rename(columns={"day": "treatment"}).sort_values(
            "treatment", kind="stable"),
        left_on="day", right_on="treatment", by=Patients.patient_id).set_index("row")["treatment"]
    near = (rows["day"] - last.reindex(rows.index)).dt.days <= WINDOW_DAYS
    part = np.where(near, NEAR, LATER)
    stage = np.where(rows["day"] <= rows["shut"], UNDER, AFTER).astype(object) + part
    stage = np.where(rows["treated"].notna() & (rows["day"] >= rows["treated"]), stage, BEFORE)
    return rows.assign(stage=stage, bleeds=1, inexact=~rows["exact"],
                       from_complications=rows["complication_only"]).groupby(
        [Patients.patient_id, "stage"], as_index=False)[["bleeds", "inexact",
                                                   "from_complications"]].sum()


def _days(start: pd.Series, stop: pd.Series) -> pd.Series:
    return (stop - start).dt.days.clip(lower=0).fillna(0).astype(float)


def _no_time(each: pd.DataFrame, group: dict[str, str] | None) -> Estimate:
    return Estimate(id=ID, kind="rate", value=None, unit=UNIT, group=group, per=float(PER),
                    denominator=0.0, events=int(each["bleeds"].sum()), n=len(each),
                    clusters=len(each), flags=(NOTHING_COUNTED,))


def _placement(each: pd.DataFrame) -> tuple[str, ...]:
    """How bleeds were placed, where the reader has to know it."""
    inexact, only = int(each["inexact"].sum()), int(each["from_complications"].sum())
    said = []
    if inexact:
        said.append(f"{_bleeds(inexact)} of unknown day placed at the middle of the time possible")
    if only:
        said.append(f"{_bleeds(only)} recorded as a complication only")
    return tuple(said)


def _bleeds(count: int) -> str:
    return "1 haemorrhage" if count == 1 else f"{count} haemorrhages"


HAEMORRHAGE = Worked(
    id=ID, units=(UNIT,), label="Haemorrhage", subject="haemorrhage", kind="rate",
    counted="distinct haemorrhages (bleeds of a patient within 7 days are one; a bleed that is "
            "also a complication is one; the presenting bleed left out)",
    among="patient-years, days/365.25, to death or the last day on which the patient is known "
          "about",
    direction=Direction.HARM, window_days=WINDOW_DAYS, work=haemorrhage_estimates,
    shown_in={Place.DEFINITIONS: (UNIT,), Place.BLEEDING_TEXT: (UNIT,)},
    answers=("avm-endovascular: Haemorrhage", "avm-terminology: Haemorrhage"),
    uses=("haemorrhages.haemorrhage_date", "haemorrhages.cause", "haemorrhages.date_known_to",
          "haemorrhages.complication_no", "complications.kind", "patients.presentation_date"),
    checked_against="Kim 2014, Neurology: 141 in 6,074 patient-years; exact Poisson (Garwood 1936)")
HAEMORRHAGE_RATIO = Worked(
    id=RATIO, units=(UNIT,), label="Ratio of haemorrhage rates",
    subject="the ratio of haemorrhage rates", counted="the first rate", among="the second rate",
    kind="rate ratio", work=haemorrhage_estimates, uses=HAEMORRHAGE.uses,
    checked_against="R poisson.test")
