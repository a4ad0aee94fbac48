"""What uses each field, read from the declarations: rules, worked-out values, and analyses.

Measures and technique variables are declared above the registry; whoever knows them hands them in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from registry.clinical.worked_values import worked_values
from registry.rules import all_rules
from registry.schema import TABLES

Uses = Mapping[str, Sequence[str]]
"""Field, as "table.field" → what uses it, in words."""


def asked_by_rules() -> dict[str, list[str]]:
    """Field → the names of the rules that point at it when they find something."""
    nothing = {name: table.empty() for name, table in TABLES.items()}
    found: dict[str, list[str]] = {}
    for rule in all_rules():
        # A rule says which field it points at whether or not it finds a row.
        hits = rule.look(nothing)
        found.setdefault(f"{hits.table}.{hits.field}", []).append(rule.name)
    return found


def worked_out_from() -> dict[str, list[str]]:
    """Field → the labels of the worked-out values that it goes into."""
    found: dict[str, list[str]] = {}
    for value in worked_values():
        for field in value.uses:
            found.setdefault(field, []).append(value.label)
    return found


def used_by(analyses: Uses) -> dict[str, str]:
    """Field → "Analyses: …. Worked out: …. Rules: ….", without the parts that are empty.

    `analyses` gives the labels of the measures and technique variables that rest on a field. A
    field that nothing uses is absent.
    """
    kinds = {"Analyses": analyses, "Worked out": worked_out_from(), "Rules": asked_by_rules()}
    fields = dict.fromkeys(field for uses in kinds.values() for field in uses)
    return {field: " ".join(_part(kind, uses[field]) for kind, uses in kinds.items()
                            if uses.get(field))
            for field in fields if any(uses.get(field) for uses in kinds.values())}


def _part(kind: str, names: Sequence[str]) -> str:
    return f"{kind}: {'; '.join(dict.fromkeys(names))}."
