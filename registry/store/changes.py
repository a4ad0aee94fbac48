"""What an intake would do to the rows of the registry, worked out before anything is written."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import pandas as pd

from registry.schema import TABLES, Patients, TableSpec
from registry.schema.canonical import key_json, records
from registry.store.trail import RowState

Tables = dict[str, pd.DataFrame]
States = Mapping[str, Mapping[str, RowState]]


@dataclass(frozen=True)
class TablePlan:
    """What would happen to one table.

    `added` are new rows; `before` and `after` the rows with other values, on the same index;
    `unchanged` the rows that are already so; `gone` rows of this source that it has no more.
    All are typed, with all columns.
    """

    spec: TableSpec
    added: pd.DataFrame
    before: pd.DataFrame
    after: pd.DataFrame
    unchanged: pd.DataFrame
    gone: pd.DataFrame

    def without(self, patients: Collection[str]) -> TablePlan:
        """The plan with everything of these patients left as it is."""
        if not patients or Patients.patient_id not in self.spec.key:
            return self
        parts = (self.added, self.before, self.after, self.unchanged, self.gone)
        kept = (part[~part[Patients.patient_id].isin(list(patients))] for part in parts)
        return TablePlan(self.spec, *kept)


def keys_of(frame: pd.DataFrame, spec: TableSpec, names: tuple[str, ...] = ()) -> pd.Series:
    """The key of each row as canonical JSON (or the columns `names` of it), on its index."""
    names = names or spec.key
    fields = [spec.by_name[name] for name in names]
    keys = [key_json(record, names) for record in records(frame, fields)]
    return pd.Series(keys, index=frame.index, dtype="object")


def plan_table(
    spec: TableSpec, incoming: pd.DataFrame, current: pd.DataFrame,
    absent_columns: Collection[str],
) -> TablePlan:
    """Compare the incoming rows of a table with those of the registry.

    A column that the source does not have says nothing: the registry's value stays. A key that
    stands twice in `incoming` is a ValueError; such rows are kept out before.
    """
    incoming, current = (
        frame.set_axis(pd.Index(keys_of(frame, spec))) for frame in (incoming, current)
    )
    if not incoming.index.is_unique:
        raise ValueError(f"A key of {spec.name} stands twice in what is taken in.")
    known = incoming.index.isin(current.index)
    before = current.loc[incoming.index[known]]
    after = incoming[known].copy()
    for name in set(absent_columns) & set(spec.columns) - set(spec.key):
        after[name] = before[name]
    differs = pd.Series(False, index=after.index)
    for name in spec.columns if len(after) else ():
        differs |= _differs(before[name], after[name])
    return TablePlan(
        spec, incoming[~known], before[differs], after[differs], after[~differs],
        current.iloc[:0],
    )


def _differs(old: pd.Series, new: pd.Series) -> pd.Series:
    same = (old == new).astype("boolean").fillna(False) | (old.isna() & new.isna())
    return ~same.astype(bool)


def with_gone(
    plan: TablePlan, current: pd.DataFrame, incoming: pd.DataFrame,
    patients: Collection[str], states: Mapping[str, RowState], source_id: str,
) -> TablePlan:
    """The plan with the rows that this source gave before and has no more.

    Only patients that are in the source now are looked at: a copy with some of the patients
    says nothing about the others.
    """
    if Patients.patient_id not in plan.spec.key:
        return plan
    rows = current[current[Patients.patient_id].isin(list(patients))]
    rows = rows.set_axis(pd.Index(keys_of(rows, plan.spec)))
    missing = ~rows.index.isin(keys_of(incoming, plan.spec))
    mine = [
        key in states and states[key].source_id == source_id for key in rows.index
    ]
    return TablePlan(
        plan.spec, plan.added, plan.before, plan.after, plan.unchanged,
        rows[missing & pd.Series(mine, index=rows.index, dtype=bool)],
    )


def after_plan(current: Tables, plans: Mapping[str, TablePlan]) -> Tables:
    """The registry's tables as they would stand after the plans, sorted by key."""
    result = {}
    for name, plan in plans.items():
        rows = current[name]
        touched = pd.concat([keys_of(part, plan.spec) for part in (plan.before, plan.gone)])
        rows = rows[~keys_of(rows, plan.spec).isin(touched)]
        parts = [part for part in (rows, plan.after, plan.added) if len(part)]
        joined = pd.concat(parts) if parts else plan.spec.empty()
        result[name] = plan.spec.typed(joined).sort_values(list(plan.spec.key), ignore_index=True)
    return result


def split_by_children(
    plans: Mapping[str, TablePlan], current: Tables,
) -> tuple[dict[str, pd.DataFrame], dict[str, pd.DataFrame]]:
    """Of the rows that are gone: those that can be removed, and those with rows under them.

    A row stays while a row that is not itself removed hangs on it.
    """
    free: dict[str, pd.DataFrame] = {}
    tied: dict[str, pd.DataFrame] = {}
    left = after_plan(current, {
        name: TablePlan(p.spec, p.added, p.before, p.after, p.unchanged, p.gone.iloc[:0])
        for name, p in plans.items()
    })
    for name in reversed(list(TABLES)):
        gone = plans[name].gone
        used: set[str] = set()
        for child in TABLES.values():
            if child.parent == name:
                used |= set(keys_of(left[child.name], child, child.parent_key))
        held_down = gone.index.isin(used)
        free[name], tied[name] = gone[~held_down], gone[held_down]
        keys = keys_of(left[name], TABLES[name])
        left[name] = left[name][~keys.isin(free[name].index)]
    return free, tied
