"""A proportion of rows that repeat within patients."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level, codes, event_values, same_length
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, counted_rows, replaced
from analyses.statistics.presentation import few_units, presentation_flags
from analyses.statistics.proportions import clusters as by_patient
from analyses.statistics.proportions.intervals import METHODS
from analyses.words.flags import (
    BY_PATIENTS,
    DOMINATED,
    NO_VARIATION,
    NOTHING_COUNTED,
    ONE_CLUSTER,
)

SHRUNKEN = "Clopper–Pearson, effective n by shrunken within-patient correlation"
KORN_GRAUBARD = "Korn–Graubard, clustered on the patient"
BY_PATIENT_BOUNDS = "Clopper–Pearson by patients"
MUCH = 0.25
"""Share of the rows from which one patient's are said to weigh on an interval."""

METHODS_CLUSTERED: Mapping[str, Callable[..., by_patient.ClusteredLimits]] = MappingProxyType({
    "shrunken-correlation": by_patient.shrunken,
    "korn-graubard": by_patient.korn_graubard,
})
"""What callers write, and the limits."""


def clustered_proportion(
    event: ArrayLike, cluster: Sequence[Any] | ArrayLike, *, level: float = 0.95,
    method: str = "shrunken-correlation", id: str = "proportion", unit: str = "",
    group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """A proportion of rows that repeat within patients, with an interval clustered on them.

    event: 0/1 or booleans, one a row; cluster: the patient of each row. method:

    - "shrunken-correlation": Clopper–Pearson with an effective n from the within-patient
      correlation, drawn towards 0.2 where events are few (`clusters.shrunken`; derived for this
      project, coverage in tests/reference/coverage_clustered.md). Beside it stands
      Korn–Graubard's interval.
    - "korn-graubard": effective n = p(1-p)/V · (t(n-1)/t(C-1))² from the linearised variance V by
      patient, capped at n; Clopper–Pearson with it. Korn and Graubard 1998; NCHS Series 2 No 175
      (2017). No events, or only events: Clopper–Pearson by patients.

    One row a patient: plain Clopper–Pearson by either. One patient with both outcomes: no
    interval, flagged. A patient who gives a quarter of the rows or more is flagged.

    Raises ValueError for outcomes other than 0 and 1, missing outcomes or patients, an unknown
    method, or columns of different length.
    """
    if method not in METHODS_CLUSTERED:
        raise ValueError(
            f"The method is {method!r}; one of {', '.join(METHODS_CLUSTERED)} is wanted.")
    outcome, (patient, names) = event_values(event), codes(cluster)
    same_length(event=outcome, cluster=patient)
    counted = Estimate(
        id=id, kind="proportion", value=None, unit=unit, group=group, level=check_level(level),
        method=SHRUNKEN, events=int(outcome.sum()), n=len(outcome), clusters=len(names),
        counted=counted_rows(keys, outcome),
    )
    if not len(outcome):
        return replaced(counted, flags=(NOTHING_COUNTED,))
    totals = Totals(by_patient.totals(outcome, patient),
                    by_patient.totals(np.ones_like(outcome), patient))
    found = _clustered(totals, counted, method)
    if method == "korn-graubard" or len(totals.rows) in (1, len(outcome)):
        return found
    kept_apart = replaced(counted, id=f"{id}.korn_graubard", counted=())
    return replaced(found, beside=(_clustered(totals, kept_apart, "korn-graubard"),))


class Totals(NamedTuple):
    """Events and rows of each patient."""

    events: Floats
    rows: Floats


def _clustered(totals: Totals, counted: Estimate, method: str) -> Estimate:
    """The estimate of one non-empty set of rows."""
    limits_of = METHODS_CLUSTERED[method]
    limits = limits_of(*totals, counted.level)
    at_95 = limits if counted.level == 0.95 else limits_of(*totals, 0.95)
    found, n = int(totals.events.sum()), int(totals.rows.sum())
    flags = few_units(n) + _case_flags(totals, float(limits.variance), method)
    if ONE_CLUSTER not in flags:
        flags += presentation_flags(
            found / n, float(at_95.low), float(at_95.high), float(at_95.plain_effective_n)
        )
    return replaced(
        counted, value=found / n, low=float(limits.low), high=float(limits.high),
        effective_n=float(limits.effective_n), flags=flags,
        method=_method_name(found, n, len(totals.rows), method),
    )


def _case_flags(totals: Totals, variance: float, method: str) -> tuple[str, ...]:
    """What a reader must know of how these rows lie among the patients."""
    found, n, patients = totals.events.sum(), totals.rows.sum(), len(totals.rows)
    if patients == n:
        return ()
    ends = found in (0, n)
    if patients == 1 and not ends:
        return (ONE_CLUSTER,)
    flags = (DOMINATED,) if totals.rows.max() / n >= MUCH and patients > 1 else ()
    if method == "shrunken-correlation":
        return flags
    if ends:
        return (*flags, BY_PATIENTS)
    negligible = 1e-12 * found * (n - found) / n**3
    return (*flags, NO_VARIATION) if variance <= negligible else flags


def _method_name(found: int, n: int, patients: int, method: str) -> str:
    if patients == n:
        return METHODS["clopper-pearson"][0]
    if method == "shrunken-correlation":
        return SHRUNKEN
    return BY_PATIENT_BOUNDS if found in (0, n) else KORN_GRAUBARD
