"""Complications of the ten patients in detail, counted by hand in tests/small_cohort.py."""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import with_cells, with_row
from small_cohort import small_tables

from analyses.measures.complication_detail import (
    listed_events,
    within_24_h,
)
from analyses.measures.declared import estimates_of
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate

TABLES = small_tables()


def counted(tables: dict, id: str, unit: str, **group: str) -> tuple[int, int]:
    found = [e for e in estimates_of("complications in detail", units_of(tables))
             if e.id == id and e.unit == unit and dict(e.group or {}) == group]
    assert len(found) == 1
    return found[0].events or 0, found[0].n or 0


@pytest.fixture(scope="module")
def estimates() -> dict[tuple[str, str, tuple[str, ...]], Estimate]:
    return {(e.id, e.unit, tuple((e.group or {}).values())): e
            for e in estimates_of("complications in detail", units_of(TABLES))}


@pytest.mark.parametrize(("id", "unit", "group", "events", "n"), [
    # Patient 3, and the second session of patient 4.
    ("complication.kind", "session", ("intracranial haemorrhage",), 2, 12),
    ("complication.kind", "session", ("vessel perforation",), 1, 12),
    ("complication.kind", "session", ("infection",), 0, 12),
    ("complication.kind", "patient", ("intracranial haemorrhage",), 2, 8),
    # Day 10 in patient 3; all others on the day.
    ("complication.within_24h", "session", (), 5, 12),
    ("complication.within_24h", "patient", (), 4, 8),
    ("complication.after_24h", "session", (), 1, 12),
    # Patient 2; patient 5 not yet known.
    ("complication.transient_deficit", "session", (), 1, 11),
    # No grade is written, but the death of patient 4 is grade V; four sessions without a grade.
    ("complication.clavien_dindo_3", "session", (), 1, 7),
    # Death in patient 4; no symptoms and no deficit in patient 4's first session and patient 10.
    ("complication.worse_at_30d", "session", (), 1, 9),
    ("complication.definite_or_probable", "patient", (), 5, 8),
    # Patients 2, 3, 4, 5, 10 (unrelated ones count here); 8 embolized.
    ("complication.phase", "patient", ("embolization",), 5, 8),
    ("complication.phase", "patient", ("between treatments",), 1, 8),
    # Patient 9, of patients 1, 6 and 9 operated.
    ("complication.phase", "patient", ("resection",), 1, 3),
    ("complication.phase", "patient", ("radiosurgery",), 1, 1),
    ("complication.phase", "patient", ("follow-up",), 0, 9),
    # Six events: patients 3 and 4; patient 2; patients 4 and 10; patient 5.
    ("complication.event_share", "event", ("permanent",), 2, 6),
    ("complication.event_share", "event", ("transient",), 1, 6),
    ("complication.event_share", "event", ("none",), 2, 6),
    ("complication.event_share", "event", ("not yet known",), 1, 6),
    # Patients 4, 5 and 10 have every retrieval written or one retained; 2 has one not written.
    ("complication.patient_with_retained_catheter", "patient", (), 1, 3),
])
def test_detail_as_counted_by_hand(
    estimates: dict, id: str, unit: str, group: tuple[str, ...], events: int, n: int,
) -> None:
    found = estimates[id, unit, group]
    assert (found.events, found.n) == (events, n)


def test_two_events_of_one_kind_in_one_session_are_counted_once() -> None:
    twice = with_row(TABLES, "complications", 0, complication_no=7)
    assert counted(twice, "complication.kind", "session", kind="ischaemic stroke") == (1, 12)


@pytest.mark.parametrize(("day", "hours", "phase", "known"), [
    ("2020-06-20", 24.0, "embolization", True), ("2020-06-21", 24.1, "embolization", False),
    ("2020-06-20", None, "embolization", True), ("2020-06-22", None, "embolization", False),
    # The day after, without its hour: not told.
    ("2020-06-21", None, "embolization", None),
    # Hours after an operation say nothing of the embolization.
    ("2020-06-22", 3.0, "resection", False),
])
def test_24_hours_by_the_hour_or_by_the_days(
    day: str, hours: float | None, phase: str, known: bool | None,
) -> None:
    tables = with_cells(TABLES, "complications", 3, onset_date=day, hours_after=hours, phase=phase)
    events = units_of(tables).events.reset_index(drop=True)
    found = within_24_h(events)[events["key"].eq("A-0004/1/2")].iloc[0]
    assert (None if found is pd.NA else bool(found)) is known


def test_a_retained_catheter_without_its_complication_is_told() -> None:
    tables = with_cells(TABLES, "complications", 9, kind="other")
    found = [e for e in estimates_of("complications in detail", units_of(tables))
             if e.id == "complication.patient_with_retained_catheter"]
    assert "1 of them without a complications row of it" in found[0].notes()


def test_every_event_is_listed_with_why_it_counts_or_not() -> None:
    rows = listed_events(units_of(TABLES)).set_index("key")["counted"]
    assert len(rows) == len(TABLES["complications"])
    assert (rows == "yes").sum() == 6
    assert rows["A-0010/1/1"] == "no: unrelated"
    assert rows["A-0010/1/2"] == "no: after day 30"


def test_an_event_before_any_session_is_listed_as_such() -> None:
    before = with_cells(TABLES, "complications", 1, onset_date="2020-05-09")
    rows = listed_events(units_of(before)).set_index("key")["counted"]
    assert rows["A-0003/1/1"] == "no: no session before"


def test_nothing_recorded_gives_no_number_and_no_failure() -> None:
    empty = units_of({name: table.iloc[:0] for name, table in TABLES.items()})
    assert all(e.value is None for e in estimates_of("complications in detail", empty))
