"""Lesions planned for embolization before resection beside those resected alone, made alike.

By the plan at the first treatment, operated or not, and by the harm of the whole treatment: who was
harmed before reaching the operation counts. The groups were chosen by the team, lesion by lesion
(confounding by indication). Both are shown as they were; the weighted comparison balances what was
recorded, and nothing else.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace

import pandas as pd

from analyses.measures.counting import share, shares
from analyses.measures.gate import LOST, Known, gate
from analyses.measures.harm import combined_lesions
from analyses.measures.measuring import median_of
from analyses.measures.obliteration import final_lesions
from analyses.measures.plan_followed import EMERGENCY, first_plans
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
    "harmed": ("Permanent deficit or death from any treatment", ""),
    "closed": ("Final obliteration confirmed", ""),
    Resections.blood_loss_ml: ("Blood loss of the first operation, where operated", "mL"),
    Resections.operation_min: ("Time of the first operation, where operated", "min"),
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

    lesions: planned for embolization before resection, and resected alone; outcomes: a line each;
    balance: standardised differences before and after weighting (of the outcome with most rows),
    as estimates in pairs by covariate; left_out: lesions first treated by an emergency operation.
    """

    lesions: tuple[int, int]
    outcomes: tuple[ComparedOutcome, ...]
    balance: Mapping[str, tuple[Estimate, Estimate]] = field(default_factory=dict)
    left_out: int = 0

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


def by_first_plan(units: Units) -> pd.DataFrame:
    """Lesions planned for embolization before resection, or resected first, with OUTCOMES.

    One row a lesion, by the plan at its first treatment, operated or not: `embolized_before`
    (boolean), COVARIATES, `harmed` and `closed` (boolean or blank) from the whole treatment;
    blood loss and time of its first operation, blank where it was never operated. Lesions whose
    first treatment was an emergency operation are left out: their reason to operate was another.
    """
    rows = first_plans(units)
    emergency = rows["plan"].eq("resected alone") & rows[Resections.urgency].eq(EMERGENCY)
    rows = rows[rows["plan"].notna() & ~emergency.fillna(False).astype(bool)]
    operations = units.tables["resections"].sort_values(
        [*LESION, Resections.resection_date, Resections.resection_no])
    first = operations.groupby(LESION, as_index=False).first()
    joined = rows.drop(columns=["sm_grade"]).merge(
        first[[*LESION, Resections.blood_loss_ml, Resections.operation_min]], on=LESION,
        how="left").set_axis(rows.index)
    numbers = {name: joined[name].astype("Float64").astype(float)
               for name in (Resections.blood_loss_ml, Resections.operation_min, "age_at_treatment")}
    return joined.assign(
        **numbers, embolized_before=joined["plan"].eq("embolized first").astype(bool),
        harmed=_of(joined, combined_lesions(units), "event"),
        closed=_of(joined, final_lesions(units), "confirmed"),
        sm_grade=joined["sm_grade_value"].astype("Float64").astype(float),
        ruptured=joined["ruptured"].map({"yes": True, "no": False}).astype("boolean"))


def _of(rows: pd.DataFrame, frame: pd.DataFrame, column: str) -> pd.Series:
    """A column of another lesion frame, on these rows; blank where the lesion is not in it."""
    return rows["key"].map(frame.set_index("key")[column]).astype("boolean")


def emergencies(units: Units) -> int:
    """Lesions left out because their first treatment was an emergency operation."""
    rows = first_plans(units)
    out = rows["plan"].eq("resected alone") & rows[Resections.urgency].eq(EMERGENCY)
    return int(out.fillna(False).sum())


def embolized_or_not(units: Units) -> EmbolizedOrNot | None:
    """The comparison for one freeze; None where one of the two groups is empty.

    Where the gate refuses a share of harm (a deficit not yet known), it is not compared.
    """
    rows = by_first_plan(units)
    counts = tuple(int(rows["embolized_before"].eq(group).sum()) for group in GROUPS.values())
    if not all(counts):
        return None
    lost = rows["key"].map(combined_lesions(units).set_index("key")[LOST]).astype(bool)
    verdict = gate(rows.assign(lost=lost), "harmed", Known.ONLY_WITH_AN_EVENT)
    outcomes = tuple(
        _refused(rows, outcome, verdict.why) if outcome == "harmed" and not verdict
        else _compared(rows, outcome) for outcome in OUTCOMES)
    whole = EmbolizedOrNot((counts[0], counts[1]), outcomes, left_out=emergencies(units))
    return replace(whole, balance=_balance(whole.widest))


def _refused(rows: pd.DataFrame, outcome: str, why: str) -> ComparedOutcome:
    """An outcome that may not be given as a point: the groups' bounds, and no comparison."""
    groups = tuple(
        replaced(share(rows[rows["embolized_before"].eq(group)], outcome,
                       id=f"embolized_or_not.{outcome}", unit="lesion",
                       known=Known.ONLY_WITH_AN_EVENT), group={"embolized_before": name})
        for name, group in GROUPS.items())
    return ComparedOutcome(outcome, groups, None, why)


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
    return f"{words}, planned for embolization before resection, or resected alone"
