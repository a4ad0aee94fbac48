"""Who is held back by errors, said patient by patient: where, from which file, with which harm."""

from __future__ import annotations

import pandas as pd

from registry.schema import Patients
from registry.store.held_harm import rows_with_harm
from registry.store.held_rows import IN_ORDER

AS_VERSION_1_WROTE = "In order itself"
"""How the reason of such a row begins in a registry that version 1 wrote."""

MOST_REASONS = 3


def held_lines(held: pd.DataFrame) -> list[str]:
    """Lines on the rows held back (`Registry.held`): how many, of whom, and each one's faults."""
    if held.empty:
        return ["Held back by errors: nobody."]
    told = held.assign(harm=rows_with_harm(held))
    coded = told[told[Patients.patient_id].notna()]
    alone = told[told[Patients.patient_id].isna()]
    by_patient = coded.groupby(Patients.patient_id)
    more = f", and {_count(len(alone), 'row')} without a readable study code" if len(alone) else ""
    lines = [f"Held back by errors: {_count(by_patient.ngroups, 'patient')} "
             f"({_count(len(coded), 'row')}){more}. {_harm_words(told)}"]
    lines += [_patient_line(str(patient), rows) for patient, rows in by_patient]
    return lines + [
        f"  without a study code ({_files(rows)}): {_faults(rows)}"
        for _, rows in alone.groupby("source_name", dropna=False)]


def _harm_words(told: pd.DataFrame) -> str:
    """How many of those held have a recorded death or complication."""
    harmed = told[told["harm"]]
    people = harmed[Patients.patient_id].nunique()
    rows = int(harmed[Patients.patient_id].isna().sum())
    said = [f"{_count(people, 'patient')} of them"] if people else []
    said += [f"{_count(rows, 'row')} without a code"] if rows else []
    if not said:
        return "None of them has a recorded death or complication."
    has = "has" if people + rows == 1 else "have"
    return (f"{' and '.join(said)} {has} a recorded death or complication: until they are mended, "
            "every share of harm is too low.")


def _patient_line(patient: str, rows: pd.DataFrame) -> str:
    harm = ", with a recorded death or complication" if rows["harm"].any() else ""
    return f"  {patient}{harm} ({_files(rows)}): {_faults(rows)}"


def _files(rows: pd.DataFrame) -> str:
    return ", ".join(dict.fromkeys(str(name) for name in rows["source_name"].dropna()))


def _faults(rows: pd.DataFrame) -> str:
    """The faults, each with its place; then how many rows wait that have none."""
    faults: dict[str, None] = {}
    waiting = 0
    for sheet, number, reasons in zip(rows["sheet"], rows["row"], rows["reasons"], strict=True):
        own = [one for one in reasons if not one.startswith((IN_ORDER, AS_VERSION_1_WROTE))]
        waiting += not own
        faults |= dict.fromkeys(_placed(one, sheet, number) for one in own)
    told = list(faults)
    said = "; ".join(one.rstrip(".") for one in told[:MOST_REASONS])
    if len(told) > MOST_REASONS:
        said += f"; and {_count(len(told) - MOST_REASONS, 'fault')} more"
    if waiting:
        others = "that is in order waits" if waiting == 1 else "that are in order wait"
        said += f"{'; ' if said else ''}{_count(waiting, 'row')} {others} with it"
    return f"{said}."


def _placed(reason: str, sheet: str | None, number: int | None) -> str:
    """A fault with where it is, unless it says so itself."""
    if not isinstance(sheet, str) or reason.startswith(sheet):
        return reason
    row = "" if pd.isna(number) else f", row {number}"
    return f"{sheet}{row}: {reason}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
