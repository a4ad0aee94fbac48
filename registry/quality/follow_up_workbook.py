"""The coordinator's list written, and said in a few lines."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from registry.intake.follow_up_form import write_follow_up_form
from registry.quality.follow_up_list import ORDER, follow_up_list
from registry.quality.follow_up_schedule import Schedule, default_schedule
from registry.rules.columns import rows_of
from registry.schema import Contacts, Patients

if TYPE_CHECKING:
    from registry.store.registry import Registry


def write_follow_up_list(
    path: Path, registry: Registry, *, today: dt.date | None = None,
    schedule: Schedule | None = None,
) -> list[str]:
    """Write the list of who is due to a new workbook; returns lines to print.

    `today` is today unless given, `schedule` the package's own. Raises OutputError.
    """
    day, plan = today or dt.date.today(), schedule or default_schedule()
    rows = follow_up_list(registry.tables(), today=day, schedule=plan)
    write_follow_up_form(
        path,
        [{Patients.patient_id: row[Patients.patient_id], Contacts.try_no: row["next_try"]}
         for row in rows_of(rows)],
        [_beside(row) for row in rows_of(rows)])
    counts = rows["state"].value_counts()
    said = ", ".join(f"{counts[state]} {state}" for state in ORDER if state in counts)
    return [
        f"{path}: {len(rows)} patient{'s' * (len(rows) != 1)} due on {day} "
        f"(schedule: {plan.source}); {said or 'nobody to be called'}.",
        "Whoever was seen most lately stands first. Lost: after "
        f"{plan.lost.tries} tries and {plan.lost.months} months since last seen, by the file of "
        "the schedule.",
        "Fill in the day, the way and the result of each try, then: nidusbook intake "
        f"{path.name} --registry … A row left as it is says nothing.",
    ]


def _beside(row: dict[str, Any]) -> list[str]:
    """The texts of the columns that are only to be read."""
    return [row["state"], row["due"], _day(row["since"]), str(row["days_over"]),
            _day(row["last_seen"]), _day(row["last_try"]),
            "" if pd.isna(row["last_result"]) else row["last_result"], str(row["tries"])]


def _day(when: Any) -> str:
    return "" if pd.isna(when) else str(pd.Timestamp(when).date())
