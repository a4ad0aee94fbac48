"""The actions still open, and what their measure shows since: what a conference begins with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from analyses.cases.open_actions import OpenAction
from analyses.content.blocks import Cell, Table
from analyses.measures.declared import about
from analyses.statistics.estimate import Estimate, replaced

NO_WORDS = "words stand only in a freeze for quality work"
NOT_A_TEST = ("Before and since the day of the decision, side by side: no test, and other things "
              "changed too.")


def numbered(actions: tuple[OpenAction, ...]) -> tuple[OpenAction, ...]:
    """The actions, their estimates carrying the action's number, so that none is another's."""
    return tuple(OpenAction(**{**vars(one), "before": _of(one, one.before),
                               "since": _of(one, one.since)}) for one in actions)


def estimates_of_actions(actions: tuple[OpenAction, ...]) -> tuple[Estimate, ...]:
    """Every estimate of the open actions, in order."""
    return tuple(e for one in actions for e in (one.before, one.since) if e is not None)


def actions_table(actions: tuple[OpenAction, ...], manifest: Mapping[str, Any]) -> Table:
    """What was decided and is still open; due days as months, and whether they are past.

    manifest: the freeze's, on whose date a day is past or not.
    """
    day = manifest.get("date")
    now = None if day is None else pd.Timestamp(str(day))
    return Table("open-actions", "Decided before and still open", (
        "Action", "Role, due", "Measure", "Before", "Since"),
        tuple(_row(one, now) for one in actions), (NOT_A_TEST,))


def _of(one: OpenAction, estimate: Estimate | None) -> Estimate | None:
    if estimate is None:
        return None
    return replaced(estimate, group={**(estimate.group or {}), "action": str(one.number)})


def _row(one: OpenAction, now: pd.Timestamp | None) -> tuple[Cell, ...]:
    if one.before is None or one.since is None:
        shown = (Cell(one.problem), Cell("–"), Cell("–"))
    else:
        measure = f"{about(one.before.id).label}, per {one.before.unit}"
        shown = (Cell(measure), Cell(one.before.number_text(), one.before),
                 Cell(one.since.number_text(), one.since))
    return (Cell(one.action or f"action {one.number} ({NO_WORDS})", heading=True),
            Cell(f"{one.responsible}, {_due(one.due, now)}"), *shown)


def _due(due: pd.Timestamp | None, now: pd.Timestamp | None) -> str:
    if due is None:
        return "no day agreed"
    past = now is not None and due < now
    return f"{due.strftime('%B %Y')}{', overdue' if past else ''}"
