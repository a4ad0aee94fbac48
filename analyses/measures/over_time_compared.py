"""Groups compared over time: effects with intervals, and no test.

Confirmed obliteration: differences in cumulative incidence. Life without haemorrhage: differences
in restricted mean. Groups differ in more than
the one thing that names them: a difference describes, it is not an effect of the group.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.durations import bleed_durations, obliteration_durations
from analyses.measures.measure import Worked
from analyses.measures.over_time import (
    BLEED_FREE_BY,
    GROUPED_AT,
    IMAGES,
    OBLITERATION,
    OBLITERATION_BY,
    RESTRICTED,
    VISITS,
    categories,
    common_end,
    incidence,
    large_groups,
)
from analyses.population.unit_frames import Units, once
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.timetoevent.log_rank import log_rank_test
from registry.schema import Patients

DIFFERENCE = f"{OBLITERATION}.difference"
MEAN_DIFFERENCE = f"{RESTRICTED}.difference"


@once
def compared_over_time(units: Units) -> list[Estimate]:
    """Differences of every group of FEW or more units against the first."""
    lesions, patients = obliteration_durations(units), bleed_durations(units)
    return [
        *(e for column in OBLITERATION_BY for e in obliteration_differences(lesions, column)),
        *(e for column in BLEED_FREE_BY for e in mean_differences(patients, column)),
    ]


def obliteration_differences(lesions: pd.DataFrame, column: str) -> list[Estimate]:
    """Cumulative incidence at GROUPED_AT years, each later group minus the first.

    Intervals allow for patients with several lesions.
    """
    names = large_groups(lesions, column)
    rows = lesions[lesions[column].isin(names)].reset_index(drop=True)
    if len(names) < 2:
        return []
    curves = incidence(rows, OBLITERATION, "lesion", column)
    assert curves is not None
    found = []
    for name in names[1:]:
        difference = curves.difference(GROUPED_AT, name, names[0])
        found.append(replaced(
            difference, id=DIFFERENCE,
            group={"years": str(GROUPED_AT), column: f"{name} minus {names[0]}"},
            clusters=rows.loc[rows[column].isin([name, names[0]]), Patients.patient_id].nunique()))
    return found


def mean_differences(patients: pd.DataFrame, column: str) -> list[Estimate]:
    """Mean years without haemorrhage within a common time, each later group minus the first."""
    names = large_groups(patients, column)
    rows = patients[patients[column].isin(names)].reset_index(drop=True)
    ends = [common_end(rows[rows[column] == name]) for name in names]
    if len(names) < 2 or None in ends:
        return []
    tau = min(end for end in ends if end is not None)
    test = log_rank_test(
        rows["years"], (rows["event"] > 0).astype(int), categories(rows, column), tau=tau,
        id=RESTRICTED, unit="patient", measure="years")
    return [replaced(e, id=MEAN_DIFFERENCE, clusters=e.n,
                     group={"years": str(tau), column: f"{name} minus {names[0]}"})
            for name, e in zip(names[1:], test.effects, strict=True)]


OBLITERATION_DIFFERENCE = Worked(
    id=DIFFERENCE, units=("lesion",), kind="difference",
    label="Difference in confirmed obliteration",
    subject="the difference in confirmed obliteration",
    counted="probability in one group less that in the other",
    among="lesions treated",
    work=compared_over_time, uses=IMAGES, checked_against="R cmprsk")
MEAN_TIME_DIFFERENCE = Worked(
    id=MEAN_DIFFERENCE, units=("patient",), kind="difference",
    label="Difference in mean time alive without haemorrhage",
    subject="the difference in mean time alive without haemorrhage",
    counted="mean years in one group less those in the other",
    among="patients",
    work=compared_over_time, uses=VISITS, checked_against="R survival")
