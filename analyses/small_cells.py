"""Small cells of cross-tabulated patient characteristics, kept out of files that leave.

A cell that counts 1 to 4 patients in a group could point to a person. Only characteristics
(`baseline.*` within a group) are held back; deaths, deficits and complications never are.
Source of the threshold of 5: common practice, no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from analyses.estimate import Estimate

SMALLEST = 5
SUPPRESSED = "suppressed"
WORDS = f"fewer than {SMALLEST}, or a number that would give such a cell away: not shown"


def for_outside(estimates: Sequence[Estimate]) -> list[Estimate]:
    """The estimates with small cells of characteristics emptied (kind "suppressed").

    Where a single cell of a group's levels, or of a level's groups, would be left to be worked
    out from the totals, the smallest other one is held back too.
    """
    hidden = {place for place, e in enumerate(estimates) if _is_small(e)}
    lines = _lines(estimates)
    changed = True
    while changed:
        changed = False
        for line in lines:
            kept = [place for place in line if place not in hidden]
            if len(line) - len(kept) == 1 and kept:
                hidden.add(min(kept, key=lambda place: (_events(estimates[place]), place)))
                changed = True
    return [_emptied(e) if place in hidden else e for place, e in enumerate(estimates)]


def _is_characteristic(estimate: Estimate) -> bool:
    return (estimate.id.startswith("baseline.") and bool(estimate.group)
            and not estimate.id.endswith((".smd", ".missing")))


def _is_small(estimate: Estimate) -> bool:
    if not _is_characteristic(estimate):
        return False
    if 0 < (estimate.n or 0) < SMALLEST:
        return True
    if estimate.kind != "proportion":
        return False
    others = (estimate.n or 0) - _events(estimate)
    # The complement is told by the total, so a small one gives itself away as well.
    return 0 < _events(estimate) < SMALLEST or 0 < others < SMALLEST


def _lines(estimates: Sequence[Estimate]) -> list[list[int]]:
    """Cells that add up to a printed total: the groups of one level, the levels of one group."""
    lines: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for place, e in enumerate(estimates):
        if not _is_characteristic(e) or e.kind != "proportion" or not e.group:
            continue
        grouping, level = next(iter(e.group.items()))
        lines["groups", e.id, e.unit, grouping].append(place)
        field = e.id.rsplit(".", 1)[0]
        lines["levels", field, e.unit, grouping, level].append(place)
    return [line for line in lines.values() if len(line) > 1]


def _events(estimate: Estimate) -> int:
    return estimate.events or 0


def _emptied(estimate: Estimate) -> Estimate:
    return Estimate(id=estimate.id, kind=SUPPRESSED, value=None, unit=estimate.unit,
                    group=estimate.group, flags=(WORDS,))


def held_back(estimates: Iterable[Estimate]) -> int:
    """How many estimates were emptied."""
    return sum(e.kind == SUPPRESSED for e in estimates)
