"""A calendar quarter of the service: its events of every phase, its sessions, its actions."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from analyses.cases.case_events import SEVERITY
from analyses.cases.case_list import case_list
from analyses.cases.one_case import CaseError
from analyses.population.unit_frames import Units
from registry.schema import Actions, Sessions

FORM = re.compile(r"^(\d{4})-Q([1-4])$")


@dataclass(frozen=True)
class Quarter:
    """What happened in a quarter.

    start, stop: its first day, and the first day after it; sessions: embolization procedures in
    it; events: the rows of `case_list` that are events of it, the gravest first; closed: the rows
    of the actions closed in it.
    """

    name: str
    start: pd.Timestamp
    stop: pd.Timestamp
    sessions: int
    events: pd.DataFrame
    closed: pd.DataFrame


def quarter_of(units: Units, asked: str) -> Quarter:
    """The quarter that is asked for as `2026-Q3`.

    Raises CaseError, a sentence, where it is written otherwise.
    """
    found = FORM.match(asked)
    if not found:
        raise CaseError(f"“{asked}” is no quarter; write the year and Q1 to Q4, such as 2026-Q3.")
    start = pd.Timestamp(int(found[1]), 3 * int(found[2]) - 2, 1)
    stop = start + pd.DateOffset(months=3)
    rows = case_list(units)
    rows = rows[rows["number"].notna() & rows["day"].ge(start) & rows["day"].lt(stop)]
    rows = rows.assign(grave=rows["severity"].map(SEVERITY.index)).sort_values(
        ["grave", "day"], ascending=[False, True], kind="stable")
    actions, days = units.tables["actions"], units.sessions[Sessions.session_date]
    closed = actions[actions[Actions.closed_date].ge(start) & actions[Actions.closed_date].lt(stop)]
    return Quarter(asked, start, stop, int((days.ge(start) & days.lt(stop)).sum()), rows, closed)
