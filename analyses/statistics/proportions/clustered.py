"""A proportion of rows that repeat within patients."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level, codes, event_values, same_length
from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.estimate import Estimate, counted_rows, replaced
from analyses.statistics.presentation import few_units, presentation_flags
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.intervals import METHODS, clopper_pearson
from analyses.words.flags import BY_PATIENTS, NO_VARIATION, NOTHING_COUNTED, ONE_CLUSTER

KORN_GRAUBARD = "Korn–Graubard, clustered on the patient"
BY_PATIENT_BOUNDS = "Clopper–Pearson by patients"
BY_ROW_BOUNDS = "Clopper–Pearson by rows"


def clustered_proportion(
    event: ArrayLike, cluster: Sequence[Any] | ArrayLike, *, level: float = 0.95,
    id: str = "proportion", unit: str = "", group: Mapping[str, str] | None = None,
    keys: Sequence[Any] | None = None,
) -> Estimate:
    """A proportion of rows that repeat within patients: the Korn–Graubard interval.

    event: 0/1 or booleans, one a row; cluster: the patient of each row. Taylor-linearised
    variance V by patient with C/(C-1); effective n = p(1-p)/V · (t(n-1)/t(C-1))², capped at n;
    Clopper–Pearson with it. Source: Korn and Graubard 1998; NCHS Series 2 No 175 (2017).

    One row a patient: plain Clopper–Pearson. No events, or only events: both exact bounds, by
    patients (low and high, flagged) and by rows (in `beside`). One patient with both: no
    interval, flagged. Patients who do not differ at all (V = 0): the cap, n, flagged.

    Raises ValueError for outcomes other than 0 and 1, missing outcomes or patients, or columns of
    different length.
    """
    outcome, (patient, names) = event_values(event), codes(cluster)
    same_length(event=outcome, cluster=patient)
    counted = Estimate(
        id=id, kind="proportion", value=None, unit=unit, group=group, level=check_level(level),
        method=KORN_GRAUBARD, events=int(outcome.sum()), n=len(outcome), clusters=len(names),
        counted=counted_rows(keys, outcome),
    )
    if not len(outcome):
        return replaced(counted, flags=(NOTHING_COUNTED,))
    return _clustered(outcome, patient, counted)


def _clustered(outcome: Floats, patient: Whole, counted: Estimate) -> Estimate:
    """The estimate of one non-empty set of rows."""
    events = by_patient.totals(outcome, patient)
    rows = by_patient.totals(np.ones_like(outcome), patient)
    limits = by_patient.korn_graubard(events, rows, counted.level)
    at_95 = by_patient.korn_graubard(events, rows, 0.95)
    n, found = len(outcome), int(outcome.sum())
    flags = few_units(n) + _case_flags(found, n, len(rows), float(limits.variance))
    if ONE_CLUSTER not in flags:
        flags += presentation_flags(
            found / n, float(at_95.low), float(at_95.high), float(at_95.plain_effective_n)
        )
    return replaced(
        counted, value=found / n, low=float(limits.low), high=float(limits.high),
        effective_n=float(limits.effective_n), flags=flags,
        method=_clustered_method(found, n, len(rows)),
        beside=(_by_rows(counted, found, n),) if BY_PATIENTS in flags else (),
    )


def _case_flags(found: int, n: int, patients: int, variance: float) -> tuple[str, ...]:
    if patients == n:
        return ()
    if found in (0, n):
        return (BY_PATIENTS,)
    if patients == 1:
        return (ONE_CLUSTER,)
    negligible = 1e-12 * found * (n - found) / n**3
    return (NO_VARIATION,) if variance <= negligible else ()


def _clustered_method(found: int, n: int, patients: int) -> str:
    if patients == n:
        return METHODS["clopper-pearson"][0]
    return BY_PATIENT_BOUNDS if found in (0, n) else KORN_GRAUBARD


def _by_rows(counted: Estimate, found: int, n: int) -> Estimate:
    """The other exact bound at no events or all, for the reader who wants it."""
    low, high = (float(limit) for limit in clopper_pearson(found, n, counted.level))
    return replaced(
        counted, id=f"{counted.id}.by_rows", value=found / n, low=low, high=high,
        method=BY_ROW_BOUNDS, effective_n=n,
    )
