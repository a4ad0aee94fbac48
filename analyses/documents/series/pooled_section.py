"""Several small groups partially pooled: the table, and the methods."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.content.blocks import Block, Cell, Table, plain
from analyses.measures.declared import about
from analyses.measures.group_words import GROUP_LABELS, level_label
from analyses.measures.groups_pooled import GroupsPooled
from analyses.models.technique_models import TechniqueModels
from analyses.statistics.estimate import Estimate
from analyses.words.numerals import percent, points, span

NAME = "groups-pooled"
METHOD = (
    "Where a measure is compared between five or more groups of five or more units, their shares "
    "are partially pooled, and raw differences are not shown: each share is drawn towards the "
    "others' as far as the groups are alike, which the data tell (after Efron and Morris 1975; an "
    "own approximation with a within-patient correlation). In 32 settings tried it was nearer the "
    "truth than the counts alone (at most 0.94 of their squared error); where the groups were "
    "alike, 99 % or more of the intervals held no difference.")
ANOTHER_KIND = ("A group that is known to be of another kind should stand alone: by its counts.")


def pooling_methods(
    pooled: Sequence[GroupsPooled], models: TechniqueModels | None,
) -> tuple[Block, ...]:
    """How several groups were compared; nothing where none were pooled and no size is named."""
    important = models.plan.important if models else None
    if not pooled and important is None:
        return ()
    said = [METHOD] if pooled else []
    if important is not None and models is not None:
        said.append(f"The plan of {models.plan.date.isoformat()} calls a difference of more than "
                    f"{_size(important)} percentage points important; how probable one is, either "
                    "way, is given for pooled groups"
                    f"{'' if pooled else ', of which there are none here'}.")
    elif pooled:
        said.append("No size of difference was named important in a plan.")
    return (plain(*said),)


def pooled_blocks(pooled: Sequence[GroupsPooled]) -> tuple[Block, ...]:
    """The table of all groups pooled, and what it is not; nothing where there are none."""
    if not pooled:
        return ()
    important = pooled[0].pooled.important
    beyond = () if important is None else (
        f"Probability of more than {_size(important)} points apart",)
    columns = ("Measure", "By", "Group", "Events/n", "Pooled share (95 % credible interval)",
               "Less the reference (points, 95 %)", *beyond)
    rows = tuple(row for one in pooled for row in _rows(one))
    return (Table(NAME, "Several groups partially pooled", columns, rows, (
        "In the place of raw differences, which say more about chance where groups are small. "
        f"{ANOTHER_KIND}",), folded=True),)


def _rows(one: GroupsPooled) -> list[tuple[Cell, ...]]:
    differences = {_first(e, one.column): e for e in one.pooled.differences}
    exceeding = {_first(e, one.column): e for e in one.pooled.exceeding}
    rows = []
    for e in one.pooled.groups:
        name = (e.group or {})[one.column]
        row = [Cell(f"{about(one.id).label}, per {one.unit}", heading=True),
               Cell(GROUP_LABELS[one.column]), Cell(level_label(one.column, name)),
               Cell(f"{e.events:,}/{e.n:,}", e), Cell(_share(e), e)]
        apart = differences.get(name)
        row.append(Cell("reference") if apart is None else Cell(_points(apart), apart))
        if one.pooled.important is not None:
            beyond = exceeding.get(name)
            row.append(Cell("") if beyond is None else
                       Cell(f"{percent(beyond.value or 0.0)} %", beyond))
        rows.append(tuple(row))
    return rows


def _first(e: Estimate, column: str) -> str:
    """The group of a difference that is compared with the reference."""
    return (e.group or {})[column].partition(" against ")[0]


def _share(e: Estimate) -> str:
    between = span(percent(e.low or 0.0), percent(e.high or 0.0))
    return f"{percent(e.value or 0.0)} % ({between})"


def _points(e: Estimate) -> str:
    return f"{points(e.value or 0.0)} ({span(points(e.low or 0.0), points(e.high or 0.0))})"


def _size(important: float) -> str:
    return f"{100 * important:g}"
