"""Each error keeps a patient out, and nothing else does."""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import (
    CLEAN,
    L,
    S,
    clean_tables,
    errors,
    found,
    with_cells,
    with_row,
    without_rows,
)

from registry.rules import all_rules, check_rules
from registry.schema import TABLES


def only_error(tables, rule):
    """The single error found, which must be of this rule."""
    findings = errors(tables)
    assert [f.rule for f in findings] == [rule]
    return findings[0]


def test_a_clean_service_raises_nothing():
    assert check_rules(clean_tables()) == []


def test_an_empty_registry_raises_nothing():
    assert check_rules({}) == []


def test_the_list_of_errors_is_closed():
    assert {rule.name for rule in all_rules() if rule.severity == "error"} == {
        "key used twice", "no parent row", "dated before presentation",
        "session before a lower-numbered one", "longest pause above all pauses",
        "pauses longer than the injection", "after death", "death without a date",
        "hours after nothing", "occlusion missing",
        # What the service itself remembers.
        "review of no event", "service's days out of order",
        # A required field, where the session's route is venous or both.
        "access missing",
    }


@pytest.mark.parametrize("table", [t for t in TABLES if TABLES[t].parent])
def test_every_child_row_must_find_its_parent(table):
    spec = TABLES[table]
    tables = clean_tables()
    row = {f.name: f.example or (f.values[0] if f.values else 1) for f in spec.fields if f.key}
    row |= {"patient_id": "N-0999"} if "patient_id" in row else {}
    tables[table] = spec.typed(pd.DataFrame([row]))
    finding = [f for f in found(tables, "no parent row") if f.table == table]
    assert len(finding) == 1
    assert f'is not in sheet "{TABLES[spec.parent].label}"' in finding[0].found
    assert finding[0].key == row


def test_an_injection_needs_its_session_not_only_its_lesion():
    tables = with_cells(clean_tables(), "injections", 1, session_no=7)
    finding = only_error(tables, "no parent row")
    assert finding.found == (
        'N-0001, Lesion number 1, Session number 7 is not in sheet "Sessions"')
    assert finding.index == 1


@pytest.mark.parametrize("table", [t for t in TABLES if CLEAN[t]])
def test_a_key_used_twice_marks_both_rows(table):
    tables = with_row(clean_tables(), table, like=0)
    twice = found(tables, "key used twice")
    assert [f.index for f in twice] == [0, len(tables[table]) - 1]
    assert {f.table for f in twice} == {table}


@pytest.mark.parametrize(("table", "field", "phase"), [
    ("sessions", "session_date", {}), ("resections", "resection_date", {}),
    ("complications", "onset_date", {"hours_after": None}), ("follow_ups", "follow_up_date", {}),
])
def test_nothing_is_treated_or_seen_before_presentation(table, field, phase):
    tables = with_cells(clean_tables(), table, **{field: "2021-03-09", **phase})
    finding = only_error(tables, "dated before presentation")
    assert (finding.table, finding.field) == (table, field)
    assert finding.found == (
        "2021-03-09, before the presentation on 2021-03-10 (known to the day)"
    )
    on_the_day = with_cells(clean_tables(), table, **{field: "2021-03-10", **phase})
    assert not found(on_the_day, "dated before presentation")


def test_radiosurgery_before_presentation():
    tables = with_row(clean_tables(), "radiosurgeries", **L, radiosurgery_no=1,
                      radiosurgery_date="2021-03-01", margin_dose_gy=20.0)
    only_error(tables, "dated before presentation")


@pytest.mark.parametrize(("known_to", "day", "early"), [
    ("month", "2021-03-01", False), ("month", "2021-02-28", True),
    ("year", "2021-01-01", False), ("year", "2020-12-31", True),
])
def test_presentation_known_to_a_month_or_year_is_compared_so(known_to, day, early):
    tables = with_cells(clean_tables(), "patients", presentation_date_known_to=known_to)
    tables = with_cells(tables, "sessions", 0, session_date=day)
    assert bool(found(tables, "dated before presentation")) is early


def test_sessions_go_by_their_numbers_and_may_share_a_day():
    early = with_cells(clean_tables(), "sessions", 1, session_date="2021-03-19")
    finding = only_error(early, "session before a lower-numbered one")
    assert finding.key["session_no"] == 2
    assert finding.found == "2021-03-19, before a lower-numbered session on 2021-03-20"
    same_day = with_cells(clean_tables(), "sessions", 1, session_date="2021-03-20")
    assert not found(same_day, "session before a lower-numbered one")


def test_a_third_session_is_compared_with_every_lower_number():
    tables = with_row(clean_tables(), "sessions", like=1, session_no=3,
                      session_date="2021-04-01")
    tables = with_cells(tables, "services", suite_log_procedures=3)
    finding = only_error(tables, "session before a lower-numbered one")
    assert finding.key["session_no"] == 3


def test_a_late_first_session_is_out_of_order_with_all_that_follow():
    # The second session precedes the first; the third follows the second, and not the first.
    tables = with_cells(clean_tables(), "sessions", 0, session_date="2021-04-30")
    tables = with_row(tables, "sessions", like=1, session_no=3, session_date="2021-04-25")
    late = found(tables, "session before a lower-numbered one")
    assert [finding.key["session_no"] for finding in late] == [2, 3]
    assert late[1].found == "2021-04-25, before a lower-numbered session on 2021-04-30"


def test_another_lesion_has_its_own_order():
    tables = with_row(clean_tables(), "lesions", like=0, lesion_no=2)
    tables = with_row(tables, "sessions", like=0, lesion_no=2, session_date="2021-03-15")
    assert not found(tables, "session before a lower-numbered one")


def test_the_longest_pause_is_one_of_the_pauses():
    tables = with_cells(clean_tables(), "injections", longest_pause_s=121.0)
    only_error(tables, "longest pause above all pauses")
    equal = with_cells(clean_tables(), "injections", longest_pause_s=120.0)
    assert check_rules(equal) == []


def test_pauses_fit_into_the_injection():
    tables = with_cells(clean_tables(), "injections", pauses_s=601.0)
    finding = only_error(tables, "pauses longer than the injection")
    assert finding.found == "pauses of 601 s in an injection of 10 min"


@pytest.mark.parametrize(("table", "field"), [
    ("sessions", "session_date"), ("resections", "resection_date"),
    ("follow_ups", "follow_up_date"),
])
def test_nothing_is_done_with_the_dead(table, field):
    tables = with_cells(clean_tables(), "patients", death_date="2021-12-01")
    row = len(tables[table]) - 1
    late = with_cells(tables, table, row, **{field: "2021-12-02"})
    assert only_error(late, "after death").table == table
    same = with_cells(tables, table, row, **{field: "2021-12-01"})
    assert not found(same, "after death")


def test_a_follow_up_that_reports_the_death_may_come_later():
    tables = with_cells(clean_tables(), "patients", death_date="2021-10-01")
    tables = with_cells(tables, "follow_ups", mrs=6)
    assert not errors(tables)


def test_the_dead_need_a_date_of_death():
    at_visit = with_cells(clean_tables(), "follow_ups", mrs=6)
    assert only_error(at_visit, "death without a date").table == "follow_ups"
    from_event = with_cells(clean_tables(), "complications", death=True)
    assert only_error(from_event, "death without a date").table == "complications"


def test_hours_count_from_a_session_or_an_operation():
    alone = with_cells(clean_tables(), "complications", session_no=None)
    only_error(alone, "hours after nothing")
    operated = with_cells(alone, "complications", phase="resection", onset_date="2021-04-26")
    assert check_rules(operated) == []
    never_operated = without_rows(operated, "resections")
    only_error(never_operated, "hours after nothing")


@pytest.mark.parametrize("status", ["assessed", None])
def test_occlusion_is_wanted_unless_not_assessed(status):
    tables = with_cells(clean_tables(), "sessions", occlusion_status=status,
                        occlusion_after_pct=None)
    only_error(tables, "occlusion missing")
    aborted = with_cells(tables, "sessions", occlusion_status="not assessed")
    assert check_rules(aborted) == []


def test_a_venous_injection_has_no_artery():
    tables = with_cells(clean_tables(), "sessions", route="both")
    tables = with_cells(tables, "injections", feeding_artery=None, access="vein")
    assert check_rules(tables) == []


@pytest.mark.parametrize("route", ["venous", "both"])
def test_access_is_wanted_where_the_route_leaves_it_open(route):
    tables = with_cells(clean_tables(), "sessions", route=route)
    blank = with_cells(tables, "injections", feeding_artery=None)
    assert only_error(blank, "access missing").found.endswith(f"whose route is {route}")


def test_blank_keys_are_left_to_the_check_of_cells():
    tables = with_cells(clean_tables(), "injections", 1, session_no=None)
    tables = with_cells(tables, "complications", lesion_no=None, hours_after=None)
    assert not errors(tables)


def test_findings_come_in_the_order_of_tables_and_rows():
    tables = with_cells(clean_tables(), "injections", 1, longest_pause_s=60.0, pauses_s=30.0)
    tables = with_cells(tables, "injections", 0, longest_pause_s=90.0, pauses_s=30.0)
    tables = with_cells(tables, "sessions", 1, occlusion_after_pct=None)
    places = [(f.table, f.index) for f in check_rules(tables) if f.severity == "error"]
    assert places == [("sessions", 1), ("injections", 0), ("injections", 1)]


def test_index_labels_are_kept_and_must_be_unique():
    tables = with_cells(clean_tables(), "injections", 1, feeding_artery=None)
    tables["injections"].index = ["first", "second"]
    assert found(tables, "feeding artery missing")[0].index == "second"
    tables["injections"].index = [0, 0]
    with pytest.raises(ValueError, match="index labels"):
        check_rules(tables)


def test_every_sentence_says_what_was_found_wanted_and_how_to_mend_it():
    tables = with_cells(clean_tables(), "complications", session_no=9, hours_after=None)
    for finding in check_rules(tables):
        assert finding.found and finding.wanted and finding.mend
        assert "nan" not in finding.found.lower() and "<NA>" not in finding.found
    assert S["session_no"] == 1


@pytest.mark.parametrize("cells", [
    {"clavien_dindo": "V"}, {"mrs_worst": 6}, {"mrs_30d": 6}, {"mrs_90d": 6},
    {"mrs_worst": 6, "mrs_30d": 6, "mrs_90d": 6, "clavien_dindo": "V", "death": True},
])
def test_every_sign_of_death_asks_for_the_date_and_an_event_once(cells):
    dead = with_cells(clean_tables(), "complications", **cells)
    finding = only_error(dead, "death without a date")
    assert finding.field == ("death" if len(cells) > 1 else next(iter(cells)))
    with_date = with_cells(dead, "patients", death_date="2022-01-01")
    assert not errors(with_date)


def test_radiosurgery_of_the_dead_keeps_the_patient_out():
    tables = with_cells(clean_tables(), "patients", death_date="2021-12-01")
    tables = with_row(tables, "radiosurgeries", **L, radiosurgery_no=1,
                      radiosurgery_date="2021-12-02", margin_dose_gy=20.0)
    assert only_error(tables, "after death").table == "radiosurgeries"


@pytest.mark.parametrize(("field", "day", "out"), [
    # 30 days less 7, 90 days less 14, after the onset on 21 March (common practice, no source).
    ("mrs_30d", "2021-04-12", True), ("mrs_30d", "2021-04-13", False),
    ("mrs_90d", "2021-06-04", True), ("mrs_90d", "2021-06-05", False),
])
def test_a_living_score_after_the_death_keeps_the_patient_out(field, day, out):
    tables = without_rows(without_rows(clean_tables(), "follow_ups"), "resections")
    tables = with_cells(tables, "sessions", 1, session_date="2021-03-25")
    tables = with_cells(tables, "complications", **{field: 3})
    dead = with_cells(tables, "patients", death_date=day)
    assert [(f.rule, f.field) for f in errors(dead)] == ([("after death", field)] if out else [])
