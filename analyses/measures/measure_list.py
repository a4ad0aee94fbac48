"""Every measure in a table: what can be asked, what it counts, and the fields that it rests on."""

from __future__ import annotations

import pandas as pd

from analyses.measures.declared import all_measures


def measure_list() -> pd.DataFrame:
    """One row a measure, all text: id, label, definition, units, fields ("table.field")."""
    return pd.DataFrame([
        (one.id, one.label, one.definition(), ", ".join(one.units), ", ".join(one.uses))
        for one in all_measures().values()
    ], columns=["id", "label", "definition", "units", "fields"], dtype="string")
