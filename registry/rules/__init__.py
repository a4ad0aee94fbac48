"""Rules across fields and tables: errors keep a patient out, queries ask the recorder.

The errors are a closed list; everything else a rule finds is a query. One small function a
rule, in the modules of this package, where it is found by itself; `check_rules` runs them all.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from pkgutil import iter_modules

import pandas as pd

from registry.rules.finding import Family, Finding, Rule
from registry.schema import TABLES

__all__ = ["Finding", "Rule", "all_rules", "check_errors", "check_rules", "rule_modules"]


def all_rules() -> list[Rule]:
    """Every rule, errors first, for the schema as it stands now.

    Nothing is listed: every rule and family that stands in a module of this package is found.
    """
    found: dict[int, Rule | Family] = {}
    for module in rule_modules():
        for thing in vars(import_module(f"{__name__}.{module}")).values():
            if isinstance(thing, Rule | Family):
                found.setdefault(id(thing), thing)
    rules = [rule for thing in found.values()
             for rule in (thing.make() if isinstance(thing, Family) else [thing])]
    return sorted(rules, key=lambda rule: rule.severity != "error")


def rule_modules() -> list[str]:
    """The modules of this package, by name."""
    return sorted(module.name for module in iter_modules(__path__))


def check_rules(tables: Mapping[str, pd.DataFrame]) -> list[Finding]:
    """Everything the rules find in these tables, in the order of tables, rows and rules.

    `tables` maps table names to typed tables (`TableSpec.typed`); an absent one is taken as
    empty. A blank is never held against a rule that compares values, so tables from which
    unreadable cells were blanked can be checked too. Raises ValueError where the index labels
    of a table are not unique: a finding names its row by that label.
    """
    return _look(all_rules(), tables)


def check_errors(tables: Mapping[str, pd.DataFrame]) -> list[Finding]:
    """What keeps a patient out, and no queries; otherwise as `check_rules`."""
    return _look([rule for rule in all_rules() if rule.severity == "error"], tables)


def _look(rules: list[Rule], tables: Mapping[str, pd.DataFrame]) -> list[Finding]:
    complete = {
        name: tables[name] if name in tables else spec.empty() for name, spec in TABLES.items()
    }
    for name, frame in complete.items():
        if not frame.index.is_unique:
            raise ValueError(f"The rows of {name} do not have index labels of their own.")
    found = [finding for rule in rules for finding in rule.findings(complete)]
    places = {name: dict(zip(t.index, range(len(t)), strict=True)) for name, t in complete.items()}
    order = list(complete)
    return sorted(found, key=lambda f: (order.index(f.table), places[f.table][f.index]))
