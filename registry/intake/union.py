"""The rules across fields and tables, asked of a source together with what is registered.

A row of the source takes the place of the registered row with the same key, so that a source
may bring only what is new: a follow-up finds its lesion in the registry.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from registry.intake.convert import Converted, RowProblem, patient_of
from registry.problems.problem import Problem
from registry.rules import Finding, check_rules
from registry.schema import TABLES, Complications, Injections, Patients, Sessions, TableSpec

# Rules that object to something absent, and the fields whose unreadable cells could make it
# look absent. A patient with such a cell stays out anyway; the rule speaks when it is mended.
RESTS_ON: dict[str, frozenset[str]] = {
    "occlusion missing": frozenset({Sessions.occlusion_after_pct, Sessions.occlusion_status}),
    "access missing": frozenset({Injections.access, Sessions.route}),
    "death without a date": frozenset({Patients.death_date}),
    "hours after nothing": frozenset({Sessions.session_no, Complications.phase}),
    "dated before presentation": frozenset({Patients.presentation_date_known_to}),
}
RESTS_ON_KEYS = frozenset({"no parent row", "hours after nothing", "access missing",
                            "death without a date"})


def rule_problems(
    converted: Mapping[str, Converted], existing: Mapping[str, pd.DataFrame]
) -> list[RowProblem]:
    """What the rules find about the rows and patients of a source, in the rules' order.

    `existing` are the registered tables (typed). Queries about registered rows are left to the
    registry's own check; an error on a registered row is told where a patient of the source
    has it, because the source's rows would bring it about.
    """
    tables = {name: _united(spec, converted.get(name), existing.get(name))
              for name, spec in TABLES.items()}
    unread = _unread_by_patient(converted)
    patients = {code for table in converted.values() for code in _patients(table)}
    return [
        _row_problem(finding, converted)
        for finding in check_rules(tables)
        if _concerns(finding, patients) and not _rests_on_unread(finding, unread, converted)
    ]


def _united(
    spec: TableSpec, new: Converted | None, old: pd.DataFrame | None
) -> pd.DataFrame:
    """New rows with their own labels (0 and up), registered ones with labels below 0."""
    frame = new.frame if new is not None else spec.empty()
    if old is None or old.empty:
        return frame
    if new is not None:
        frame = _completed(spec, new, old)
    key = list(spec.key)
    replaced = pd.MultiIndex.from_frame(old[key]).isin(pd.MultiIndex.from_frame(frame[key]))
    kept = spec.typed(old[~replaced])
    kept.index = pd.RangeIndex(-1, -len(kept) - 1, -1)
    return pd.concat([frame, kept]) if len(frame) else kept


def _completed(spec: TableSpec, new: Converted, old: pd.DataFrame) -> pd.DataFrame:
    """New rows with the registered values in columns the source does not have.

    A column that is not there says nothing; the registry keeps its value.
    """
    key, absent = list(spec.key), list(new.columns.absent)
    if not absent or new.frame.empty:
        return new.frame
    known = old.drop_duplicates(key).set_index(key)[absent]
    found = known.reindex(pd.MultiIndex.from_frame(new.frame[key]) if len(key) > 1
                          else pd.Index(new.frame[key[0]], name=key[0]))
    return spec.typed(new.frame.assign(**{name: found[name].to_numpy() for name in absent}))


def _patients(converted: Converted) -> set[str]:
    if Patients.patient_id not in converted.frame:
        return set()
    return set(converted.frame[Patients.patient_id].dropna())


def _unread_by_patient(converted: Mapping[str, Converted]) -> dict[str | None, set[str]]:
    """Patient → names of fields with a cell that could not be read, in any table."""
    unread: dict[str | None, set[str]] = {}
    for table in converted.values():
        for row, fields in table.unread_fields.items():
            unread.setdefault(patient_of(table, row), set()).update(fields)
    return unread


def _row_of(finding: Finding) -> int:
    """The row's label in a union: from 0 on what the source gives, below 0 what is registered."""
    if not isinstance(finding.index, int):
        raise TypeError(f"a union of tables labels its rows with numbers, not {finding.index!r}")
    return finding.index


def _concerns(finding: Finding, patients: set[str]) -> bool:
    if _row_of(finding) >= 0:
        return True
    return finding.severity == "error" and finding.patient_id in patients


def _rests_on_unread(
    finding: Finding, unread: Mapping[str | None, set[str]], converted: Mapping[str, Converted]
) -> bool:
    """Whether the finding may only be there because a cell could not be read.

    Queries wait altogether until the patient's cells can be read.
    """
    fields = unread.get(finding.patient_id)
    if not fields:
        return False
    if finding.severity == "query":
        return True
    keys = {name for spec in TABLES.values() for name in spec.key}
    if finding.rule in RESTS_ON_KEYS and fields & keys:
        return True
    table = converted.get(finding.table)
    own = table.unread_fields_of(_row_of(finding)) if table else set()
    return finding.field in own or bool(fields & RESTS_ON.get(finding.rule, frozenset()))


def _row_problem(finding: Finding, converted: Mapping[str, Converted]) -> RowProblem:
    row = _row_of(finding)
    own = converted.get(finding.table) if row >= 0 else None
    return RowProblem(row if own else None, Problem(
        finding.severity, finding.rule, finding.table, finding.field, finding.patient_id,
        own.place(row) if own else None, finding.found, finding.wanted, finding.mend,
    ))
