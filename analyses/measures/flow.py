"""The flow of patients from all recorded to each analysis, with a reason for every one lost.

A patient is in an analysis where at least one of the patient's units is. Numbers are estimates
of kind "count", so that the diagram, the text and the tables use the same ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analyses.measures.flow_analyses import Analysis, analyses_of
from analyses.measures.measure import Measure, Worked
from analyses.population.exclusions import exclusions_of
from analyses.population.unit_frames import Units, once
from analyses.statistics.estimate import Estimate, counted_rows
from analyses.words.estimate_text import plural
from registry.schema import Patients

ERRORS = "errors in the data"
NOT_TREATED = "not treated"
NOT_EMBOLIZED = "treated, but not by embolization"


@dataclass(frozen=True)
class Flow:
    """The diagram's numbers: a trunk of boxes, what left between them, and the analyses.

    trunk: (words, count) from all recorded to embolized. losses: for each box but the last, the
    (reason, count) pairs that left after it. analyses: (label, base, analysed, losses).
    """

    trunk: tuple[tuple[str, Estimate], ...]
    losses: tuple[tuple[tuple[str, Estimate], ...], ...]
    analyses: tuple[tuple[str, str, Estimate, tuple[tuple[str, Estimate], ...]], ...]

    def estimates(self) -> list[Estimate]:
        """Every number of the diagram, in order."""
        found = [count for _, count in self.trunk]
        found += [count for box in self.losses for _, count in box]
        for _, _, analysed, losses in self.analyses:
            found += [analysed, *(count for _, count in losses)]
        return found


@once
def flow_of(units: Units) -> Flow:
    """The flow of one freeze or study.

    Its manifest counts who was held back (`left_out`), and whom the study left out of the freeze
    (`analyses.population.exclusions`): they leave between the freeze and those treated.
    """
    people = units.tables["patients"][Patients.patient_id].astype(str)
    treated, embolized = (
        set(units.patients["key"]),
        set(units.patients.loc[units.patients["embolized"], "key"]),
    )
    out = _left_out(units.manifest)
    gone = sum(one.patients for one in exclusions_of(units.manifest))
    recorded = len(people) + gone + sum(number for _, number in out)
    trunk = (
        ("Recorded", _number("flow.recorded", recorded)),
        *_in_freeze(people, gone, _excluded(units.manifest)),
        ("Treated", _people("flow.treated", treated)),
        ("Embolized", _people("flow.embolized", embolized)),
    )
    losses = (
        tuple((reason, _number("flow.left_out", number, reason)) for reason, number in out),
        *((_excluded(units.manifest),) if exclusions_of(units.manifest) else ()),
        _lost("flow.not_treated", NOT_TREATED, set(people) - treated),
        _lost("flow.not_embolized", NOT_EMBOLIZED, treated - embolized),
    )
    bases = {"treated": treated, "embolized": embolized}
    found = tuple(_analysis(a, bases[a.base]) for a in analyses_of(units))
    return Flow(trunk, losses, found)


Counted = tuple[str, Estimate]
"""Words, and the number that they are about."""


def _in_freeze(
    people: pd.Series, gone: int, excluded: tuple[Counted, ...],
) -> tuple[Counted, ...]:
    """The box of the freeze, and that of the study where it left somebody or something out."""
    if not excluded:
        return (("In this freeze", _people("flow.frozen", people)),)
    return (("In this freeze", _number("flow.frozen", len(people) + gone)),
            ("In this study", _people("flow.kept", people)))


def _excluded(manifest: Mapping[str, Any]) -> tuple[Counted, ...]:
    """What left by each exclusion: its patients, and its other units by name."""
    patients: dict[str, int] = {}
    others: dict[tuple[str, str], int] = {}
    for one in exclusions_of(manifest):
        patients[one.why] = patients.get(one.why, 0) + one.patients
        if one.unit != "patient":
            others[one.unit, one.why] = others.get((one.unit, one.why), 0) + one.units
    found = [(f"left out: {why}", _number("flow.excluded", number, why))
             for why, number in patients.items()]
    found += [(f"{unit if number == 1 else plural(unit)} left out: {why}",
               _number("flow.excluded", number, why, unit))
              for (unit, why), number in others.items()]
    return tuple(found)


def flow_estimates(units: Units) -> list[Estimate]:
    """All flow.* counts (unit: patient)."""
    return flow_of(units).estimates()


def dropped(analysis: Analysis, base: set[str]) -> dict[str, set[str]]:
    """Reason → patients of the base who are not in the analysis, each under one reason.

    A patient with several units lost for different reasons stands under the reason listed first
    in the analysis's own order.
    """
    rows = analysis.rows[analysis.rows[Patients.patient_id].isin(base)]
    inside = set(rows.loc[rows["reason"].isna(), Patients.patient_id])
    left = set(base) - inside
    found: dict[str, set[str]] = {}
    for reason in analysis.reasons:
        mine = set(rows.loc[rows["reason"].eq(reason).fillna(False), Patients.patient_id]) & left
        if mine:
            found[reason] = mine
            left -= mine
    if left:
        found[analysis.absent] = found.get(analysis.absent, set()) | left
    return found


def _analysis(analysis: Analysis, base: set[str]) -> Any:
    lost = dropped(analysis, base)
    inside = base - set().union(*lost.values())
    counts = tuple(
        (reason, _people("flow.dropped", who, {"analysis": analysis.label, "reason": reason}))
        for reason, who in lost.items())
    analysed = _people("flow.analysed", inside, {"analysis": analysis.label})
    return analysis.label, analysis.base, analysed, counts


def _left_out(manifest: Mapping[str, Any]) -> list[tuple[str, int]]:
    out = manifest.get("left_out", {})
    found = [(ERRORS, int(out.get("errors", {}).get("patients", 0)))]
    refused = out.get("research_use", {}).get("patients", {})
    found += [(f"research use {word}", int(number)) for word, number in sorted(refused.items())]
    return [(reason, number) for reason, number in found if number]


def _lost(id: str, reason: str, who: set[str]) -> tuple[tuple[str, Estimate], ...]:
    return ((reason, _people(id, who)),) if who else ()


def _people(id: str, who: Any, group: dict[str, str] | None = None) -> Estimate:
    keys = sorted(set(pd.Series(list(who), dtype="object").astype(str)))
    return Estimate(id=id, kind="count", value=len(keys), n=len(keys), unit="patient",
                    method="count", group=group, counted=counted_rows(keys, [False] * len(keys)))


def _number(
    id: str, number: int, reason: str | None = None, unit: str = "patient",
) -> Estimate:
    """A count of people (or other units) who are not in the data, so that no keys can be given."""
    return Estimate(id=id, kind="count", value=number, n=number, unit=unit, method="count",
                    group={"reason": reason} if reason else None)


def words_of(losses: tuple[tuple[str, Estimate], ...]) -> Iterator[str]:
    """`3 whose plan is ongoing`, one a reason."""
    for reason, count in losses:
        yield f"{count.n:,} {reason}"


LEFT_OUT, EXCLUDED = "flow.left_out", "flow.excluded"
WORDS = {
    "recorded": "Recorded", "left_out": "Left out of the freeze", "frozen": "In this freeze",
    "excluded": "Left out of this study", "kept": "In this study",
    "treated": "Treated", "embolized": "Embolized", "not_treated": "Not treated",
    "not_embolized": "Treated, but not by embolization", "analysed": "In the analysis",
    "dropped": "Not in the analysis",
}
UNITS = ("patient", "lesion", "session", "injection", "catheter", "resection")
"""What a study can leave out."""

FLOW: tuple[Measure, ...] = tuple(
    Worked(id=f"flow.{name}", units=UNITS if name == "excluded" else ("patient",), label=label,
           subject=label.lower(), counted=label.lower(), among="{units}", kind="count",
           work=flow_estimates,
           answers=("strobe 13",) if name == "recorded" else (),
           uses=("patients.research_use",) if name == "left_out" else (),
           checked_against="counted by hand on the small cohort")
    for name, label in WORDS.items())
