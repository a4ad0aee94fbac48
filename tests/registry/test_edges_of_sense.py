"""Where each question of clinical sense begins: the value that fits, and the next that does not."""

from __future__ import annotations

from typing import Any

import pytest
from registry_cases import L, clean_tables, found, with_cells, with_row

RADIOSURGERY = {**L, "radiosurgery_no": 1, "radiosurgery_date": "2021-12-01", "fractions": 1,
                "margin_dose_gy": 20.0}


@pytest.mark.parametrize(("rule", "table", "fits", "asks"), [
    ("event long after its session", "complications", {"onset_date": "2021-04-19"},
     {"onset_date": "2021-04-20"}),
    ("death with a lower severity", "complications", {"death": True, "clavien_dindo": "V"},
     {"death": True, "clavien_dindo": "IVb"}),
    ("death with a lower severity", "complications", {"death": True, "mrs_30d": 5},
     {"death": True, "mrs_90d": 5}),
    ("open operation below grade IIIb", "complications",
     {"rescue": "open operation", "clavien_dindo": "IIIb"},
     {"rescue": "open operation", "clavien_dindo": "IIIa"}),
    ("deficit without symptoms", "complications", {"symptomatic": False, "deficit": "none"},
     {"symptomatic": False, "deficit": "transient"}),
    # The clean patient had an mRS of 1 before treatment.
    ("permanent deficit, and mRS as before", "complications",
     {"deficit": "permanent", "mrs_90d": 2}, {"deficit": "permanent", "mrs_90d": 1}),
    ("permanent deficit, and mRS as before", "complications",
     {"deficit": "permanent", "mrs_30d": 1, "mrs_90d": 3},
     {"deficit": "permanent", "mrs_30d": 1, "mrs_90d": None}),
    ("eloquent site, and not eloquent", "lesions", {"location": "basal ganglia"},
     {"location": "thalamus"}),
    ("incidental, and not well", "patients", {"presentation": "incidental", "mrs_before": 2},
     {"presentation": "incidental", "mrs_before": 3}),
    ("incidental, and not awake", "patients", {"presentation": "incidental", "gcs": 14},
     {"presentation": "incidental", "gcs": 13}),
    ("coma score does not fit the presentation", "patients", {"presentation": "seizure", "gcs": 3},
     {"presentation": "other", "gcs": 8}),
    ("coma score does not fit the presentation", "patients",
     {"presentation": "focal deficit", "gcs": 9}, {"presentation": "headache", "gcs": 13}),
    ("feeder of another territory", "injections", {"feeding_artery": "dural"},
     {"feeding_artery": "PCA"}),
    ("feeder of another territory", "injections",
     {"feeding_artery": "SCA", "feeder_type": "collateral"},
     {"feeding_artery": "SCA", "feeder_type": "terminal"}),
    ("not halted when called for", "injections", {"view_lost": True, "delivery_halted": None},
     {"view_lost": True, "delivery_halted": False}),
    ("reflux far past the limit without a stop", "injections",
     {"reflux_mm": 29.0, "reflux_limit_mm": 20.0, "reflux_stops": 0},
     {"reflux_mm": 30.0, "reflux_limit_mm": 20.0, "reflux_stops": 0}),
    ("nidus under 5 mm", "lesions", {"nidus_length_mm": 5.0}, {"nidus_length_mm": 4.9}),
    ("blood loss under 10 mL", "resections", {"blood_loss_ml": 10.0}, {"blood_loss_ml": 9.0}),
    ("follow-up before the first treatment", "follow_ups", {"follow_up_date": "2021-03-20"},
     {"follow_up_date": "2021-03-19"}),
    # The last session was on 20 April, the operation on 25 April.
    ("emergency operation without an event", "resections",
     {"urgency": "emergency", "resection_date": "2021-03-28"},
     {"urgency": "emergency", "resection_date": "2021-03-29"}),
    ("death after treatment without an event", "patients", {"death_date": "2021-04-27"},
     {"death_date": "2021-04-26"}),
])
def test_the_edge_of_a_question(
    rule: str, table: str, fits: dict[str, Any], asks: dict[str, Any],
) -> None:
    assert not found(with_cells(clean_tables(), table, **fits), rule)
    assert len(found(with_cells(clean_tables(), table, **asks), rule)) == 1


@pytest.mark.parametrize(("rule", "fits", "asks"), [
    ("dose does not fit the fractions", {"margin_dose_gy": 27.0}, {"margin_dose_gy": 28.0}),
    ("dose does not fit the fractions", {"margin_dose_gy": 12.0}, {"margin_dose_gy": 11.0}),
    ("dose does not fit the fractions", {"margin_dose_gy": 30.0, "fractions": 10},
     {"margin_dose_gy": 29.0, "fractions": 10}),
    ("dose does not fit the volume", {"target_volume_ml": 15.0, "margin_dose_gy": 24.0},
     {"target_volume_ml": 15.1, "margin_dose_gy": 24.0}),
    ("dose does not fit the volume", {"target_volume_ml": 40.0},
     {"target_volume_ml": 40.0, "margin_dose_gy": 21.0}),
])
def test_the_edge_of_a_dose(rule: str, fits: dict[str, Any], asks: dict[str, Any]) -> None:
    for cells, times in ((fits, 0), (asks, 1)):
        tables = with_row(clean_tables(), "radiosurgeries", **{**RADIOSURGERY, **cells})
        assert len(found(tables, rule)) == times


@pytest.mark.parametrize(("day", "link", "asked"), [
    ("2021-03-28", None, 1), ("2021-03-29", None, 0), ("2021-03-21", None, 1),
    ("2021-03-21", 1, 0),
])
def test_a_bleed_in_two_tables(day: str, link: int | None, asked: int) -> None:
    """The complication began on 21 March."""
    tables = with_cells(clean_tables(), "complications", kind="intracranial haemorrhage")
    tables = with_row(tables, "haemorrhages", like=0, haemorrhage_no=2, haemorrhage_date=day,
                      cause="a procedure", complication_no=link)
    assert len(found(tables, "one bleed in two tables?")) == asked


@pytest.mark.parametrize(("day", "cause", "asked"), [
    ("2021-03-17", "spontaneous", 1), ("2021-03-18", "spontaneous", 0),
    ("2021-03-17", "a procedure", 0),
])
def test_two_bleeds_of_a_lesion(day: str, cause: str, asked: int) -> None:
    """The presenting bleed was on 10 March."""
    tables = with_row(clean_tables(), "haemorrhages", like=0, haemorrhage_no=2,
                      haemorrhage_date=day, cause=cause)
    assert len(found(tables, "two bleeds within a week")) == asked


@pytest.mark.parametrize(("day", "asked"), [
    ("2021-04-24", 1), ("2021-04-25", 0), ("2021-10-25", 0), ("2021-10-26", 1),
])
def test_a_bleed_told_at_a_visit_lies_between_the_last_treatment_and_the_visit(
    day: str, asked: int,
) -> None:
    tables = with_cells(clean_tables(), "follow_ups", haemorrhage_since=True)
    tables = with_row(tables, "haemorrhages", like=0, haemorrhage_no=2, haemorrhage_date=day)
    assert len(found(tables, "bled since, and no bleed")) == asked


def test_treated_again_at_a_first_visit_needs_a_second_treatment() -> None:
    tables = with_cells(clean_tables(), "follow_ups", treated_again=True)
    assert not found(tables, "treated again, and no treatment")
    later = with_row(tables, "follow_ups", like=0, follow_up_no=2, follow_up_date="2022-10-25")
    assert len(found(later, "treated again, and no treatment")) == 1
    again = with_row(later, "radiosurgeries", **{**RADIOSURGERY})
    assert not found(again, "treated again, and no treatment")


@pytest.mark.parametrize(("others", "asked"), [(5, 1), (4, 0)])
def test_centimetres_are_asked_for_beside_enough_other_lesions(others: int, asked: int) -> None:
    tables = with_cells(clean_tables(), "lesions", nidus_length_mm=6.0, nidus_width_mm=5.0,
                        nidus_height_mm=5.0)
    for number in range(others):
        tables = with_row(tables, "lesions", like=0, patient_id=f"N-{number + 2:04d}",
                          nidus_length_mm=30.0)
    assert len(found(tables, "diameters in centimetres?")) == asked


def test_a_vein_closed_on_purpose_is_looked_for_in_the_injection_that_is_named() -> None:
    tables = with_row(clean_tables(), "injections", like=0, injection_no=2,
                      venous_occlusion_intended=True)
    tables = with_cells(tables, "complications", kind="outflow vein occlusion")
    for named, asked in ((None, 1), (2, 1), (1, 0)):
        event = with_cells(tables, "complications", injection_no=named)
        assert len(found(event, "vein closed on purpose, and an event")) == asked
