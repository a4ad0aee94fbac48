"""Each query asks the recorder and lets the patient in."""

from __future__ import annotations

import pytest
from registry_cases import L, S, clean_tables, errors, found, with_cells, with_row, without_rows

from registry.rules import all_rules, check_rules
from registry.schema.vocabulary import LIQUID_AGENTS


def asked(tables, rule):
    """The single finding of this rule; no error may come with it."""
    assert not errors(tables)
    findings = found(tables, rule)
    assert len(findings) == 1, findings
    assert findings[0].severity == "query"
    return findings[0]


def test_no_name_is_both_an_error_and_a_query():
    errors = {rule.name for rule in all_rules() if rule.severity == "error"}
    assert not errors & {rule.name for rule in all_rules() if rule.severity == "query"}


@pytest.mark.parametrize("agent", LIQUID_AGENTS)
def test_a_liquid_agent_has_a_volume(agent):
    tables = with_cells(clean_tables(), "injections", agent=agent, agent_ml=None)
    assert asked(tables, "liquid agent without a volume").found == f"{agent} with no volume"


def test_a_coil_needs_no_volume():
    tables = with_cells(clean_tables(), "injections", 1, agent="coil", agent_ml=None)
    assert check_rules(tables) == []


@pytest.mark.parametrize("access", ["artery", None])
def test_an_arterial_injection_names_its_artery(access):
    tables = with_cells(clean_tables(), "injections", feeding_artery=None, access=access)
    assert asked(tables, "feeding artery missing").field == "feeding_artery"


def test_an_operation_is_planned_or_an_emergency():
    tables = with_cells(clean_tables(), "resections", urgency=None)
    assert asked(tables, "operation without its urgency").field == "urgency"


@pytest.mark.parametrize("cells", [{"dmso_ml": 0.3}, {"dead_space_ml": 0.23}])
def test_dmso_goes_with_a_liquid_agent(cells):
    tables = with_cells(clean_tables(), "injections", 1, agent="particles", agent_ml=None, **cells)
    asked(tables, "DMSO without a liquid agent")


def test_a_catheter_that_gave_coils_and_then_a_liquid_was_rightly_prepared():
    tables = with_cells(clean_tables(), "injections", 0, catheter_no=1)
    tables = with_row(tables, "injections", like=0, injection_no=2, agent="coil", agent_ml=None)
    assert check_rules(tables) == []
    other_catheter = with_cells(tables, "injections", 2, catheter_no=2)
    asked(other_catheter, "DMSO without a liquid agent")


def test_occlusion_does_not_fall():
    tables = with_cells(clean_tables(), "sessions", 1, occlusion_after_pct=30.0)
    assert asked(tables, "occlusion fell").found == (
        "40 % before the session, 30 % after it"
    )


@pytest.mark.parametrize(("recorded", "differs"), [(2, False), (3, True), (6, True), (None, False)])
def test_the_grade_as_written_is_compared(recorded, differs):
    # 30 mm is in the middle size class: 2 points, not eloquent, no deep drainage.
    tables = with_cells(clean_tables(), "lesions", sm_grade_recorded=recorded)
    assert bool(found(tables, "recorded grade differs")) is differs


def test_more_pedicles_than_the_first_angiogram_showed():
    tables = with_cells(clean_tables(), "lesions", feeding_pedicles=1)
    assert check_rules(tables) == []  # one pedicle in each of two sessions
    tables = with_row(tables, "injections", like=0, injection_no=2, agent_ml=0.2)
    finding = asked(tables, "more pedicles treated than counted")
    assert finding.found == "3 pedicles treated in 2 sessions, 1 counted on the first angiogram"
    through_the_vein = with_cells(tables, "injections", 2, access="vein", feeding_artery=None)
    assert not found(through_the_vein, "more pedicles treated than counted")
    same_pedicle = with_cells(tables, "injections", 0, pedicle_no=1)
    same_pedicle = with_cells(same_pedicle, "injections", 2, pedicle_no=1)
    assert check_rules(same_pedicle) == []


def test_more_agent_than_nidus_over_all_sessions():
    # The nidus, an ellipsoid of 30 × 20 × 20 mm, holds 6.283 mL (geometry).
    tables = with_cells(clean_tables(), "injections", 0, agent_ml=3.0)
    assert check_rules(with_cells(tables, "injections", 1, agent_ml=3.28)) == []
    over = with_cells(tables, "injections", 1, agent_ml=3.29)
    assert asked(over, "more agent than nidus").found == (
        "6.29 mL of liquid agent, nidus 6.283 mL"
    )
    unknown = with_cells(over, "lesions", nidus_height_mm=None)
    assert check_rules(unknown) == []


@pytest.mark.parametrize(("day", "asks"), [
    ("2021-04-20", False), ("2021-04-21", True), ("2021-05-20", True), ("2021-05-21", False),
])
def test_complete_occlusion_then_residual_within_thirty_days(day, asks):
    tables = with_cells(clean_tables(), "sessions", 1, occlusion_after_pct=100.0)
    tables = with_cells(tables, "follow_ups", follow_up_date=day, occlusion="part")
    assert bool(found(tables, "complete occlusion, then residual")) is asks
    by_mr = with_cells(tables, "follow_ups", imaging="MR angiography")
    assert not found(by_mr, "complete occlusion, then residual")


def test_residual_after_the_operation_counts_as_catheter_angiography():
    tables = with_cells(clean_tables(), "sessions", 1, occlusion_after_pct=100.0)
    tables = with_cells(tables, "resections", result="residual")
    finding = asked(tables, "complete occlusion, then residual")
    assert finding.found.endswith("residual on angiography on 2021-04-28")


def test_fluoroscopy_fits_into_the_procedure():
    tables = with_cells(clean_tables(), "sessions", procedure_min=60.0, fluoroscopy_min=61.0)
    asked(tables, "fluoroscopy longer than the procedure")
    assert check_rules(with_cells(tables, "sessions", fluoroscopy_min=60.0)) == []


@pytest.mark.parametrize("imaging", ["MR angiography", "CT angiography"])
def test_complete_without_a_catheter_angiogram_is_presumed(imaging):
    tables = with_cells(clean_tables(), "resections", result="not imaged", angiography_date=None)
    tables = with_cells(tables, "follow_ups", imaging=imaging)
    assert "presumed, not confirmed" in asked(tables, "complete without catheter angiography").found
    confirmed = with_row(tables, "follow_ups", like=0, follow_up_no=2,
                         follow_up_date="2022-04-25", imaging="catheter angiography")
    assert check_rules(confirmed) == []


def test_occlusion_needs_imaging():
    tables = with_cells(clean_tables(), "follow_ups", imaging="none")
    asked(tables, "occlusion without imaging")
    assert check_rules(with_cells(tables, "follow_ups", occlusion=None)) == []


@pytest.mark.parametrize(("day", "asks"), [("2022-10-25", False), ("2022-10-26", True)])
def test_a_gap_of_more_than_eighteen_months(day, asks):
    # The operation on 2021-04-25 is the contact before.
    tables = with_cells(clean_tables(), "follow_ups", follow_up_date=day)
    assert bool(found(tables, "long gap in follow-up")) is asks


def test_a_visit_for_another_lesion_is_a_contact_too():
    tables = with_cells(clean_tables(), "follow_ups", follow_up_date="2022-12-01")
    tables = with_row(tables, "lesions", like=0, lesion_no=2)
    tables = with_row(tables, "follow_ups", like=0, lesion_no=2, follow_up_date="2022-03-01")
    assert check_rules(tables) == []


def test_haemorrhage_at_presentation_came_from_a_lesion():
    tables = with_cells(clean_tables(), "lesions", haemorrhage_before=False)
    assert asked(tables, "haemorrhage without a lesion that bled").table == "patients"
    second_bled = with_row(tables, "lesions", like=0, lesion_no=2, haemorrhage_before=True)
    assert check_rules(second_bled) == []


@pytest.mark.parametrize(("hours", "onset", "fits"), [
    (0.0, "2021-03-20", True), (0.0, "2021-03-21", True), (0.0, "2021-03-22", False),
    (23.0, "2021-03-21", True), (24.0, "2021-03-20", False), (47.0, "2021-03-22", True),
    (12.0, "2021-03-19", False), (240.0, "2021-03-31", True), (240.0, "2021-04-01", False),
])
def test_hours_lead_to_the_day_of_onset(hours, onset, fits):
    tables = with_cells(clean_tables(), "complications", hours_after=hours, onset_date=onset)
    assert bool(found(tables, "hours do not fit the date")) is not fits


def test_hours_after_an_operation_are_compared_with_its_date():
    tables = with_cells(clean_tables(), "complications", session_no=None, phase="resection",
                        onset_date="2021-04-26", hours_after=20.0)
    assert check_rules(tables) == []
    wrong = with_cells(tables, "complications", onset_date="2021-04-28")
    assert "procedure on 2021-04-25" in asked(wrong, "hours do not fit the date").found


def test_an_event_of_the_operation_that_also_names_the_session():
    tables = with_cells(clean_tables(), "complications", session_no=2, phase="resection",
                        onset_date="2021-04-26", hours_after=20.0)
    assert check_rules(tables) == []


def test_a_retained_catheter_is_a_complication():
    tables = with_cells(clean_tables(), "injections", retrieval="part retained")
    assert asked(tables, "retained catheter without a complication").index == 0
    event = {**L, "complication_no": 2, "phase": "embolization", "onset_date": "2021-03-20",
             "kind": "retained catheter", "deficit": "none", "death": False,
             "attribution": "definite"}
    assert check_rules(with_row(tables, "complications", session_no=1, **event)) == []
    assert check_rules(with_row(tables, "complications", **event)) == []  # session not known
    other_session = with_row(tables, "complications", session_no=2,
                             **{**event, "onset_date": "2021-04-20"})
    asked(other_session, "retained catheter without a complication")
    asked(other_session, "retained catheter without an injection")


def test_a_tip_detached_as_designed_is_not_a_retained_catheter():
    tables = with_cells(clean_tables(), "injections", retrieval="tip detached as designed")
    assert check_rules(tables) == []


def test_a_retained_catheter_among_complications_needs_its_injection():
    tables = with_cells(clean_tables(), "complications", kind="retained catheter")
    asked(tables, "retained catheter without an injection")


@pytest.mark.parametrize(("length", "width", "height", "asks"), [
    (30.0, 31.0, 20.0, True), (30.0, 20.0, 21.0, True), (30.0, None, 31.0, True),
    (30.0, 30.0, 30.0, False), (30.0, None, 20.0, False),
])
def test_diameters_fall(length, width, height, asks):
    tables = with_cells(clean_tables(), "lesions", nidus_length_mm=length,
                        nidus_width_mm=width, nidus_height_mm=height)
    assert bool(found(tables, "diameters not in falling order")) is asks


def test_one_procedure_has_one_date():
    tables = with_cells(clean_tables(), "services", suite_log_procedures=1)
    tables = with_cells(tables, "sessions", 0, procedure_no=1)
    tables = with_cells(tables, "sessions", 1, procedure_no=1)
    assert [f.index for f in found(tables, "one procedure on two dates")] == [0, 1]
    two_lesions_one_day = with_cells(tables, "sessions", 1, session_date="2021-03-20")
    assert not found(two_lesions_one_day, "one procedure on two dates")


def test_the_registry_is_compared_with_the_suites_log():
    tables = with_cells(clean_tables(), "services", suite_log_procedures=3)
    assert asked(tables, "fewer procedures than the suite's log").found == (
        "2 procedures in the registry, 3 in the suite's log of the period"
    )


def test_only_procedures_of_the_period_count_towards_the_log():
    tables = with_cells(clean_tables(), "services", enrolment_to="2021-03-31")
    assert asked(tables, "fewer procedures than the suite's log").found.startswith("1 procedures")
    no_log = with_cells(tables, "services", suite_log_procedures=None)
    assert check_rules(no_log) == []


def test_two_sessions_of_one_procedure_count_once_towards_the_log():
    tables = with_row(clean_tables(), "lesions", like=0, lesion_no=2)
    tables = with_row(tables, "sessions", like=0, lesion_no=2, procedure_no=1)
    tables = with_cells(tables, "sessions", 0, procedure_no=1)
    tables = with_cells(tables, "services", suite_log_procedures=3)
    assert asked(tables, "fewer procedures than the suite's log").found.startswith("2 procedures")


def test_a_site_without_a_services_row_is_asked_for_once():
    tables = without_rows(clean_tables(), "services")
    tables = with_row(tables, "patients", like=0, patient_id="N-0002")
    tables = with_row(tables, "lesions", like=0, patient_id="N-0002")
    assert asked(tables, "site without a services row").found == (
        'site NORTH (2 patients) has no row in sheet "Services"'
    )


def test_the_pauses_leave_no_time_to_push():
    tables = with_cells(clean_tables(), "injections", pauses_s=600.0)
    asked(tables, "no pushing time left")


def test_a_cyanoacrylate_share_belongs_to_cyanoacrylate():
    tables = with_cells(clean_tables(), "injections", cyanoacrylate_pct=33.0)
    asked(tables, "cyanoacrylate share of another agent")
    assert check_rules(with_cells(tables, "injections", agent="n-butyl cyanoacrylate")) == []


def test_a_vein_is_not_reached_by_an_arterial_route():
    asked(with_cells(clean_tables(), "injections", access="vein"), "access against the route")


def test_a_patient_without_a_lesion():
    tables = with_row(clean_tables(), "patients", like=0, patient_id="N-0002")
    assert asked(tables, "no lesion").patient_id == "N-0002"


def test_a_number_left_out_may_be_a_row_left_out():
    tables = with_row(clean_tables(), "follow_ups", like=0, follow_up_no=3,
                      follow_up_date="2022-04-25")
    assert asked(tables, "numbers with a gap").found == (
        '"Follow-up number" goes up to 3 in 2 rows')


def test_a_cause_of_death_needs_a_date():
    asked(with_cells(clean_tables(), "patients", death_cause="lesion"),
          "cause of death without a date")


@pytest.mark.parametrize(("known_to", "asks"), [(None, True), ("month", False)])
def test_death_before_presentation_at_the_precision_known(known_to, asks):
    tables = clean_tables()
    for table in ("sessions", "injections", "complications", "resections", "follow_ups"):
        tables = without_rows(tables, table)
    tables = with_cells(tables, "patients", death_date="2021-03-09",
                        presentation_date_known_to=known_to)
    assert bool(found(tables, "death before presentation")) is asks


@pytest.mark.parametrize(("known_to", "asks"), [
    ("day", True), ("month", True), ("year", False), ("interval between visits", False),
])
def test_a_bleed_after_death_at_the_precision_known(known_to, asks):
    tables = with_cells(clean_tables(), "patients", death_date="2021-11-30")
    tables = with_cells(tables, "haemorrhages", haemorrhage_date="2021-12-15",
                        date_known_to=known_to)
    assert bool(found(tables, "recorded after death")) is asks


def test_events_and_recoveries_after_death():
    tables = with_cells(clean_tables(), "patients", death_date="2021-11-30")
    tables = with_cells(tables, "complications", onset_date="2021-12-01", hours_after=None,
                        resolved_date="2021-12-02")
    late = found(tables, "recorded after death")
    assert [f.field for f in late] == ["onset_date", "resolved_date"]


def test_dead_at_a_visit_before_the_death():
    tables = with_cells(clean_tables(), "patients", death_date="2021-11-30")
    asked(with_cells(tables, "follow_ups", mrs=6), "visit of the dead before the death")


def test_an_event_names_sessions_and_injections_that_exist():
    no_session = with_cells(clean_tables(), "complications", session_no=5)
    asked(no_session, "session of the event not found")
    no_injection = with_cells(clean_tables(), "complications", injection_no=4)
    asked(no_injection, "injection of the event not found")
    no_session_named = with_cells(clean_tables(), "complications", session_no=None,
                                  injection_no=1, hours_after=None)
    asked(no_session_named, "injection of the event not found")


def test_an_event_does_not_begin_before_its_session():
    tables = with_cells(clean_tables(), "complications", session_no=2, hours_after=None)
    assert asked(tables, "onset before the session").found == (
        "onset on 2021-03-21, the session was on 2021-04-20"
    )


def test_a_deficit_resolves_after_it_began():
    asked(with_cells(clean_tables(), "complications", resolved_date="2021-03-20"),
          "resolved before it began")


def test_a_bleed_that_was_a_complication_names_one_that_exists():
    asked(with_cells(clean_tables(), "haemorrhages", complication_no=2),
          "complication of the bleed not found")


@pytest.mark.parametrize(("known_to", "asks"), [
    ("day", True), ("month", False), ("year", False), ("interval between visits", False),
])
def test_one_bleed_has_one_date_as_far_as_it_is_known(known_to, asks):
    tables = with_cells(clean_tables(), "haemorrhages", complication_no=1,
                        haemorrhage_date="2021-03-15", date_known_to=known_to)
    assert bool(found(tables, "one bleed with two dates")) is asks


def test_keys_of_findings_are_plain_values():
    finding = found(with_cells(clean_tables(), "injections", agent_ml=None),
                    "liquid agent without a volume")[0]
    assert finding.key == {**S, "injection_no": 1}
    assert {type(value) for value in finding.key.values()} == {str, int}
