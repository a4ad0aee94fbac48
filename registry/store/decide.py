"""What of a batch goes in, and which patients are kept out of the registry as it stands.

Nothing is written here. A patient is kept out whole: a row that clashes keeps every other row
of that patient out of this intake too, so that no patient is half of one source and half of
another without a person having said so.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from registry.problems.problem import Place, Problem
from registry.rules import check_errors
from registry.schema import TABLES, Patients, TableSpec
from registry.schema.canonical import plain_values
from registry.store.changes import (
    States,
    TablePlan,
    Tables,
    after_plan,
    keys_of,
    plan_table,
    split_by_children,
    with_gone,
)
from registry.store.decision import Decision, Incoming
from registry.store.intake_result import Change
from registry.store.only_added import keep_as_they_are, keep_orphans_out
from registry.store.store_error import RegistryError
from registry.store.strays import keep_losers_out

if TYPE_CHECKING:
    from registry.store.batch import Batch


def incoming_of(batch: Batch) -> Incoming:
    """The batch's tables as the schema types them.

    Raises RegistryError where a table does not fit the schema: the intake checks every cell
    before, so this is a fault of the program that made the batch.
    """
    tables: Tables = {}
    places: dict[str, dict[str, Place | None]] = {}
    for name, spec in TABLES.items():
        frame = spec.typed(batch.tables.get(name, spec.empty())).reset_index(drop=True)
        _check_cells(spec, frame)
        where: Sequence[Place | None] = batch.places.get(name) or [None] * len(frame)
        tables[name] = frame
        places[name] = dict(zip(keys_of(frame, spec), where, strict=True))
    return Incoming(tables, places)


def _check_cells(spec: TableSpec, frame: pd.DataFrame) -> None:
    if frame.empty:  # Typed with all its columns, so there is nothing to check.
        return
    from pandera.errors import SchemaErrors

    if frame.empty:
        return
    try:
        spec.checks.validate(frame, lazy=True)
    except SchemaErrors as fault:
        cases = fault.failure_cases
        fields = ", ".join(sorted({str(name) for name in cases["column"].dropna()}))
        raise RegistryError(
            f"Rows of {spec.name} do not fit the schema ({fields or 'columns'}); nothing was "
            "written. Take the source in through the intake, which says what to mend."
        ) from fault


def decide(batch: Batch, current: Tables, states: States, *, replacing: bool) -> Decision:
    """Work out what of the batch goes in.

    `current` are the registry's tables, `states` the last state of every row. With
    `replacing`, rows of another source are overwritten, and rows that this source gave before
    and has no more are removed, but for patients whose rows may only have lost their study code
    (`strays`); otherwise the first keep their patients out and the second are
    asked about and stay. Rows of a table that is only added to are never
    overwritten or removed.
    """
    incoming = incoming_of(batch)
    decision = Decision({})
    _keep_doubles_out(decision, incoming)
    decision.plans = _plans(decision, batch, incoming, current, states)
    keep_as_they_are(decision, incoming)
    if replacing:
        keep_losers_out(decision, batch, incoming)
        _leave_out(decision)
    else:
        _keep_clashes_out(decision, batch, incoming, states)
    keep_orphans_out(decision, incoming, current)
    _leave_out(decision)
    _settle_gone(decision, current, replacing=replacing)
    _keep_broken_out(decision, incoming, current)
    return decision


def _keep_doubles_out(decision: Decision, incoming: Incoming) -> None:
    for name, spec in TABLES.items():
        frame = incoming.tables[name]
        keys = keys_of(frame, spec)
        for key, patient in _rows(frame, spec, keys, keys.duplicated()):
            decision.keep_out(name, patient, key, Problem(
                "error", "key used twice", name, spec.key[-1], patient,
                incoming.places[name].get(key), f"{key} in more than one row",
                "each row of a table once", "number the rows apart, or delete the copy",
            ))


def _rows(
    frame: pd.DataFrame, spec: TableSpec, keys: pd.Series, which: pd.Series,
) -> Iterable[tuple[str, str | None]]:
    """Key and patient of the rows marked in `which`."""
    patients = (
        frame[Patients.patient_id] if Patients.patient_id in spec.key else [None] * len(frame)
    )
    marked = zip(keys, patients, which, strict=True)
    return [(key, patient) for key, patient, yes in marked if yes]


def _plans(
    decision: Decision, batch: Batch, incoming: Incoming, current: Tables, states: States,
) -> dict[str, TablePlan]:
    patients = set(incoming.tables["patients"][Patients.patient_id]) - decision.patients_out
    plans = {}
    for name, spec in TABLES.items():
        rows = _left_in(decision, incoming.tables[name], spec)
        plan = plan_table(spec, rows, current[name], batch.absent_columns.get(name, ()))
        if name not in batch.absent_tables:
            plan = with_gone(
                plan, current[name], rows, patients, states.get(name, {}), batch.source_id
            )
        plans[name] = plan
    return plans


def _left_in(decision: Decision, frame: pd.DataFrame, spec: TableSpec) -> pd.DataFrame:
    out = keys_of(frame, spec).isin(decision.rows_out.get(spec.name, set()))
    if Patients.patient_id in spec.key:
        out |= frame[Patients.patient_id].isin(list(decision.patients_out))
    return frame[~out]


def changes_of(plan: TablePlan) -> list[tuple[str, Change]]:
    """Every field of the revised rows that changes, with the row's key as JSON."""
    spec = plan.spec
    found: list[tuple[str, Change]] = []
    if plan.after.empty:
        return found
    columns = {
        f.name: tuple(plain_values(part[f.name], f.type) for part in (plan.before, plan.after))
        for f in spec.fields
    }
    for position, key in enumerate(plan.after.index):
        named = {name: columns[name][1][position] for name in spec.key}
        for name, (old, new) in columns.items():
            if old[position] != new[position]:
                found.append((key, Change(spec.name, named, name, old[position], new[position])))
    return found


def _keep_clashes_out(
    decision: Decision, batch: Batch, incoming: Incoming, states: States,
) -> None:
    for name, plan in decision.plans.items():
        if plan.spec.only_added:
            continue
        known = states.get(name, {})
        for key, change in changes_of(plan):
            state = known.get(key)
            if state is None or state.source_id != batch.source_id:
                patient = change.key.get(Patients.patient_id)
                decision.keep_out(name, patient, key, _clash(
                    change, patient, incoming.places[name].get(key)
                ))
    _leave_out(decision)


def _words(value: Any) -> str:
    if value is None:
        return "a blank"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def _clash(change: Change, patient: str | None, place: Place | None) -> Problem:
    return Problem(
        "error", "clash with another source", change.table, change.field, patient, place,
        f"{_words(change.after)}, where the registry has {_words(change.before)} from another "
        "source", "the same value from every source",
        "correct the source that is wrong, or take this one in with --replace; until then "
        "nothing of this patient is changed",
    )


def _leave_out(decision: Decision) -> None:
    """Take everything that is kept out from the plans."""
    for name, plan in decision.plans.items():
        rows = decision.rows_out.get(name, set())
        added, before, after, unchanged = (
            frame[~frame.index.isin(rows)]
            for frame in (plan.added, plan.before, plan.after, plan.unchanged))
        kept = replace(plan, added=added, before=before, after=after, unchanged=unchanged)
        decision.plans[name] = kept.without(decision.patients_out)


def _settle_gone(decision: Decision, current: Tables, *, replacing: bool) -> None:
    """Rows this source has no more: removed when replacing, asked about otherwise."""
    if not any(len(plan.gone) for plan in decision.plans.values()):
        return
    free, tied = split_by_children(decision.plans, current)
    for name, plan in decision.plans.items():
        staying = tied[name] if replacing else plan.gone
        decision.notices += [
            _gone_notice(plan.spec, key, patient, replacing=replacing)
            for key, patient in zip(staying.index, staying[Patients.patient_id], strict=True)
        ] if len(staying) else []
        decision.plans[name] = replace(plan, gone=free[name] if replacing else plan.gone.iloc[:0])


def _gone_notice(spec: TableSpec, key: str, patient: str, *, replacing: bool) -> Problem:
    mend = (
        "rows that stay hang on it; take those out of their source first" if replacing
        else "take the source in with --replace if the row is to be removed"
    )
    return Problem(
        "query", "row no longer in its source", spec.name, None, patient, None,
        f"{_row_words(spec, key)}, which this source gave before and does not have any more",
        "a row that stays, or one that is removed on purpose", mend,
    )


def _row_words(spec: TableSpec, key: str) -> str:
    first, *rest = zip(spec.key, json.loads(key), strict=True)
    return ", ".join([str(first[1]), *(f"{spec.by_name[n].label} {v}" for n, v in rest)])


def _keep_broken_out(decision: Decision, incoming: Incoming, current: Tables) -> None:
    """Keep out patients whose rows break a rule only together with those of the registry."""
    touched = set()
    for plan in decision.plans.values():
        if Patients.patient_id in plan.spec.key:
            for part in (plan.added, plan.after, plan.gone):
                touched |= set(part[Patients.patient_id])
    if not touched:
        return
    tables: Mapping[str, pd.DataFrame] = after_plan(current, decision.plans)
    tables = {
        name: frame[frame[Patients.patient_id].isin(list(touched))].reset_index(drop=True)
        for name, frame in tables.items() if Patients.patient_id in TABLES[name].key
    }
    for finding in check_errors(tables):
        patient = finding.patient_id
        key = keys_of(tables[finding.table].loc[[finding.index]], TABLES[finding.table]).iloc[0]
        decision.keep_out(finding.table, patient, key, Problem(
            "error", finding.rule, finding.table, finding.field, patient,
            incoming.places[finding.table].get(key), finding.found + ", with the rows that are "
            "already in the registry", finding.wanted, finding.mend,
        ))
    _leave_out(decision)
