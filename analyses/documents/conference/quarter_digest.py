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
from analyses.words.estimate_text import counted
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
    counts = quarter_estimates(quarter)
    actions = numbered(open_actions(results.units))
    still: tuple[Block, ...] = (actions_table(actions, results.manifest),) if actions else (
        plain("No action is open."),)
    document = Document(
        name=f"digest-{asked}", title=f"Events and actions, {asked[-2:]} of {asked[:4]}",
        subtitle="For the morbidity and mortality conference",
        sections=(
            Section("In short", (*only_a_part(results.manifest), Sentences(_short(counts)))),
            Section("Every event", _events(quarter)),
            Section("Actions still open", still),
            Section("Actions closed in the quarter", (_closed(quarter),)),
        ),
        stays_inside=False, footer=FOOTER, compact=True)
    return document, (*counts, *estimates_of_actions(actions))


def quarter_estimates(quarter: Quarter) -> tuple[Estimate, ...]:
    """Sessions and events of the quarter, these by severity, and how many were looked at."""
    rows = quarter.events
    seen = {"discussed at a conference": rows["discussed"].notna(),
            "reviewed by two readers or more": rows["readers"].ge(2)}
    return (
        _whole("quarter.sessions", quarter, quarter.sessions, "embolization session"),
        _whole("quarter.events", quarter, len(rows), "event"),
        *(_whole("quarter.events", quarter, int(count), "event", severity=str(word))
          for word, count in rows["severity"].value_counts(sort=False).items()),
        *(_whole("quarter.looked_at", quarter, int(those.sum()), "event", how=how)
          for how, those in seen.items()))


def _whole(id: str, quarter: Quarter, number: int, unit: str, **group: str) -> Estimate:
    return Estimate(id=id, kind="count", value=float(number), n=number, unit=unit, method="count",
                    group={"quarter": quarter.name, **group})


def _short(counts: tuple[Estimate, ...]) -> tuple[Sentence, ...]:
    sessions, events, *parts = counts
    graver = [one for one in parts if one.id == events.id]
    seen = [one for one in parts if one.id != events.id]
    by_severity = "; ".join(f"{(one.group or {})['severity']}: {one.n}" for one in graver)
    told = [Sentence(f"{counted(sessions.n or 0, sessions.unit)} and "
                     f"{counted(events.n or 0, events.unit)} of any phase fall into the quarter"
                     + (f" ({by_severity})." if graver else "."), (sessions, events, *graver))]
    if events.n:
        looked = "; ".join(f"{(one.group or {})['how']}: {one.n} of {events.n}" for one in seen)
        told.append(Sentence(f"{looked[0].upper()}{looked[1:]}.", (*seen, events)))
    return (*told, Sentence(NO_RANKING))


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
