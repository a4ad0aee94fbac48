"""Tables whose rows are only ever added: what an intake may still do to a row that is there.

A signal that was found stays as it was found, and a plan as it was declared, whoever takes in
what, with --replace too. Only a field that is filled in later may be filled, once; a blank in a
source says nothing of it.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from registry.problems.problem import Problem
from registry.schema import TABLES, Patients
from registry.schema.canonical import plain_values
from registry.store.changes import TablePlan, Tables, keys_of
from registry.store.decision import Decision, Incoming


def keep_as_they_are(decision: Decision, incoming: Incoming) -> None:
    """Leave of the plans of such tables what is added and what is filled in; tell the rest."""
    for name, plan in decision.plans.items():
        if plan.spec.only_added and len(plan.after):
            decision.plans[name] = _filled_only(decision, incoming, plan)


def _filled_only(decision: Decision, incoming: Incoming, plan: TablePlan) -> TablePlan:
    after, filled = plan.after.copy(), pd.Series(False, index=plan.after.index)
    refused: dict[str, list[str]] = {}
    for field in plan.spec.fields:
        before = plan.before[field.name]
        new = after[field.name].notna() & before.isna() & field.filled_later
        other = ~new & _differs(plan, field.name)
        if field.filled_later:
            other &= after[field.name].notna()
        for key in after.index[other]:
            refused.setdefault(key, []).append(field.name)
        filled |= new
        after[field.name] = after[field.name].where(new, before)
    for key, fields in refused.items():
        place = incoming.places[plan.spec.name].get(key)
        labels = ", ".join(plan.spec.by_name[name].label for name in fields)
        decision.keep_out(plan.spec.name, None, key, Problem(
            "error", "a row that stays as it is", plan.spec.name, fields[0], None, place,
            f"another value in {labels} of a row that is in the registry",
            f"rows of {plan.spec.label} as they were first taken in: they are never changed",
            "leave the row as it is in the registry, and add a row of its own for what is new",
        ))
    return replace(
        plan, before=plan.before[filled], after=after[filled],
        unchanged=pd.concat([plan.unchanged, after[~filled]]) if (~filled).any()
        else plan.unchanged,
    )


def _differs(plan: TablePlan, name: str) -> pd.Series:
    kind = plan.spec.by_name[name].type
    old, new = (plain_values(part[name], kind) for part in (plan.before, plan.after))
    return pd.Series([a != b for a, b in zip(old, new, strict=True)], index=plan.after.index)


def keep_orphans_out(decision: Decision, incoming: Incoming, current: Tables) -> None:
    """Keep out rows without a patient whose parent row is neither registered nor comes in."""
    for name, plan in decision.plans.items():
        spec = plan.spec
        if spec.parent is None or Patients.patient_id in spec.key or plan.added.empty:
            continue
        parent = TABLES[spec.parent]
        there = {*keys_of(current[parent.name], parent), *decision.plans[parent.name].added.index}
        wanted = keys_of(plan.added, spec, spec.parent_key)
        for key, parent_key in zip(plan.added.index, wanted, strict=True):
            if parent_key not in there:
                decision.keep_out(name, None, key, Problem(
                    "error", "no parent row", name, spec.parent_key[-1], None,
                    incoming.places[name].get(key),
                    f"{parent_key}, which is not in {parent.label} of the registry",
                    f"a row of {parent.label} that this row belongs to",
                    f"mend that row of {parent.label}; this one comes in with it",
                ))
