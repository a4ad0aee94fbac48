"""Small cells of cross-tabulated patient characteristics, kept out of files that leave.

A cell that counts 1 to 4 patients in a group could point to a person. Only characteristics are
held back (a measure says of itself that it is one), with `registry.privacy.suppress_small`, so
that what is left does not give them away; deaths, deficits and complications never are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import pandas as pd

from analyses.measures.declared import measure_behind
from analyses.measures.measure import SmallCells
from analyses.statistics.estimate import Estimate
from registry.privacy.suppression import SMALLEST, suppress_small

if TYPE_CHECKING:
    from analyses.measures.results import Results

SUPPRESSED = "suppressed"
WORDS = f"fewer than {SMALLEST}, or a number that would give such a cell away: not shown"
OVERALL, OTHERS = "Total", "others"

Cells = dict[tuple[str, str], int]
"""(level's id, group's level) → the place of its estimate."""


def for_outside(estimates: Sequence[Estimate]) -> list[Estimate]:
    """The estimates with small cells of characteristics emptied (kind "suppressed").

    An estimate that is no characteristic passes as it is.
    """
    hidden = {place for place, e in enumerate(estimates) if _is_small(e)}
    for cells in _tables(estimates).values():
        hidden |= _hidden(estimates, cells)
    return [_emptied(e) if place in hidden else e for place, e in enumerate(estimates)]


def outside_results(results: Results) -> Results:
    """The results for a document that leaves the service."""
    return replace(results, estimates=tuple(for_outside(results.estimates)))


def _is_characteristic(estimate: Estimate) -> bool:
    declared = measure_behind(estimate.id)
    return (declared is not None and declared.small_cells is SmallCells.HIDDEN
            and not estimate.id.endswith(".smd"))


def _is_small(estimate: Estimate) -> bool:
    """Whether it rests on a group of one to four, whatever it says of them."""
    inside = _is_characteristic(estimate) and bool(estimate.group)
    return inside and 0 < (estimate.n or 0) < SMALLEST


def _tables(estimates: Sequence[Estimate]) -> dict[tuple[str, str, str], Cells]:
    """The cross-tables: field and unit by grouping, the overall counts among their cells."""
    shares = [(place, e) for place, e in enumerate(estimates)
              if _is_characteristic(e) and e.kind == "proportion"
              and not e.id.endswith(".missing")]
    overall = {(e.id, e.unit): place for place, e in shares if not e.group}
    tables: dict[tuple[str, str, str], Cells] = defaultdict(dict)
    for place, e in shares:
        if not e.group:
            continue
        grouping, level = next(iter(e.group.items()))
        cells = tables[e.id.rsplit(".", 1)[0], e.unit, grouping]
        cells[e.id, level] = place
        if (e.id, e.unit) in overall:
            cells[e.id, OVERALL] = overall[e.id, e.unit]
    return tables


def _hidden(estimates: Sequence[Estimate], cells: Cells) -> set[int]:
    """The places of one cross-table that must not be shown."""
    rows = list(dict.fromkeys(id for id, _ in cells))
    groups = list(dict.fromkeys(group for _, group in cells if group != OVERALL))
    counts = pd.DataFrame(
        [[_count(estimates, cells.get((id, group))) for group in groups] for id in rows],
        index=rows, columns=groups)
    if len(rows) == 1:
        # Yes or no: the others are told by the number recorded.
        n = [max((estimates[cells[id, g]].n or 0 for id in rows if (id, g) in cells), default=0)
             for g in groups]
        counts.loc[OTHERS] = [size - found for size, found in
                              zip(n, counts.iloc[0], strict=True)]
    blank = suppress_small(counts, smallest=SMALLEST).table.isna()
    found = set()
    for (id, group), place in cells.items():
        column = group if group in blank.columns else blank.columns[-1]
        mine = blank[column]
        told = mine.get(OTHERS, False) or (mine.get(OVERALL, False) and group != OVERALL)
        if mine[id] or told:
            found.add(place)
    return found


def _count(estimates: Sequence[Estimate], place: int | None) -> int:
    return 0 if place is None else estimates[place].events or 0


def _emptied(estimate: Estimate) -> Estimate:
    return Estimate(id=estimate.id, kind=SUPPRESSED, value=None, unit=estimate.unit,
                    group=estimate.group, flags=(WORDS,))
