"""Haemorrhages and person-time of the ten patients, counted by hand.

Expected numbers were read off the rows of tests/small_cohort.py, after the definitions of the
analysis plan; the exact limits are R's poisson.test (tests/reference/over_time.R).
"""

from __future__ import annotations

import pandas as pd
import pytest
from reference_runs import recorded
from registry_cases import with_cells, with_row, without_rows
from small_cohort import small_tables

from analyses.measures.haemorrhage import (
    AFTER,
    BEFORE,
    ID,
    LATER,
    NEAR,
    RATIO,
    STAGES,
    UNDER,
    haemorrhage_estimates,
    stretches,
)
from analyses.population.bleeding import distinct_bleeds
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate

TABLES = small_tables()
R = recorded("over_time")


def rates(tables: dict[str, pd.DataFrame]) -> dict[str, Estimate]:
    found = haemorrhage_estimates(units_of(tables))
    return {e.group["stage"]: e for e in found
            if e.id == ID and e.group and tuple(e.group) == ("stage",)}


def counts(tables: dict[str, pd.DataFrame]) -> dict[str, int]:
    return {stage: e.events or 0 for stage, e in rates(tables).items()}


def bleed(tables: dict[str, pd.DataFrame], number: int, day: str, **cells: object):
    """One more spontaneous bleed of a patient's first lesion."""
    return with_row(tables, "haemorrhages", **{
        "patient_id": f"A-{number:04d}", "lesion_no": 1, "haemorrhage_no": 7,
        "haemorrhage_date": day, "date_known_to": "day", "cause": "spontaneous", **cells})


# Person-time --------------------------------------------------------------------------------

def test_person_time_of_each_stage_in_days() -> None:
    days = {stage: round(365.25 * (e.denominator or 0), 6) for stage, e in rates(TABLES).items()}
    assert days == {
        BEFORE: 2714, UNDER: 1266, UNDER + NEAR: 263, UNDER + LATER: 1003,
        AFTER: 765, AFTER + NEAR: 57, AFTER + LATER: 708,
    }
    assert tuple(days) == STAGES


def test_a_patient_never_treated_is_watched_to_the_last_contact() -> None:
    seen = with_row(TABLES, "follow_ups", 0, patient_id="A-0008", follow_up_no=1,
                    follow_up_date="2020-01-31", imaging="none", occlusion=None)
    assert 365.25 * rates(seen)[BEFORE].denominator == pytest.approx(2714 + 30)


def test_treatment_ends_when_every_treated_lesion_is_confirmed() -> None:
    # Lesion 1 of patient 2 is confirmed on 1 December, lesion 2 is not: still under treatment.
    one = with_cells(TABLES, "follow_ups", 1, imaging="catheter angiography")
    later = with_row(one, "follow_ups", 1, follow_up_no=2, follow_up_date="2021-12-01")
    assert 365.25 * rates(later)[UNDER].denominator == pytest.approx(1266 + 365)
    both = with_cells(later, "follow_ups", 2, imaging="catheter angiography")
    assert 365.25 * rates(both)[UNDER].denominator == pytest.approx(1266)
    assert 365.25 * rates(both)[AFTER].denominator == pytest.approx(765 + 365)


def test_presentation_known_to_the_month_starts_in_the_middle_of_it() -> None:
    month = with_cells(TABLES, "patients", 1, presentation_date_known_to="month")
    assert 365.25 * rates(month)[BEFORE].denominator == pytest.approx(2714 - 15)


# Which bleeds count --------------------------------------------------------------------------

def test_bleeds_as_counted_by_hand() -> None:
    # Patients 3 and 4, each within 30 days of a session; the presenting bleed of patient 1 not.
    assert counts(TABLES) == {
        BEFORE: 0, UNDER: 2, UNDER + NEAR: 2, UNDER + LATER: 0, AFTER: 0, AFTER + NEAR: 0,
        AFTER + LATER: 0,
    }


def test_a_bleed_in_both_tables_is_one_on_the_day_of_the_complication() -> None:
    # The haemorrhages row of patient 3 is known to the year only; its complication to the day.
    vague = with_cells(TABLES, "haemorrhages", 1, haemorrhage_date="2020-08-01",
                       date_known_to="year")
    found = distinct_bleeds(vague).set_index("patient_id").loc["A-0003"]
    assert found["day"] == pd.Timestamp("2020-05-20") and found["exact"]


def test_a_bleed_written_as_a_complication_only_counts_and_is_told() -> None:
    alone = without_rows(TABLES, "haemorrhages")
    assert counts(alone)[UNDER] == 2
    assert "2 haemorrhages recorded as a complication only" in rates(alone)[UNDER].notes()
    # A vessel perforation is no haemorrhage unless it is recorded as one.
    assert len(distinct_bleeds(alone)) == 2


@pytest.mark.parametrize(("day", "events"), [("2021-08-08", 1), ("2021-08-09", 2)])
def test_bleeds_within_seven_days_are_one(day: str, events: int) -> None:
    first = bleed(TABLES, 10, "2021-08-01")
    twice = bleed(first, 10, day, haemorrhage_no=8)
    assert counts(twice)[UNDER + LATER] == events


def test_a_bleed_of_a_procedure_is_not_swallowed_by_one_before_it() -> None:
    # Patient 3 bled two days before the session; the bleed of the session's day 10 is its own,
    # and so would one on the day after the session be.
    early = bleed(TABLES, 3, "2020-05-18")
    assert counts(early)[UNDER] == 3
    assert counts(bleed(TABLES, 3, "2020-05-22"))[UNDER] == 2


def test_the_presenting_bleed_and_its_first_week_do_not_count() -> None:
    # Patient 6 presented with haemorrhage on 1 January 2020, patient 7 without.
    assert counts(bleed(TABLES, 6, "2020-01-08"))[BEFORE] == 0
    assert counts(bleed(TABLES, 6, "2020-01-09"))[BEFORE] == 1
    assert counts(bleed(TABLES, 7, "2020-01-01"))[BEFORE] == 0
    assert counts(bleed(TABLES, 7, "2020-01-02"))[BEFORE] == 1


def test_day_30_is_within_and_day_31_after() -> None:
    # Patient 10: session on 1 May 2021.
    assert counts(bleed(TABLES, 10, "2021-05-31"))[UNDER + NEAR] == 3
    assert counts(bleed(TABLES, 10, "2021-06-01"))[UNDER + LATER] == 1


def test_a_bleed_on_the_day_of_confirmation_was_under_treatment() -> None:
    assert counts(bleed(TABLES, 7, "2022-04-15"))[UNDER + LATER] == 1
    assert counts(bleed(TABLES, 7, "2022-04-16"))[AFTER + LATER] == 1


def test_a_bleed_known_to_the_month_lies_at_the_middle_of_what_is_possible() -> None:
    month = bleed(TABLES, 10, "2021-06-01", date_known_to="month")
    found = distinct_bleeds(month).set_index("patient_id").loc["A-0010"]
    assert found["day"] == pd.Timestamp("2021-06-15") and not found["exact"]
    told = "1 haemorrhage of unknown day placed at the middle of the time possible"
    assert told in rates(month)[UNDER + LATER].notes()
    # The last contact of patient 10 was on 1 May 2022: a bleed of that May came by that day.
    last = bleed(TABLES, 10, "2022-05-01", date_known_to="month")
    assert distinct_bleeds(last).set_index("patient_id").loc["A-0010", "day"] == pd.Timestamp(
        "2022-05-01")


def test_a_bleed_between_two_visits_lies_half_way_between_them() -> None:
    # Patient 7: contacts on 15 April 2022 and 15 April 2023; the middle is day 182.
    between = bleed(TABLES, 7, "2023-04-15", date_known_to="interval between visits")
    found = distinct_bleeds(between).set_index("patient_id").loc["A-0007", "day"]
    assert found == pd.Timestamp("2022-10-14")


def test_a_bleed_after_the_last_contact_counts_and_is_a_contact() -> None:
    late = bleed(TABLES, 5, "2021-02-11")
    assert counts(late)[UNDER] == 3
    assert 365.25 * rates(late)[UNDER].denominator == pytest.approx(1266 + 10)


def test_a_bleed_dated_after_death_counts_on_the_day_of_death() -> None:
    late = bleed(TABLES, 9, "2022-02-01")
    assert counts(late)[AFTER + LATER] == 1


# Rates ---------------------------------------------------------------------------------------

def test_rates_and_exact_limits_agree_with_r() -> None:
    found = rates(TABLES)
    for stage, expected in zip(R["stages"], R["rates"], strict=True):
        e = found[stage]
        assert (e.events, round(365.25 * e.denominator)) == (expected["events"], expected["days"])
        assert (e.value, e.low, e.high) == pytest.approx(
            (expected["rate"], expected["low"], expected["high"]), rel=1e-6, abs=1e-9)
        assert (e.unit, e.per) == ("patient-year", 100)


def test_a_patient_who_bleeds_twice_widens_the_interval() -> None:
    once = bleed(bleed(TABLES, 10, "2021-08-01"), 2, "2020-08-01", haemorrhage_no=8)
    twice = bleed(bleed(TABLES, 10, "2021-08-01"), 10, "2021-11-01", haemorrhage_no=8)
    narrow, wide = (rates(tables)[UNDER + LATER] for tables in (once, twice))
    assert narrow.events == wide.events == 2
    assert wide.high > narrow.high and wide.low < narrow.low
    assert "interval widened because patients repeat" in wide.notes()


def test_before_treatment_is_by_presentation_and_since_by_rupture() -> None:
    # Rupture before treatment is only known once treatment starts: it cannot group what is before.
    groups = [set(e.group) for e in haemorrhage_estimates(units_of(TABLES)) if e.group]
    assert {"stage", "presented"} in groups and {"stage", "ruptured"} in groups
    by_rupture = {e.group["stage"] for e in haemorrhage_estimates(units_of(TABLES))
                  if e.id == ID and e.group and "ruptured" in e.group}
    assert by_rupture == {UNDER, AFTER}


def test_parts_add_up_to_the_whole() -> None:
    rows = stretches(units_of(bleed(TABLES, 10, "2021-08-01")))
    found = rates(bleed(TABLES, 10, "2021-08-01"))
    assert rows["bleeds"].sum() == sum(found[stage].events for stage in (BEFORE, UNDER, AFTER))
    assert rows["years"].sum() == pytest.approx(
        sum(found[stage].denominator for stage in (BEFORE, UNDER, AFTER)))


def test_ratio_is_that_of_its_two_rates() -> None:
    tables = bleed(bleed(TABLES, 7, "2020-03-01"), 7, "2022-05-01", haemorrhage_no=8)
    ratios = {e.group["stage"]: e for e in haemorrhage_estimates(units_of(tables))
              if e.id == RATIO and "ruptured" not in e.group}
    found = rates(tables)
    assert ratios[f"{AFTER} / {BEFORE}"].value == pytest.approx(
        found[AFTER].value / found[BEFORE].value)
    under = f"{UNDER + LATER} / {BEFORE}"
    assert under in ratios and f"{AFTER} / {UNDER + LATER}" in ratios
    # Two parts of a stage are one arm: each patient once in it, as in the rate itself.
    closed = ratios[f"{AFTER} / {BEFORE}"].arms[0]
    own = rates(tables)[AFTER]
    assert (closed.n, closed.clusters, closed.events) == (own.n, own.clusters, own.events)
    # No ratio mixes the days to day 30, whose bleeds are complications, with the years after.
    assert not any(UNDER in name.split(" / ") for name in ratios)


def test_nothing_recorded_gives_no_number_and_no_failure() -> None:
    empty = {name: table.iloc[:0] for name, table in TABLES.items()}
    found = haemorrhage_estimates(units_of(empty))
    assert found and all(e.value is None for e in found)


# A bleed is counted once, and never lost -------------------------------------------------------

def test_one_bleed_in_two_tables_without_a_link_is_one() -> None:
    """The haemorrhages row of a complication's lesion and day, whatever its cause."""
    linked = len(distinct_bleeds(TABLES))
    rows = TABLES["haemorrhages"]
    place = rows.index[rows["complication_no"].notna()][0]
    for cause in ("a procedure", "spontaneous"):
        apart = with_cells(TABLES, "haemorrhages", place, complication_no=pd.NA, cause=cause)
        assert len(distinct_bleeds(apart)) == linked


def test_a_bleed_that_only_a_visit_tells_of_is_counted() -> None:
    """"A bleed since the visit before": yes, and no row of it between the two."""
    visits = TABLES["follow_ups"]
    last = visits.sort_values("follow_up_date").index[-1]
    told = with_cells(TABLES, "follow_ups", last, haemorrhage_since=True)
    assert len(distinct_bleeds(told)) == len(distinct_bleeds(TABLES)) + 1
    added = distinct_bleeds(told).iloc[-1]
    day = visits.loc[last, "follow_up_date"]
    assert not added["exact"] and added["earliest"] <= added["day"] < day
    # A bleed on record between the two visits is the one that the visit speaks of.
    between = with_row(told, "haemorrhages", patient_id=visits.loc[last, "patient_id"],
                       lesion_no=visits.loc[last, "lesion_no"], haemorrhage_no=8,
                       haemorrhage_date=str(added["day"].date()), date_known_to="day",
                       cause="spontaneous")
    assert len(distinct_bleeds(between)) == len(distinct_bleeds(TABLES)) + 1
