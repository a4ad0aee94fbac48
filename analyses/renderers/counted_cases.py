"""The rows behind each estimate: `cases.parquet`, and the lists inside the HTML page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from analyses.measures.declared import about, label_of
from analyses.measures.group_words import GROUP_LABELS, level_label
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural


def cases_frame(estimates: Iterable[Estimate]) -> Any:
    """One row a unit counted: estimate, unit, group, unit_key, event (a pandas DataFrame)."""
    import pandas as pd

    parts = [
        pd.DataFrame({
            "estimate": e.id, "unit": e.unit, "group": group_text(e),
            "unit_key": [row.key for row in e.counted],
            "event": [bool(row.event) for row in e.counted],
        })
        for e in estimates if e.counted
    ]
    columns = ["estimate", "unit", "group", "unit_key", "event"]
    frame = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
    return frame.astype({"estimate": "category", "unit": "category", "group": "category",
                         "unit_key": "string", "event": "bool"})


def write_cases(estimates: Iterable[Estimate], path: Path) -> None:
    """Write `cases.parquet`: which rows each estimate counted."""
    cases_frame(estimates).to_parquet(path, index=False)


def group_text(estimate: Estimate) -> str:
    """The group as text, `sm_grade=3`; empty overall."""
    return "; ".join(f"{k}={v}" for k, v in (estimate.group or {}).items())


def title(estimate: Estimate) -> str:
    """What an estimate is, for a heading: its label, its unit and its group."""
    groups = [f"{GROUP_LABELS.get(k, k)} {level_label(k, v)}"
              for k, v in (estimate.group or {}).items()]
    return ", ".join((f"{label_of(estimate)} per {estimate.unit}", *groups))


def embedded(estimates: Sequence[Estimate]) -> dict[str, Any]:
    """The case lists of a page as plain data: keys once, then runs of their places.

    `{"keys": [...], "estimates": [{"title", "definition", "events", "others"}]}`; a run is
    `[first, last]`.
    """
    names = sorted({row.key for e in estimates for row in e.counted})
    place = {key: at for at, key in enumerate(names)}
    entries = []
    for e in estimates:
        events = sorted(place[row.key] for row in e.counted if row.event)
        others = sorted(place[row.key] for row in e.counted if not row.event)
        entries.append({
            "title": f"{title(e)}: {e.number_text()}",
            "definition": about(e.id).definition(plural(e.unit)),
            "events": runs(events), "others": runs(others),
        })
    return {"keys": names, "estimates": entries}


def runs(places: Sequence[int]) -> list[list[int]]:
    """Ascending places as runs of neighbours: 1, 2, 3, 7 becomes [[1, 3], [7, 7]]."""
    found: list[list[int]] = []
    for at in places:
        if found and at == found[-1][1] + 1:
            found[-1][1] = at
        else:
            found.append([at, at])
    return found
