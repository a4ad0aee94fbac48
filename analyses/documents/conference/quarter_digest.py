"""A quarter's digest on two pages: every event, reviewed or not, and the actions.

Without study code, operator or day: months only. Which row is whom `nidusbook cases` says.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from analyses.cases.open_actions import open_actions
from analyses.cases.quarter import Quarter, quarter_of
from analyses.content.blocks import Block, Cell, Document, Section, Sentence, Table, plain
from analyses.content.blocks import Paragraph as Sentences
from analyses.documents.always_said import only_a_part
from analyses.documents.conference.actions_open import (
    actions_table,
    estimates_of_actions,
    numbered,
)
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from analyses.statistics.table_rows import rows_of
from registry.schema import Actions

MOST_EVENTS = 24
"""Events that two pages hold beside the actions; the gravest stand first."""
FOOTER = "Confidential peer review. Do not circulate. Describes; does not decide treatment."
NO_RANKING = ("A quarter holds few events: more or fewer than in another says little by itself. "
              "Whether the service changes is for the monitoring plan to say.")


def digest_document(results: Results, asked: str) -> tuple[Document, tuple[Estimate, ...]]:
    """The digest of a quarter (`2026-Q3`), and the estimates in it.

    Raises CaseError, a sentence, where there is no such quarter.
    """
    quarter = quarter_of(results.units, asked)
    actions = numbered(open_actions(results.units))
    still: tuple[Block, ...] = (actions_table(actions, results.manifest),) if actions else (
        plain("No action is open."),)
    document = Document(
        name=f"digest-{asked}", title=f"Events and actions, {asked[-2:]} of {asked[:4]}",
        subtitle="For the morbidity and mortality conference",
        sections=(
            Section("In short", (*only_a_part(results.manifest), Sentences(_short(quarter)))),
            Section("Every event", _events(quarter)),
            Section("Actions still open", still),
            Section("Actions closed in the quarter", (_closed(quarter),)),
        ),
        stays_inside=False, footer=FOOTER, compact=True)
    return document, estimates_of_actions(actions)


def _short(quarter: Quarter) -> tuple[Sentence, ...]:
    rows = quarter.events
    by_severity = [f"{word}: {count}" for word, count in
                   rows["severity"].value_counts(sort=False).items()]
    told = [f"{_count(quarter.sessions, 'embolization session')} and "
            f"{_count(len(rows), 'event')} of any phase fall into the quarter"
            + (f" ({'; '.join(by_severity)})." if len(rows) else ".")]
    if len(rows):
        discussed = int(rows["discussed"].notna().sum())
        read = int(rows["readers"].ge(2).sum())
        told.append(f"Discussed at a conference: {discussed} of {len(rows)}; reviewed by two "
                    f"readers or more: {read} of {len(rows)}.")
    return tuple(map(Sentence, (*told, NO_RANKING)))


def _count(number: int, what: str) -> str:
    return f"no {what}" if number == 0 else f"1 {what}" if number == 1 else f"{number} {what}s"


def _events(quarter: Quarter) -> tuple[Block, ...]:
    if quarter.events.empty:
        return (plain("No event of any phase is recorded in the quarter."),)
    shown = quarter.events.head(MOST_EVENTS)
    left = len(quarter.events) - len(shown)
    more = (f"{left} more, less grave, are not shown; nidusbook cases lists them.",) if left else ()
    return (Table("quarter-events", "Events of every phase, the gravest first", (
        "No", "Month", "Kind", "Phase", "Severity", "Discussed", "Readers"),
        tuple(_event(number, row) for number, row in enumerate(rows_of(shown), start=1)), more),)


def _event(number: int, row: dict[str, Any]) -> tuple[Cell, ...]:
    return (Cell(str(number), heading=True), Cell(row["day"].strftime("%B")), Cell(row["kind"]),
            Cell(str(row["phase"])), Cell(row["severity"]),
            Cell("not yet" if pd.isna(row["discussed"]) else "yes"),
            Cell(str(row["readers"]) if row["readers"] else "none yet"))


def _closed(quarter: Quarter) -> Block:
    if quarter.closed.empty:
        return plain("None.")
    return Table("closed-actions", "Done or dropped", ("Action", "Role", "State"), tuple(
        (Cell(_words(row), heading=True), Cell(str(row[Actions.responsible])),
         Cell(str(row[Actions.state]))) for row in rows_of(quarter.closed)))


def _words(row: dict[str, Any]) -> str:
    words = row[Actions.action]
    return f"action {row[Actions.action_no]}" if pd.isna(words) else str(words)
