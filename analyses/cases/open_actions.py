"""Actions that are still open, and what their measure shows before and since they were decided."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import pandas as pd

from analyses.measures.declared import all_measures, label_of
from analyses.measures.in_periods import share_in_periods
from analyses.measures.measure import Share
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate, replaced
from analyses.words.estimate_text import plural
from registry.schema import Actions

BEFORE, SINCE = "before the action", "since the action"
_NO_SHARE = ("{id} per {unit} is no share that can be given before and since; name another measure "
             "in the action.")


@dataclass(frozen=True)
class OpenAction:
    """An action that is neither done nor dropped.

    action: its words, blank in a freeze for research; before, since: its measure in the units
    before the day of the decision, and from then on; problem: a sentence where they cannot be
    given, else blank.
    """

    number: int
    action: str
    responsible: str
    decided_on: pd.Timestamp
    due: pd.Timestamp | None
    before: Estimate | None = None
    since: Estimate | None = None
    problem: str = ""


def open_actions(units: Units) -> tuple[OpenAction, ...]:
    """The open actions, the one that is due first at the head; those without a day last."""
    rows = units.tables["actions"]
    rows = rows[rows[Actions.state].eq("open").fillna(False)]
    rows = rows.sort_values([Actions.due_date, Actions.action_no], na_position="last")
    return tuple(_open(units, row) for _, row in rows.iterrows())


def _open(units: Units, row: pd.Series) -> OpenAction:
    due, words = row[Actions.due_date], row[Actions.action]
    found = OpenAction(
        int(row[Actions.action_no]), "" if pd.isna(words) else str(words),
        str(row[Actions.responsible]), row[Actions.decided_on], None if pd.isna(due) else due)
    before, since, problem = _measured(units, row)
    return OpenAction(**{**vars(found), "before": before, "since": since, "problem": problem})


def _measured(units: Units, row: pd.Series) -> tuple[Estimate | None, Estimate | None, str]:
    id, unit = row[Actions.measure], row[Actions.measure_unit]
    if pd.isna(id) or pd.isna(unit):
        return None, None, "No measure was named that will show whether it worked."
    one = all_measures().get(str(id))
    if not isinstance(one, Share) or unit not in one.units:
        return None, None, _NO_SHARE.format(id=id, unit=unit)
    verdict = one.verdict(units, str(unit))
    if not verdict:
        return None, None, f"{id} cannot be given: {verdict.why}."
    day = row[Actions.decided_on].date()
    parts = share_in_periods(one, units, str(unit), {
        BEFORE: (None, day - timedelta(days=1)), SINCE: (day, None)})
    if parts is None:
        return None, None, _NO_SHARE.format(id=id, unit=unit)
    before, since = (replaced(part, group={"period": name})
                     for part, name in zip(parts, (BEFORE, SINCE), strict=True))
    if not before.n or not since.n:
        side = "since" if before.n else "before"
        return None, None, f"There are no {plural(str(unit))} {side} the day it was decided."
    return before, since, ""


def action_lines(actions: tuple[OpenAction, ...]) -> list[str]:
    """Open actions as lines to print: what, who, by when, and what the measure shows."""
    return [f"Open action {one.number}, decided on {one.decided_on.date()}, "
            f"{'no day due' if one.due is None else f'due {one.due.date()}'} ({one.responsible}): "
            f"{one.action or 'words not in this freeze'} {_shown(one)}" for one in actions]


def _shown(one: OpenAction) -> str:
    if one.before is None or one.since is None:
        return one.problem
    return (f"{label_of(one.before)} per {one.before.unit} before: {one.before.as_text()}; since: "
            f"{one.since.as_text()}. Other things changed as well: no cause can be read from it.")
