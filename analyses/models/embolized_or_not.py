"""Resections with embolization before them beside those without, made alike by weighting.

The groups were chosen by the team, lesion by lesion (confounding by indication). Both are shown as
they were; the weighted comparison balances what was recorded, and nothing else. Rows are first
operations on a lesion.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field

import pandas as pd

from analyses.measures.counting import shares
from analyses.measures.measuring import median_of
from analyses.measures.resection import days_since_session, resected_with_extent
from analyses.population.counted_events import LESION
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.regression.propensity import (
    WeightedComparison,
    compare_weighted,
    compare_weighted_level,
)
from analyses.statistics.table_numbers import number_at
from registry.schema import Patients, Resections

INDICATION = (
    "Who was embolized followed the lesion and the surgeon's judgement (confounding by "
    "indication); weighting balances what was recorded and nothing else."
)
COVARIATES = ("sm_grade", "ruptured", "age_at_treatment")
OUTCOMES: Mapping[str, tuple[str, str]] = {
    Resections.blood_loss_ml: ("Blood loss", "mL"),
    Resections.operation_min: ("Operation time", "min"),
    "complete": ("Complete resection", ""),
    "permanent": ("Permanent deficit or death", ""),
}
"""Outcome column → its words and unit; without a unit it is yes/no."""
GROUPS = {"yes": True, "no": False}


@dataclass(frozen=True)
class ComparedOutcome:
    """One outcome: the groups as they were (embolized before, not), and the weighted comparison.

    weighted: None where the data cannot carry one, and then `refusal` says why.
    """

    outcome: str
    groups: tuple[Estimate, ...]
    weighted: WeightedComparison | None
    refusal: str = ""


@dataclass(frozen=True)
class EmbolizedOrNot:
    """The comparison, whole.

    lesions: resected lesions with embolization before, and without; outcomes: a line each;
    balance: standardised differences before and after weighting (of the outcome with most rows),
    as estimates in pairs by covariate.
    """

    lesions: tuple[int, int]
    outcomes: tuple[ComparedOutcome, ...]
    balance: Mapping[str, tuple[Estimate, Estimate]] = field(default_factory=dict)

    @property
    def widest(self) -> WeightedComparison | None:
        """The weighted comparison with most rows, whose balance is shown."""
        given = [o.weighted for o in self.outcomes if o.weighted is not None]
        return max(given, key=lambda w: w.difference.n or 0, default=None)

    @property
    def counts(self) -> tuple[Estimate, Estimate]:
        """The lesions of each group as estimates."""
        with_, without = (Estimate(
            id="embolized_or_not.lesions", kind="count", value=float(count), unit="lesion",
            method="count", group={"embolized_before": name})
            for name, count in zip(GROUPS, self.lesions, strict=True))
        return with_, without

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Every number of the comparison."""
        found = [e for one in self.outcomes for e in one.groups]
        found += [one.weighted.difference for one in self.outcomes if one.weighted is not None]
        every = (*self.counts, *found, *(e for pair in self.balance.values() for e in pair))
        return tuple(replaced(e, label=_label(e)) for e in every)


def first_operations(units: Units) -> pd.DataFrame:
    """Resected lesions with `embolized_before`, OUTCOMES and COVARIATES.

    A lesion embolized only after its operation counts as not embolized before.
    """
    lesions = resected_with_extent(units)
    rows = units.tables["resections"].sort_values(
        [*LESION, Resections.resection_date, Resections.resection_no]
    )
    first = rows.groupby(LESION, as_index=False).head(1)
    first = first.assign(before=days_since_session(first, units.tables["sessions"]).notna())
    joined = lesions.drop(columns=["sm_grade"]).merge(
        first[[*LESION, Resections.blood_loss_ml, Resections.operation_min, "before"]], on=LESION)
    numbers = {name: joined[name].astype("Float64").astype(float)
               for name in (Resections.blood_loss_ml, Resections.operation_min, "age_at_treatment")}
    return joined.assign(
        **numbers, embolized_before=joined["before"].astype(bool),
        sm_grade=joined["sm_grade_value"].astype("Float64").astype(float),
        ruptured=joined["ruptured"].map({"yes": True, "no": False}).astype("boolean"))


def embolized_or_not(units: Units) -> EmbolizedOrNot | None:
    """The comparison for one freeze; None where all or none were embolized before."""
    rows = first_operations(units)
    counts = tuple(int(rows["embolized_before"].eq(group).sum()) for group in GROUPS.values())
    if not all(counts):
        return None
    outcomes = tuple(_compared(rows, outcome) for outcome in OUTCOMES)
    whole = EmbolizedOrNot((counts[0], counts[1]), outcomes)
    return EmbolizedOrNot(whole.lesions, outcomes, _balance(whole.widest))


def _compared(rows: pd.DataFrame, outcome: str) -> ComparedOutcome:
    words, measure = OUTCOMES[outcome]
    groups = tuple(e for name, group in GROUPS.items()
                   for e in _as_they_were(rows, outcome, measure, name, group))
    known = rows[rows[outcome].notna()]
    compare = compare_weighted_level if measure else compare_weighted
    try:
        found = compare(known, outcome, "embolized_before", COVARIATES, cluster=Patients.patient_id,
                        unit="lesion", indication=INDICATION)
    except ValueError as problem:
        return ComparedOutcome(outcome, groups, None, str(problem))
    return ComparedOutcome(outcome, groups, found)


def _as_they_were(
    rows: pd.DataFrame, outcome: str, measure: str, name: str, group: bool
) -> tuple[Estimate, ...]:
    part = rows[rows["embolized_before"].eq(group)]
    id, unit = f"embolized_or_not.{outcome}", "lesion"
    found = (median_of(part, outcome, id=id, unit=unit, measure=measure) if measure
             else shares(part, outcome, id=id, unit=unit, by=(), unknown="not known")[0])
    return (replaced(found, group={"embolized_before": name}),)


def _balance(found: WeightedComparison | None) -> dict[str, tuple[Estimate, Estimate]]:
    if found is None:
        return {}
    return {str(covariate): (_imbalance(found, covariate, "before"),
                             _imbalance(found, covariate, "after"))
            for covariate in found.balance.index}


def _imbalance(found: WeightedComparison, covariate: Hashable, when: str) -> Estimate:
    return Estimate(
        id="embolized_or_not.standardised_difference", kind="standardised difference",
        value=number_at(found.balance, covariate, when), unit="lesion", n=found.difference.n,
        clusters=found.difference.clusters, method="Austin 2009",
        group={"covariate": str(covariate), "weighting": when})


def _label(estimate: Estimate) -> str:
    outcome = estimate.id.split(".")[1]
    words = OUTCOMES.get(outcome, (outcome.replace("_", " "), ""))[0]
    return f"{words}, embolized before the resection or not"
