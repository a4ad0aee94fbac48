"""Small cells hidden, for files that are published as data (`--small-cells hide`).

A cell that counts 1 to 4 units of a group of patients could point to a person. Where any cell of
a grouping is small, or could be worked out from what else stands there, nothing by that grouping
is left: no count, no n, no median, no row of missing values, no name of a group. A characteristic
with a small cell overall is left out whole. Overall counts of deaths, deficits and complications
are never hidden, and neither is who was left out. Hiding whole groupings, and not cells, is what
needs no second round of hiding (complementary suppression: Hundepool et al., Statistical
Disclosure Control, Wiley 2012, chapter 4); `tests/attacker.py` tries what is left.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from analyses.measures.declared import measure_behind
from analyses.measures.measure import SmallCells
from analyses.measures.results_record import every_estimate
from analyses.statistics.estimate import Estimate, replaced
from registry.privacy.suppression import SMALLEST, is_small

SUPPRESSED = "suppressed"
WORDS = f"fewer than {SMALLEST}, or a number that would give such a cell away: not shown"

OF_THE_WHOLE = frozenset({
    "years", "stage", "kind", "phase", "analysis", "reason", "limit", "true risk", "width"})
"""Columns of a group that divide no patients: a time, a kind of event, a step of the flow."""
ARM = "arm"
LISTED_WHOLE = frozenset({"mrs"})
"""Columns whose levels are those of a scale, all of them named whoever has them."""
EXTREMES = frozenset({"smallest", "largest", "maximum"})
"""What stands beside a median and is one patient's value."""
SECOND_INTERVAL = ".korn_graubard"
DECIMALS = 4
COUNTED = frozenset({"proportion", "bounds", "probability"})
SPREADS = frozenset({"median", "mean", "standard deviation", "lower quartile", "upper quartile"})


@dataclass(frozen=True)
class Hidden:
    """What was hidden: columns by which nothing is shown, and ids of characteristics."""

    groupings: tuple[str, ...] = ()
    characteristics: tuple[str, ...] = ()

    def as_record(self) -> dict[str, object]:
        """Its entry in `results.json`."""
        return {"smallest_shown": SMALLEST, "groupings": list(self.groupings),
                "characteristics": list(self.characteristics)}


def without_small_cells(estimates: Sequence[Estimate]) -> tuple[tuple[Estimate, ...], Hidden]:
    """The estimates that may be published, and what was hidden.

    Those by a hidden grouping are gone; overall ones that are hidden are emptied (kind
    "suppressed"). Smallest and largest values, and which rows were counted, go everywhere.
    """
    every = every_estimate(estimates)
    hidden = Hidden(
        tuple(column for column in _columns(every) if not is_safe(every, column)),
        tuple(sorted(_small_characteristics(estimates))))
    kept = (_outside(e, hidden) for e in estimates)
    return tuple(e for e in kept if e is not None), hidden


def is_safe(estimates: Iterable[Estimate], column: str) -> bool:
    """Whether no cell by a column is small, and none can be had by adding and subtracting.

    Looked at are every count and the rest of its n; the n of one group beside each other (who is
    missing from one and not from another), and its events of one family (a symptomatic event is
    an event); and what the groups leave of the whole.
    """
    every = list(estimates)
    mine = [e for e in every if column in (e.group or {})]
    return not (any(map(_has_small_cell, mine))
                or _small_steps(mine, column)
                or _small_rest(every, mine, column))


def _columns(estimates: Iterable[Estimate]) -> list[str]:
    """The columns that divide patients, in order."""
    return list(dict.fromkeys(c for e in estimates for c in _divides(e)))


def _divides(estimate: Estimate) -> list[str]:
    return [c for c in estimate.group or {} if c not in OF_THE_WHOLE and c != ARM]


def _has_small_cell(e: Estimate) -> bool:
    rest = None if e.n is None or e.events is None else e.n - e.events
    return any(map(is_small, (e.events, e.n, e.clusters, rest)))


def _small_steps(mine: Iterable[Estimate], column: str) -> bool:
    """Whether two counts of one group are so near that the few between them are told."""
    counts: dict[tuple[str, str, str], set[int]] = defaultdict(set)
    for e in mine:
        level = (e.group or {})[column]
        if e.n is not None:
            counts[e.unit, level, "n"].add(e.n)
        # Levels of a characteristic are not parts of each other; kinds of harm are.
        if e.events is not None and not _is_characteristic(e) and e.kind in COUNTED:
            counts[e.unit, level, e.id.split(".")[0]].add(e.events)
    return any(is_small(b - a) for found in counts.values() for a, b in pairwise(sorted(found)))


def _small_rest(every: Iterable[Estimate], mine: Iterable[Estimate], column: str) -> bool:
    """Whether the groups leave a few of the whole: those of no group, or of one not shown."""
    sums: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    for e in mine:
        if set(e.group or {}) == {column}:
            sums[e.id, e.unit][0] += e.n or 0
            sums[e.id, e.unit][1] += e.events or 0
    whole = {(e.id, e.unit): e for e in every if not e.group}
    return any(
        is_small(abs((whole[key].n or 0) - n)) or is_small(abs((whole[key].events or 0) - events))
        for key, (n, events) in sums.items() if key in whole)


def _is_characteristic(estimate: Estimate) -> bool:
    declared = measure_behind(estimate.id)
    return declared is not None and declared.small_cells is SmallCells.HIDDEN


def _field(estimate: Estimate) -> str:
    """The characteristic an estimate is of: `baseline.sex` of `baseline.sex.female`."""
    return ".".join(estimate.id.split(".")[:2])


def _small_characteristics(estimates: Iterable[Estimate]) -> set[str]:
    """The characteristics that few patients have, or few do not; a blank is no characteristic."""
    fields: dict[str, list[Estimate]] = defaultdict(list)
    for e in estimates:
        if (not e.group and e.kind == "proportion" and _is_characteristic(e)
                and not e.id.endswith(".missing")):
            fields[_field(e)].append(e)
    return {field for field, levels in fields.items() if any(
        is_small(e.events) or (len(levels) == 1 and is_small((e.n or 0) - (e.events or 0)))
        for e in levels)}


def _outside(e: Estimate, hidden: Hidden) -> Estimate | None:
    """The estimate as it may be published; None where it is gone."""
    columns = _divides(e)
    if len(columns) > 1 or set(columns) & set(hidden.groupings):
        return _emptied(e) if set(columns) <= LISTED_WHOLE else None
    few = (is_small(e.n) or is_small(e.clusters)) and e.kind != "count"
    if _field(e) in hidden.characteristics or (few and (e.group or e.kind in SPREADS)):
        return _emptied(e)
    return _without_extremes(e)


def _emptied(e: Estimate) -> Estimate:
    return Estimate(id=e.id, kind=SUPPRESSED, value=None, unit=e.unit, group=e.group,
                    flags=(WORDS,))


def _without_extremes(e: Estimate) -> Estimate:
    """Without single patients' values, the keys of the rows counted, and what inverts an interval.

    Limits to twelve digits, with the effective n, tell how events lie among the few patients with
    several rows: limits of shares are rounded to the hundredth of a per cent, and what else they
    rest on goes.
    """
    value, low, high = (
        number if number is None or e.kind not in COUNTED else round(number, DECIMALS)
        for number in (e.value, e.low, e.high))
    return replaced(
        e, value=value, low=low, high=high, effective_n=None, counted=(),
        flags=tuple(map(_without_few, e.flags)),
        beside=tuple(_without_extremes(part) for part in e.beside
                     if part.kind not in EXTREMES and not part.id.endswith(SECOND_INTERVAL)),
        arms=tuple(map(_without_extremes, e.arms)))


def _without_few(flag: str) -> str:
    """`only 3 of 145 still followed`: how few is not told."""
    words = flag.split(" ")
    few = words[0] == "only" and len(words) > 1 and words[1].isdigit() and is_small(int(words[1]))
    return " ".join(("only fewer than", str(SMALLEST), *words[2:])) if few else flag
