"""Rules on the service's own rows: decisions, monitoring plans, signals."""

from __future__ import annotations

from registry.rules.columns import bring, day, has_match, sure
from registry.rules.finding import Hits, Rule, Tables, family, query
from registry.rules.words import column, sheet
from registry.schema import (
    Actions,
    ConferenceReviews,
    MonitoringPlans,
    Patients,
    Signals,
)

ORDERED = (
    ("actions", Actions.decided_on, Actions.closed_date),
    ("monitoring_plans", MonitoringPlans.baseline_from, MonitoringPlans.baseline_to),
    ("monitoring_plans", MonitoringPlans.baseline_to, MonitoringPlans.planned_to),
    ("monitoring_plans", MonitoringPlans.declared_on, MonitoringPlans.ended_on),
    ("signals", Signals.crossed_on, Signals.found_on),
    ("signals", Signals.found_on, Signals.done_on),
)
"""Table, a day, and a day that cannot come before it."""


def _out_of_order(table: str, first: str, later: str) -> Rule:
    def look(tables: Tables) -> Hits:
        rows = tables[table]
        rows = rows[sure(rows[later] < rows[first])]
        found = (f"{column(table, later)} " + day(rows[later]) + f", {column(table, first)} "
                 + day(rows[first]))
        return Hits(
            table, rows, later, found,
            f"{column(table, later)} on the day of {column(table, first)} or later",
            "correct one of the two",
        )

    return Rule("service's days out of order", "error", look)


@family
def days_out_of_order() -> list[Rule]:
    """What cannot come before what it follows from, such as the closing of an action."""
    return [_out_of_order(*ordered) for ordered in ORDERED]


@query("closed and open at once")
def closed_or_open(tables: Tables) -> Hits:
    """An action that is open with a day on which it was closed, or closed without one."""
    rows = tables["actions"]
    is_open = sure(rows[Actions.state] == "open")
    rows = rows[is_open == rows[Actions.closed_date].notna()]
    found = rows[Actions.state].astype("string").where(
        rows[Actions.closed_date].isna(), "open, and closed on " + day(rows[Actions.closed_date]))
    found = found.where(rows[Actions.closed_date].notna(), found + ", without its day")
    return Hits(
        "actions", rows, Actions.closed_date, found,
        f"{column('actions', Actions.closed_date)} for what is done or dropped, and for nothing "
        "else", f"correct it, or {column('actions', Actions.state)}",
    )


@query("action from no known case")
def from_no_case(tables: Tables) -> Hits:
    """An action whose case, or whose discussion of it, is not in the registry."""
    rows = tables["actions"].rename(columns={
        Actions.from_patient: Patients.patient_id,
        Actions.from_review: ConferenceReviews.review_no})
    review = [Patients.patient_id, ConferenceReviews.review_no]
    named = rows[review].notna().all(axis=1)
    unknown = rows[Patients.patient_id].notna() & ~has_match(
        rows, tables["patients"], [Patients.patient_id])
    undiscussed = named & ~has_match(rows, tables["conference_reviews"], review)
    nobody = rows[ConferenceReviews.review_no].notna() & rows[Patients.patient_id].isna()
    rows = tables["actions"][unknown | undiscussed | nobody]
    return Hits(
        "actions", rows, Actions.from_patient,
        "a case, or a review of it, that is not in the registry",
        f"a row of {sheet('patients')} and, where a review is named, of "
        f"{sheet('conference_reviews')}", "correct the case or the review, or leave both blank",
    )


@query("measure without its unit")
def measure_without_unit(tables: Tables) -> Hits:
    """An action whose measure does not say what it is counted of, or the other way round."""
    rows = tables["actions"]
    rows = rows[rows[Actions.measure].isna() != rows[Actions.measure_unit].isna()]
    return Hits(
        "actions", rows, Actions.measure_unit, "a measure without its unit, or a unit alone",
        "both or neither: complication.any by session is another number than by patient",
        "fill in the other one",
    )


@query("signal within the baseline")
def signal_in_baseline(tables: Tables) -> Hits:
    """A signal on a day of its plan's own baseline."""
    plans = tables["monitoring_plans"]
    rows = bring(tables["signals"], plans, [MonitoringPlans.plan_code],
                 [MonitoringPlans.baseline_to])
    rows = rows[sure(rows[Signals.crossed_on] <= rows[MonitoringPlans.baseline_to])]
    found = "crossed on " + day(rows[Signals.crossed_on]) + ", the baseline until " + day(
        rows[MonitoringPlans.baseline_to])
    return Hits(
        "signals", rows, Signals.crossed_on, found, "a day after the baseline",
        "see whether it belongs to another plan; a signal itself stays as it was found",
    )
