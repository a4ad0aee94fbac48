"""Rules on reviews, decisions, plans, signals and contacts: what cannot be so, and what is asked.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from registry_cases import clean_tables, errors, found, frame
from service_rows import ROWS

from registry.rules import check_rules


def service(table: str = "contacts", **cells: Any) -> dict[str, pd.DataFrame]:
    """The clean service with all that it remembers, cells of one table's first row changed."""
    rows = {**ROWS, table: [{**ROWS[table][0], **cells}, *ROWS[table][1:]]}
    return {**clean_tables(), **{name: frame(name, with_truth(given))
                                 for name, given in rows.items()}}


def with_truth(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows as typed tables take them: yes and no as true and false."""
    words = {"yes": True, "no": False}
    return [{name: words.get(value, value) if name.startswith(("factor", "blinded")) else value
             for name, value in row.items()} for row in rows]


def test_a_service_that_remembers_rightly_is_asked_nothing():
    assert check_rules(service()) == []


@pytest.mark.parametrize(("table", "cells", "said"), [
    ("event_reviews", {"event_no": 2}, "complication 2 of lesion 1"),
    ("event_reviews", {"event_of": "haemorrhage", "event_no": 9}, "haemorrhage 9 of lesion 1"),
    ("conference_reviews", {"event_of": "resection", "event_no": 4}, "resection 4 of lesion 1"),
])
def test_a_review_finds_its_event(table, cells, said):
    [finding] = errors(service(table, **cells))
    assert (finding.rule, finding.table) == ("review of no event", table)
    assert said in finding.found and 'sheet "Haemorrhages"' in finding.wanted


@pytest.mark.parametrize(("of", "number"), [("haemorrhage", 1), ("resection", 1)])
def test_an_event_of_any_phase_can_be_reviewed(of, number):
    tables = service("event_reviews", event_of=of, event_no=number)
    assert check_rules(tables) == []


@pytest.mark.parametrize(("table", "cells", "said"), [
    ("actions", {"state": "done", "closed_date": "2021-05-31"}, '"Closed" 2021-05-31'),
    ("monitoring_plans", {"baseline_to": "2019-12-31"}, '"Baseline to" 2019-12-31'),
    ("monitoring_plans", {"planned_to": "2021-01-01"}, '"Planned to" 2021-01-01'),
    ("monitoring_plans", {"ended_on": "2021-01-01"}, '"Ended on" 2021-01-01'),
    ("signals", {"crossed_on": "2021-12-02"}, '"Crossed on" 2021-12-02'),
    ("signals", {"done_on": "2021-11-30"}, '"Done on" 2021-11-30'),
])
def test_nothing_comes_before_what_it_follows_from(table, cells, said):
    [finding] = errors(service(table, **cells))
    assert finding.rule == "service's days out of order" and finding.patient_id is None
    assert said in finding.found


@pytest.mark.parametrize(("rule", "table", "cells"), [
    ("reviewed before it happened", "event_reviews", {"reviewed_on": "2021-03-20"}),
    ("reviewed before it happened", "conference_reviews", {"conference_date": "2021-03-01"}),
    ("event named in part", "conference_reviews", {"event_no": None}),
    ("closed and open at once", "actions", {"closed_date": "2021-07-01"}),
    ("closed and open at once", "actions", {"state": "done"}),
    ("action from no known case", "actions", {"from_patient": "N-0077"}),
    ("action from no known case", "actions", {"from_review": 3}),
    ("action from no known case", "actions", {"from_patient": None}),
    ("measure without its unit", "actions", {"measure_unit": None}),
    ("signal within the baseline", "signals", {"crossed_on": "2021-05-31"}),
    ("found dead without a date", "contacts", {"result": "dead"}),
])
def test_what_may_be_a_slip_is_asked(rule, table, cells):
    tables = service(table, **cells)
    assert errors(tables) == []
    assert [finding.table for finding in found(tables, rule)] == [table]


def test_nobody_is_seen_after_death():
    tables = service("contacts", result="seen")
    tables["patients"] = tables["patients"].assign(death_date=pd.Timestamp("2022-01-01"))
    assert [f.table for f in found(tables, "after death")] == ["contacts"]
    tables = service("contacts", result="no answer")
    tables["patients"] = tables["patients"].assign(death_date=pd.Timestamp("2022-01-01"))
    assert found(tables, "after death") == []
