"""What a freeze holds, and its hash: the content alone, not its date and not the software."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from registry.freeze.freeze_error import FreezeError
from registry.freeze.who import PURPOSES, choose, harm_waiting
from registry.freeze.worked_out import work_out, worked_out_tables
from registry.privacy.leaving import cap_ages, without_free_text
from registry.schema import TABLES, Actions, Patients, TableSpec
from registry.schema.canonical import Record, canonical_json, records, row_json, sha256

if TYPE_CHECKING:
    from registry.store.intake_result import Snapshot

# Significant digits of worked-out numbers in the hash: another machine's last bits do not show.
DIGITS = 12


@dataclass(frozen=True)
class Content:
    """Tables that enter a freeze (name → typed, sorted by key), their specs, who was left out."""

    tables: dict[str, pd.DataFrame]
    specs: dict[str, TableSpec]
    left_out: dict[str, Any]
    purpose: str

    @property
    def freeze_hash(self) -> str:
        """SHA-256 of the purpose, who was left out, and every row in the order of its key.

        Blank cells and empty tables do not enter, so that a field added later changes nothing;
        nor do the dates of entry.
        """
        worked_out = worked_out_tables()
        tables = {
            name: sha256("\n".join(_lines(frame, self.specs[name], name in worked_out)))
            for name, frame in self.tables.items() if name != "entries" and len(frame)
        }
        return sha256(canonical_json(
            {"purpose": self.purpose, "left_out": self.left_out, "tables": tables}
        ))


def _lines(frame: pd.DataFrame, spec: TableSpec, rounded: bool) -> list[str]:
    rows = records(frame, spec.fields)
    return sorted(row_json(_rounded(row) if rounded else row) for row in rows)


def _rounded(row: Record) -> Record:
    return {
        name: float(f"{value:.{DIGITS}g}") if isinstance(value, float) else value
        for name, value in row.items()
    }


def content_of(snapshot: Snapshot, purpose: str, *, although_harm_waits: bool = False) -> Content:
    """What of a registry enters a freeze for a purpose.

    Grades and case numbers are worked out from everything first; then patients are left out,
    and ages capped; for research there is no text in a person's own words. Raises FreezeError
    for an unknown purpose, where no patient may enter, and for research while a patient with a
    death or complication is held back by errors, unless `although_harm_waits`: shares of harm
    would be too low.
    """
    if purpose not in PURPOSES:
        raise FreezeError(f"The purpose {purpose!r} is not known; give research or quality.")
    who = choose(snapshot.tables, snapshot.held, purpose)
    if not who.patients:
        raise FreezeError(
            f"No patient of the registry may enter a freeze {PURPOSES[purpose].split(':')[0]}; "
            "nothing was written. Run nidusbook check to see who is in it and who is held."
        )
    waiting = harm_waiting(who.left_out)
    if purpose == "research" and waiting and not although_harm_waits:
        raise FreezeError(_harm_waits(waiting))
    specs = {**TABLES, **worked_out_tables()}
    if purpose == "research":
        specs = {name: without_free_text(spec) for name, spec in specs.items()}
    full = {**snapshot.tables, **work_out(snapshot.tables), "entries": snapshot.entries}
    tables = {name: _kept(full[name], spec, who.patients) for name, spec in specs.items()}
    tables["patients"] = cap_ages(tables["patients"])
    tables["actions"] = _without_case(tables["actions"], who.patients)
    return Content(tables, specs, who.left_out, purpose)


def _harm_waits(count: int) -> str:
    who = ("1 patient with a death or complication is" if count == 1
           else f"{count} patients with a death or complication are")
    return (f"{who} held back by errors, so every share of harm would be too low; nothing was "
            "written. Mend them (nidusbook check lists who and why), or freeze with "
            "--although-harm-waits: every document then begins with it.")


def _kept(frame: pd.DataFrame, spec: TableSpec, patients: frozenset[str]) -> pd.DataFrame:
    frame = spec.typed(frame)
    if Patients.patient_id in spec.by_name:
        blank = frame[Patients.patient_id].isna()
        frame = frame[blank | frame[Patients.patient_id].isin(list(patients))]
    return frame.sort_values(list(spec.key), ignore_index=True)


def _without_case(actions: pd.DataFrame, patients: frozenset[str]) -> pd.DataFrame:
    """Actions, naming no case that did not enter: they are the service's and stay themselves."""
    out = actions.copy()
    out.loc[~out[Actions.from_patient].isin(list(patients)),
            [Actions.from_patient, Actions.from_review]] = pd.NA
    return out


def schema_hash(specs: Mapping[str, TableSpec]) -> str:
    """SHA-256 of every field's description: it changes when the meaning of a field does."""
    return sha256(canonical_json({
        name: [vars(field) for field in spec.fields] for name, spec in specs.items()
    }))
