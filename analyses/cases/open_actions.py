"""Actions that are still open, and what their measure shows before and since they were decided."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.measures.declared import all_measures, label_of
from analyses.measures.measure import Share
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate, replaced
from analyses.words.estimate_text import plural
from registry.schema import Actions, Sessions

DAY = {"session": Sessions.session_date, "lesion": "first_treatment",
       "patient": "first_treatment"}
"""The day that places a unit in time."""
BEFORE, SINCE = "before the action", "since the action"


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
    if not isinstance(one, Share) or unit not in one.units or unit not in DAY:
        return None, None, (f"{id} per {unit} is no share that can be given before and since; "
                            "name another measure in the action.")
    verdict = one.verdict(units, str(unit))
    if not verdict:
        return None, None, f"{id} cannot be given: {verdict.why}."
    frame = one.frame(units, str(unit))
    own = {"session": units.sessions, "lesion": units.lesions, "patient": units.patients}[unit]
    days = frame["key"].map(own.set_index("key")[DAY[str(unit)]])
    after = (days >= row[Actions.decided_on]).to_numpy()
    if after.all() or not after.any():
        side = "before" if after.all() else "since"
        return None, None, f"There are no {plural(str(unit))} {side} the day it was decided."
    before, since = (replaced(one.of(frame[part], str(unit))[0], group={"period": name})
                     for part, name in ((~after, BEFORE), (after, SINCE)))
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
