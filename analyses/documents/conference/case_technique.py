"""The technique of one case beside the practice limits: every injection, what was outside."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analyses.cases.one_case import OneCase, technique_rows
from analyses.content.blocks import Block, Cell, Points, Sentence, Table
from analyses.documents.conference.case_tables import words
from analyses.statistics.table_rows import rows_of
from registry.clinical.practice_limits import LIMIT_COLUMNS, PracticeLimits
from registry.schema import Injections, Lesions, Sessions

NOT_KNOWN, EVENT_MARK = "–", "*"
SHORT = {"mixing": "shaking", "dead_space": "DMSO", "rate": "rate", "pause": "pause",
         "reflux": "reflux", "halted": "halt"}
"""Each limit in a word, for the last column."""

NOTES = (
    f"{NOT_KNOWN}: not recorded. *: the injection that the event is recorded with. Limits are for "
    "liquid copolymer agents; the product's instructions for use and local protocol come first.",
)


def technique_blocks(case: OneCase, limits: PracticeLimits) -> tuple[Block, ...]:
    """What was injected how, the limits in the first row, and what was outside them in the last
    column."""
    rows = technique_rows(case, limits)
    if rows.empty:
        return (Points((Sentence("No injection is recorded for this case."),)),)
    several = ("Lesion",) if len(case.lesions) > 1 else ()
    columns = ("Day", *several, "No", "Agent", "Shaken, min", "DMSO / dead space, mL", "Volume, mL",
               "Mean rate, mL/min", "Longest pause, s", "Reflux / agreed, mm", "Catheter",
               "Outside a limit")
    body = tuple(_row(case, row) for row in rows_of(rows))
    caption = f"Each injection beside the practice limits ({limits.source})"
    first = _limits_row(limits, len(several))
    return (Table("technique", caption, columns, (first, *body), NOTES),)


def _limits_row(limits: PracticeLimits, lesions: int) -> tuple[Cell, ...]:
    texts = (*("",) * lesions, "", "liquid copolymer", f"at least {limits.mixing_at_least_min:g}",
             "DMSO fills it", "", f"up to {limits.rate_at_most_ml_min:g}",
             f"{limits.pause_at_least_s:g}–{limits.pause_at_most_s:g}", "agreed, not passed", "",
             "")
    return (Cell("Limit", heading=True), *map(Cell, texts))


def _row(case: OneCase, row: dict[str, Any]) -> tuple[Cell, ...]:
    rate = row["rate_ml_min"]
    return (
        Cell(str(row["day"]), heading=True),
        *((Cell(str(row[Lesions.lesion_no])),) if len(case.lesions) > 1 else ()),
        Cell(f"{row[Injections.injection_no]}{EVENT_MARK if _is_of_event(case, row) else ''}"),
        Cell(words(row[Injections.agent])),
        Cell(_number(row[Sessions.agent_mixing_min])),
        Cell(_pair(row, Injections.dmso_ml, Injections.dead_space_ml)),
        Cell(_number(row[Injections.agent_ml])),
        Cell(NOT_KNOWN if pd.isna(rate) else f"{float(str(rate)):.2f}"),
        Cell(_number(row[Injections.longest_pause_s])),
        Cell(_pair(row, Injections.reflux_mm, Injections.reflux_limit_mm)),
        Cell(
            words(row[Injections.retrieval]) if pd.notna(row[Injections.retrieval]) else NOT_KNOWN
        ),
        Cell(_outside(row)),
    )


def _is_of_event(case: OneCase, row: dict[str, Any]) -> bool:
    """Whether the event to be discussed names this injection."""
    event = case.index_event
    if event is None:
        return False
    return all(pd.notna(event[name]) and event[name] == row[name]
               for name in (Lesions.lesion_no, Sessions.session_no, Injections.injection_no))


def _outside(row: dict[str, Any]) -> str:
    if not row["judged"]:
        return "another agent"
    broken = [SHORT[name] for name in LIMIT_COLUMNS if words(row[name]) == "no"]
    unknown = [SHORT[name] for name in LIMIT_COLUMNS if pd.isna(row[name])]
    told = ", ".join(broken).upper() or "none"
    return told + (f"; not known: {', '.join(unknown)}" if unknown else "")


def _pair(row: dict[str, Any], first: str, second: str) -> str:
    if pd.isna(row[first]) and pd.isna(row[second]):
        return NOT_KNOWN
    return f"{_number(row[first])} / {_number(row[second])}"


def _number(value: Any) -> str:
    return NOT_KNOWN if pd.isna(value) else f"{float(str(value)):g}"
