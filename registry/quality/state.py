"""The state of the data, as `nidusbook check` shows it.

Completeness by field, open queries, patients held back, follow-up due, and the audit trail: each
as a table, and together as lines to print.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from registry.quality.completeness import completeness
from registry.quality.follow_up import follow_up_of
from registry.quality.follow_up_schedule import Schedule, default_schedule
from registry.quality.held_words import held_lines
from registry.quality.row_words import row_words
from registry.rules import check_rules
from registry.rules.columns import rows_of
from registry.schema import TABLES, Lesions, Patients

if TYPE_CHECKING:
    from registry.store.registry import Registry

QUERY_COLUMNS = [
    "severity", "rule", "table", "row", Patients.patient_id, "field", "found", "wanted", "mend",
]
# How many rows of one kind are printed; the tables hold them all.
SHOWN = 20
# Fields recorded less often than this are printed.
COMPLETE = 0.9


@dataclass(frozen=True)
class QualityReport:
    """The state of a registry's data on a day.

    `completeness`: see `registry.quality.completeness`; `queries`: one row a finding of the rules
    (`QUERY_COLUMNS`); `held`: the rows kept out; `follow_up`: see `registry.quality.follow_up`;
    `audit_breaks`: sentences; `schedule`: whose schedule the follow-up is due by.
    """

    place: str
    day: dt.date
    rows: dict[str, int]
    completeness: pd.DataFrame
    queries: pd.DataFrame
    held: pd.DataFrame
    follow_up: pd.DataFrame
    schedule: Schedule
    audit_breaks: tuple[str, ...]
    audit_entries: int

    @property
    def errors(self) -> bool:
        """Whether the data have errors: rows held back, broken rules, or a broken trail."""
        broken = (self.queries["severity"] == "error").any()
        return bool(len(self.held) or broken or self.audit_breaks)

    @property
    def lines(self) -> list[str]:
        """The report as lines to print."""
        parts = (_held_lines, _query_lines, _completeness_lines, _follow_up_lines, _audit_lines)
        counted = ", ".join(
            f"{TABLES[name].label.lower()} {n}" for name, n in self.rows.items() if n)
        lines = [f"{self.place}: {counted or 'nothing is recorded yet'}."]
        for part in parts:
            lines += ["", *part(self)]
        return lines


def quality_report(
    registry: Registry, *, today: dt.date | None = None, schedule: Schedule | None = None,
) -> QualityReport:
    """Look at a registry's data; `today` is today unless given, `schedule` the package's own."""
    day, plan = today or dt.date.today(), schedule or default_schedule()
    snapshot = registry.snapshot()
    tables = snapshot.tables
    return QualityReport(
        registry.place, day, {name: len(frame) for name, frame in tables.items()},
        completeness(tables), open_queries(tables), snapshot.held,
        follow_up_of(tables, today=day, schedule=plan), plan,
        tuple(registry.verify_audit()), snapshot.audit_head[0],
    )


def open_queries(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """What the rules find in the tables, one row a finding (`QUERY_COLUMNS`).

    `row` says which row in words: "N-0012, Lesion number 1, Session number 2".
    """
    rows = [
        (f.severity, f.rule, f.table, row_words(f.table, f.key), f.patient_id, f.field, f.found,
         f.wanted, f.mend)
        for f in check_rules(tables)
    ]
    return pd.DataFrame(rows, columns=QUERY_COLUMNS, dtype="string")


def _held_lines(report: QualityReport) -> list[str]:
    return _cut(held_lines(report.held), SHOWN + 1)


def _query_lines(report: QualityReport) -> list[str]:
    queries = report.queries
    if queries.empty:
        return ["Open queries: none."]
    lines = [f"Open queries: {len(queries)}."]
    for rule, rows in queries.groupby("rule", sort=False):
        first = rows.iloc[0]
        lines.append(f"  {rule} ({len(rows)}). Wanted: {first['wanted']}. To mend: "
                     f"{first['mend']}.")
        told = [f"    {TABLES[row['table']].label}, {row['row']}: {row['found']}"
                for row in rows_of(rows)]
        lines += _cut(told, SHOWN)
    return lines


def _completeness_lines(report: QualityReport) -> list[str]:
    table = report.completeness
    low = table[table["share"] < COMPLETE].sort_values("share", kind="stable")
    if low.empty:
        return [f"Completeness: every field is recorded in {COMPLETE * 100:.0f} % or more."]
    lines = [
        f"Completeness: fields recorded in less than {COMPLETE * 100:.0f} % of the rows that "
        "could have them, fewest first."
    ]
    lines += [
        f"  {TABLES[row['table']].label}, {TABLES[row['table']].by_name[row['field']].label}: "
        f"{row['recorded']}/{row['expected']} ({row['share'] * 100:.0f} %)"
        for row in rows_of(low)
    ]
    return lines


def _follow_up_lines(report: QualityReport) -> list[str]:
    table = report.follow_up
    overdue, due = (table[table["state"] == state] for state in ("overdue", "due"))
    lines = [
        f"Follow-up on {report.day.isoformat()} (schedule: {report.schedule.source}): "
        f"{len(overdue)} overdue, {len(due)} due."
    ]
    late = [f"  {_visit_words(row)}, overdue since {row['until'].isoformat()} "
            f"({row['days_over']} days)" for row in rows_of(overdue)]
    now = [f"  {_visit_words(row)}, due by {row['until'].isoformat()}" for row in rows_of(due)]
    return lines + _cut(late, SHOWN) + _cut(now, SHOWN)


def _visit_words(row: Mapping[str, Any]) -> str:
    return f"{row[Patients.patient_id]}, lesion {row[Lesions.lesion_no]}: {row['what']}"


def _audit_lines(report: QualityReport) -> list[str]:
    if not report.audit_breaks:
        return [f"Audit trail: {report.audit_entries} entries, and all of it holds."]
    return ["Audit trail: it does not hold.", *(f"  {line}" for line in report.audit_breaks)]


def _cut(lines: list[str], most: int) -> list[str]:
    if len(lines) <= most:
        return lines
    return [*lines[:most], f"    … and {len(lines) - most} more"]
