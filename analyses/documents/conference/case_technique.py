"""The technique of one case beside the practice limits: every injection, what was outside."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analyses.cases.case_hours import procedure_rows
from analyses.cases.one_case import OneCase, technique_rows
from analyses.content.blocks import Block, Cell, Points, Sentence, Table
from analyses.population.counted_events import LESION, SESSION
from analyses.statistics.table_rows import rows_of
from analyses.words.recorded_value import recorded
from registry.clinical.practice_limits import LIMIT_COLUMNS, PracticeLimits
from registry.schema import Injections, Lesions, Sessions

NOT_KNOWN, EVENT_MARK = "–", "*"
SHORT = {"mixing": "shaking", "dead_space": "DMSO", "rate": "rate", "pause": "pause",
         "reflux": "reflux", "halted": "halt"}
"""Each limit in a word, for the last column."""
NO_LIMIT = "no reflux limit recorded"
MOST_IN_FULL = 8
"""Injections that stand on one slide, one a line."""

NOTES = (
    f"{NOT_KNOWN}: not recorded. *: the injection that the event is recorded with. Limits are for "
    "liquid copolymer agents; the product's instructions for use and local protocol come first.",
)


def technique_blocks(case: OneCase, limits: PracticeLimits) -> tuple[Block, ...]:
    """What was injected how, and what was outside a limit, as far as a slide can show it.

    Every injection where they are few; else those of the event's procedure one by one, and of
    every other session how many there were and what was outside a limit.
    """
    rows = technique_rows(case, limits)
    if rows.empty:
        return (Points((Sentence("No injection is recorded for this case."),)),)
    if len(rows) <= MOST_IN_FULL:
        return (_short_table(case, rows, f"Each injection ({_limits_in_words(limits)})"),)
    own = procedure_rows(case)[[*LESION[1:], Sessions.session_no]]
    marked = rows.merge(own.assign(own=True), on=list(own.columns), how="left")
    here = marked["own"].notna().to_numpy()
    caption = f"Injections of the procedure of the event ({_limits_in_words(limits)})"
    first = (_short_table(case, rows[here], caption),) if here.any() else ()
    return (*first, _by_session(case, rows[~here])) if (~here).any() else first


def every_injection(case: OneCase, limits: PracticeLimits) -> tuple[Block, ...]:
    """Every injection with all that the limits are about, for the page."""
    rows = technique_rows(case, limits)
    if rows.empty:
        return ()
    several = ("Lesion",) if len(case.lesions) > 1 else ()
    columns = ("Day", *several, "No", "Agent", "Shaken, min", "DMSO / dead space, mL", "Volume, mL",
               "Mean rate, mL/min", "Longest pause, s", "Reflux / agreed, mm", "Catheter",
               "Outside a limit")
    body = tuple(_row(case, row) for row in rows_of(rows))
    caption = f"Each injection beside the practice limits ({limits.source})"
    first = _limits_row(limits, len(several))
    return (Table("every-injection", caption, columns, (first, *body), NOTES),)


def _limits_in_words(limits: PracticeLimits) -> str:
    return (f"limits: rate up to {limits.rate_at_most_ml_min:g} mL/min, pause "
            f"{limits.pause_at_least_s:g}–{limits.pause_at_most_s:g} s, reflux as agreed")


def _short_table(case: OneCase, rows: pd.DataFrame, caption: str) -> Table:
    several = ("Lesion",) if len(case.lesions) > 1 else ()
    columns = ("Day", *several, "No", "Agent", "mL", "mL/min", "Pause, s", "Reflux, mm",
               "Outside a limit")
    body = tuple((
        Cell(str(row["day"]), heading=True),
        *((Cell(str(row[Lesions.lesion_no])),) if several else ()),
        Cell(f"{row[Injections.injection_no]}{EVENT_MARK if _is_of_event(case, row) else ''}"),
        Cell(recorded(row[Injections.agent])), Cell(_number(row[Injections.agent_ml])),
        Cell(_rate(row)), Cell(_number(row[Injections.longest_pause_s])),
        Cell(_number(row[Injections.reflux_mm])), Cell(_told(row)))
        for row in rows_of(rows))
    return Table("technique", caption, columns, body, NOTES)


def _by_session(case: OneCase, rows: pd.DataFrame) -> Table:
    """The other sessions, one a line: every injection is counted in one of them."""
    several = ("Lesion",) if len(case.lesions) > 1 else ()
    body = []
    for _, part in rows.groupby(["day", *SESSION], sort=True):
        told = [_broken(row) for row in rows_of(part)]
        outside = "; ".join(dict.fromkeys(text for text in told if text)) or "none known"
        volume = part[Injections.agent_ml].sum(min_count=1)
        body.append((
            Cell(str(part.iloc[0]["day"]), heading=True),
            *((Cell(str(part.iloc[0][Lesions.lesion_no])),) if several else ()),
            Cell(str(len(part))), Cell(_number(volume)),
            Cell(str(sum(bool(text) for text in told))), Cell(outside)))
    return Table("other-sessions", "The other sessions", (
        "Day", *several, "Injections", "mL in all", "Outside a limit", "Which"), tuple(body))


def _limits_row(limits: PracticeLimits, lesions: int) -> tuple[Cell, ...]:
    texts = (*("",) * lesions, "", "liquid copolymer", f"at least {limits.mixing_at_least_min:g}",
             "DMSO fills it", "", f"up to {limits.rate_at_most_ml_min:g}",
             f"{limits.pause_at_least_s:g}–{limits.pause_at_most_s:g}", "agreed, not passed", "",
             "")
    return (Cell("Limit", heading=True), *map(Cell, texts))


def _row(case: OneCase, row: dict[str, Any]) -> tuple[Cell, ...]:
    return (
        Cell(str(row["day"]), heading=True),
        *((Cell(str(row[Lesions.lesion_no])),) if len(case.lesions) > 1 else ()),
        Cell(f"{row[Injections.injection_no]}{EVENT_MARK if _is_of_event(case, row) else ''}"),
        Cell(recorded(row[Injections.agent])),
        Cell(_number(row[Sessions.agent_mixing_min])),
        Cell(_pair(row, Injections.dmso_ml, Injections.dead_space_ml)),
        Cell(_number(row[Injections.agent_ml])),
        Cell(_rate(row)),
        Cell(_number(row[Injections.longest_pause_s])),
        Cell(_pair(row, Injections.reflux_mm, Injections.reflux_limit_mm)),
        Cell(
            recorded(row[Injections.retrieval])
            if pd.notna(row[Injections.retrieval]) else NOT_KNOWN
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
    unknown = [SHORT[name] for name in LIMIT_COLUMNS if pd.isna(row[name])]
    told = _broken(row) or "none"
    return told + (f"; not known: {', '.join(unknown)}" if unknown else "")


def _broken(row: dict[str, Any]) -> str:
    """The limits an injection was outside of; a limit that nobody recorded is said as such."""
    if not row["judged"]:
        return ""
    return ", ".join(
        NO_LIMIT if name == "reflux" and pd.isna(row[Injections.reflux_limit_mm]) else SHORT[name]
        for name in LIMIT_COLUMNS if recorded(row[name]) == "no")


def _told(row: dict[str, Any]) -> str:
    """What was outside a limit, in the words of a slide."""
    if not row["judged"]:
        return "another agent"
    unknown = any(pd.isna(row[name]) for name in LIMIT_COLUMNS)
    return _broken(row) or ("none known" if unknown else "none")


def _rate(row: dict[str, Any]) -> str:
    rate = row["rate_ml_min"]
    return NOT_KNOWN if pd.isna(rate) else f"{float(str(rate)):.2f}"


def _pair(row: dict[str, Any], first: str, second: str) -> str:
    if pd.isna(row[first]) and pd.isna(row[second]):
        return NOT_KNOWN
    return f"{_number(row[first])} / {_number(row[second])}"


def _number(value: Any) -> str:
    return NOT_KNOWN if pd.isna(value) else f"{float(str(value)):g}"
