"""Durations of the ten patients by eye, and the curves over them beside R's survfit.

Dates were copied by hand into tests/reference/over_time.R; values there are R's.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from reference_runs import assert_same, recorded, run_r
from registry_cases import with_cells, with_row
from small_cohort import small_tables

from analyses.measures import over_time as time
from analyses.measures.durations import (
    bleed_durations,
    confirmed_days,
    obliteration_durations,
    recurrence_durations,
)
from analyses.measures.over_time import over_time_estimates
from analyses.measures.over_time_compared import DIFFERENCE, MEAN_DIFFERENCE, compared_over_time
from analyses.population.unit_frames import Units, units_of
from analyses.statistics.estimate import Estimate
from synthetic_cohort import make_cohort

TABLES = small_tables()
UNITS = units_of(TABLES)
R = recorded("over_time")


@pytest.fixture(scope="module")
def estimates() -> list[Estimate]:
    return over_time_estimates(UNITS)


@pytest.fixture(scope="module")
def service() -> Units:
    return units_of(make_cohort(150, 3).tables)


def one(estimates: list[Estimate], id: str, **group: str) -> Estimate:
    found = [e for e in estimates if e.id == id and dict(e.group or {}) == group]
    assert len(found) == 1, (id, group)
    return found[0]


# Durations -----------------------------------------------------------------------------------

def test_durations_and_events_are_those_copied_by_hand() -> None:
    lesions, patients = obliteration_durations(UNITS), bleed_durations(UNITS)
    np.testing.assert_allclose(lesions["years"], R["lesion_years"], rtol=1e-10, atol=1e-12)
    assert list(lesions["event"]) == R["lesion_event"]
    np.testing.assert_allclose(patients["years"], R["patient_years"], rtol=1e-10, atol=1e-12)
    assert list(patients["event"]) == R["patient_event"]


def test_imaging_other_than_catheter_angiography_does_not_confirm() -> None:
    # Patient 2 by MR, patient 6 by CT.
    shut = confirmed_days(UNITS).dropna()
    assert {key: str(day.date()) for key, day in shut.items()} == {
        "A-0001/1": "2020-03-18", "A-0007/1": "2022-04-15", "A-0009/1": "2021-06-10"}


def test_an_image_on_the_day_of_a_session_does_not_confirm() -> None:
    planned = with_cells(TABLES, "follow_ups", 5, occlusion="complete")  # radiosurgery's own day
    assert confirmed_days(units_of(planned))["A-0007/1"] == pd.Timestamp("2022-04-15")


def test_a_lesion_treated_again_keeps_its_first_confirmation() -> None:
    """Otherwise every recurrence that was treated would vanish from the series."""
    again = with_row(TABLES, "radiosurgeries", 0, radiosurgery_no=2,
                     radiosurgery_date="2023-05-01")
    units = units_of(again)
    assert confirmed_days(units)["A-0007/1"] == pd.Timestamp("2022-04-15")
    rows = recurrence_durations(units).set_index("key")
    assert rows.loc["A-0007/1", "event"] == 1


def test_recurrence_is_watched_to_the_last_image() -> None:
    rows = recurrence_durations(UNITS).set_index("key")
    assert list(rows.index) == ["A-0001/1", "A-0007/1", "A-0009/1"]
    assert [round(365.25 * y) for y in rows["years"]] == [186, 365, 0]
    assert list(rows["event"]) == [0, 1, 0]
    assert list(rows["imaged"]) == [True, True, False]


def test_closure_lies_between_the_last_open_day_and_confirmation() -> None:
    rows = obliteration_durations(UNITS).set_index("key")
    days = (365.25 * rows[["last_negative", "first_positive"]]).round()
    # 1: resection on day 14, angiogram on day 17. 7: radiosurgery on day 14, closed on day 379.
    assert list(days.loc["A-0001/1"]) == [14, 17]
    assert list(days.loc["A-0007/1"]) == [14, 379]
    # 10: still in part open at one year.
    assert list(days.loc["A-0010/1"]) == [365, np.inf]


# Curves, beside R ----------------------------------------------------------------------------

def test_cumulative_incidence_agrees_with_r(estimates: list[Estimate]) -> None:
    """At 1 year as printed; at 2 the curve alone, since no lesion is still watched for closure."""
    curves = time.incidence(obliteration_durations(UNITS), time.OBLITERATION, "lesion")
    for year, closed, died in zip((1, 2), R["obliteration"], R["death_first"], strict=True):
        assert curves.curve().value_at(year, 1)[0] == pytest.approx(closed)
        assert curves.curve().value_at(year, 2)[0] == pytest.approx(died)
        for id, value in ((time.OBLITERATION, closed), (time.DEATH_FIRST, died)):
            found = one(estimates, id, years=str(year))
            assert found.value == (pytest.approx(value) if year == 1 else None)
            assert year == 1 or any("nobody was followed so long" in f for f in found.flags)
    for year, value in zip((1, 2), R["first_bleed"], strict=True):
        assert one(estimates, time.FIRST_BLEED, years=str(year)).value == pytest.approx(value)


def test_life_without_haemorrhage_agrees_with_r(estimates: list[Estimate]) -> None:
    for place, year in enumerate((1, 2)):
        found = one(estimates, time.BLEED_FREE, years=str(year))
        expected = [R["free"][name][place] for name in ("estimate", "low", "high")]
        assert [found.value, found.low, found.high] == pytest.approx(expected)


def test_restricted_mean_and_follow_up_agree_with_r(estimates: list[Estimate]) -> None:
    mean = one(estimates, time.RESTRICTED, years="2")
    assert mean.value == pytest.approx(R["restricted_mean"])
    assert (mean.high - mean.low) / 2 / 1.959964 == pytest.approx(R["restricted_se"], rel=1e-6)
    assert one(estimates, time.FOLLOW_UP).value == pytest.approx(R["follow_up"])


@pytest.mark.reference
def test_the_recorded_values_are_those_r_gives_now() -> None:
    assert_same(run_r("over_time"), R)


# What is said --------------------------------------------------------------------------------

def test_past_the_end_of_follow_up_there_is_no_number(estimates: list[Estimate]) -> None:
    found = one(estimates, time.BLEED_FREE, years="5")
    assert found.value is None
    assert any("nobody was followed so long" in note for note in found.notes())


def test_too_few_losses_give_no_weighted_result(estimates: list[Estimate]) -> None:
    found = one(estimates, time.WEIGHTED, years="2")
    assert found.value is None and "too few to model" in found.notes()[0]


def test_lesions_not_imaged_again_are_told(estimates: list[Estimate]) -> None:
    assert "1 lesion without imaging after confirmation" in one(
        estimates, time.RECURRENCE, years="1").notes()


def test_deaths_are_told_where_the_method_censors_them(estimates: list[Estimate]) -> None:
    assert "1 death counted as censored" in one(estimates, time.BRACKETED, years="1").notes()


def test_width_of_the_brackets_is_in_days(estimates: list[Estimate]) -> None:
    # 3, 365 and 0 days.
    width = one(estimates, time.WIDTH)
    assert width.value == pytest.approx(3) and width.measure == "days"
    assert max(e.value for e in width.beside) == pytest.approx(365)


def test_lesions_of_one_patient_are_allowed_for(service: Units) -> None:
    found = one(over_time_estimates(service), time.OBLITERATION, years="2")
    assert "by patient" in found.method
    assert found.clusters == service.lesions["patient_id"].nunique() < found.n


def test_every_estimate_names_its_patients_and_is_unique(service: Units) -> None:
    found = over_time_estimates(service) + compared_over_time(service)
    keys = [(e.id, e.unit, tuple(sorted((e.group or {}).items()))) for e in found]
    assert len(keys) == len(set(keys))
    assert all(e.clusters is not None for e in found)


def test_groups_have_effects_with_intervals_and_no_test(service: Units) -> None:
    """Only questions named beforehand have a P value."""
    found = compared_over_time(service)
    assert {e.id for e in found} == {DIFFERENCE, MEAN_DIFFERENCE}
    for e in found:
        assert e.low is not None or e.flags
        assert not any(" test " in flag or "P " in flag for flag in e.flags), e.flags


def test_nothing_recorded_gives_no_number_and_no_failure() -> None:
    empty = units_of({name: table.iloc[:0] for name, table in TABLES.items()})
    found = over_time_estimates(empty) + compared_over_time(empty)
    assert found and all(e.value is None for e in found)
