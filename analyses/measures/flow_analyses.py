"""The analyses that patients flow into, and why a unit is not in each of them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.measures.function import NO_VISIT, functional_outcomes
from analyses.measures.gate import LOST
from analyses.measures.harm import PERMANENT_DEFICIT, combined_patients
from analyses.measures.obliteration import embolized_lesions, resected_lesions
from analyses.measures.practice_kept import judged_injections
from analyses.population.unit_frames import Units
from analyses.population.vital_status import vital_known
from registry.schema import Patients

NOT_ASSESSED = "whose occlusion was not assessed"
NOT_RESECTED = "not resected"
NOT_IMAGED = "not imaged after the operation"
ONGOING = "whose plan is ongoing"
NOT_YET_KNOWN = "with a deficit not yet known"
VITAL_UNKNOWN = "not known to be alive or dead 30 days after a session"
NO_COPOLYMER = "without a liquid copolymer"


@dataclass(frozen=True)
class Analysis:
    """An analysis: its label, whom it starts from, and its units.

    base: "treated" or "embolized". rows: `patient_id` and `reason` (blank where the unit is in).
    reasons: those of `rows`, the first that applies is the patient's; absent: the reason of a
    patient who has no unit at all.
    """

    label: str
    base: str
    rows: pd.DataFrame
    reasons: tuple[str, ...]
    absent: str


def analyses_of(units: Units) -> list[Analysis]:
    """Every analysis of the report that not all patients reach."""
    return [
        _one("Immediate occlusion", "embolized", _blank(
            embolized_lesions(units), "complete", NOT_ASSESSED), NOT_ASSESSED),
        _one("Final obliteration", "treated", _final(units), ONGOING),
        _one("Complete resection", "treated", _blank(
            resected_lesions(units), "complete", NOT_IMAGED), NOT_IMAGED, NOT_RESECTED),
        _one("Any complication", "embolized", _everyone(units), NOT_YET_KNOWN),
        _seen("Permanent deficit from embolization", "embolized",
              PERMANENT_DEFICIT.frame(units, "patient")),
        _one("Death within 30 days", "embolized", _vital(units), VITAL_UNKNOWN),
        _seen("Permanent deficit or death, any treatment", "treated", combined_patients(units)),
        _one("Function", "treated", _blank(
            functional_outcomes(units), "independent", NO_VISIT), NO_VISIT),
        _one("Practice limits", "embolized", _technique(units), NO_COPOLYMER),
    ]


def _one(label: str, base: str, rows: pd.DataFrame, reason: str, absent: str = "") -> Analysis:
    return Analysis(label, base, rows, (reason,), absent or reason)


def _seen(label: str, base: str, frame: pd.DataFrame) -> Analysis:
    """Units with `event` and `lost`: out as a deficit is not yet known, or nobody saw them."""
    rows = _blank(frame, "event", NOT_YET_KNOWN)
    rows["reason"] = rows["reason"].mask(frame[LOST].to_numpy(bool), VITAL_UNKNOWN)
    return Analysis(label, base, rows, (NOT_YET_KNOWN, VITAL_UNKNOWN), NOT_YET_KNOWN)


def _blank(frame: pd.DataFrame, column: str, reason: str) -> pd.DataFrame:
    """Units whose outcome is blank are out for `reason`."""
    return _reasoned(frame, frame[column].isna(), reason)


def _reasoned(frame: pd.DataFrame, out: pd.Series, reason: str) -> pd.DataFrame:
    why = pd.Series(pd.NA, index=frame.index, dtype="string").mask(out.astype(bool), reason)
    return pd.DataFrame(
        {Patients.patient_id: frame[Patients.patient_id].astype(str), "reason": why}
    )


def _final(units: Units) -> pd.DataFrame:
    return _reasoned(units.lesions, units.lesions["ongoing"], ONGOING)


def _everyone(units: Units) -> pd.DataFrame:
    people = units.patients[units.patients["embolized"]]
    return _reasoned(people, pd.Series(False, index=people.index), NOT_YET_KNOWN)


def _vital(units: Units) -> pd.DataFrame:
    """Per patient, as the estimate counts: one session of unknown outcome is enough to be out."""
    unknown = set(units.sessions.loc[
        ~units.sessions["key"].isin(vital_known(units)), Patients.patient_id])
    people = units.patients[units.patients["embolized"]]
    return _reasoned(people, people["key"].isin(unknown), VITAL_UNKNOWN)


def _technique(units: Units) -> pd.DataFrame:
    rows = judged_injections(units)
    return _reasoned(rows, pd.Series(False, index=rows.index), NO_COPOLYMER)
