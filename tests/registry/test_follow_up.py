"""Follow-up due and overdue, by the service's schedule or the package's own."""

from __future__ import annotations

import datetime as dt

import pytest
from registry_cases import L, clean_tables, with_cells, with_row, without_rows

from registry.quality.follow_up import follow_up_due, follow_up_of
from registry.quality.follow_up_schedule import (
    ScheduleError,
    Visit,
    default_schedule,
    read_schedule,
)

OPERATION = dt.date(2021, 4, 25)  # the last treatment of the clean service's one lesion


def states(tables, day, **more):
    table = follow_up_of(tables, today=day, **more)
    return dict(zip(table["what"], table["state"], strict=True))


def never_seen():
    tables = without_rows(clean_tables(), "follow_ups")
    return with_cells(tables, "resections", result="not imaged", angiography_date=None)


def test_the_default_schedule_is_the_one_of_the_plan():
    # Default schedule as planned for this project; common practice, no source.
    planned = [(v.after, v.days, v.imaging) for v in default_schedule().visits]
    angiogram = ("catheter angiography",)
    assert planned[:4] == [
        ("resection", 7, angiogram), ("treatment", 91, ()), ("treatment", 183, angiogram),
        ("treatment", 1096, angiogram),
    ]
    assert [days for _, days, imaging in planned[4:] if not imaging] == [365, 730, 1096, 1461, 1826]


@pytest.mark.parametrize(("after", "state"), [(0, "due"), (7, "due"), (8, "overdue")])
def test_an_angiogram_is_due_within_seven_days_of_a_resection(after, state):
    day = OPERATION + dt.timedelta(days=after)
    assert states(never_seen(), day)["catheter angiography after resection"] == state


def test_the_angiogram_after_the_operation_counts():
    assert states(clean_tables(), dt.date(2021, 5, 30))["catheter angiography after resection"] == (
        "done"
    )


def test_an_mr_angiogram_does_not_stand_for_a_catheter_angiogram_but_for_a_visit():
    tables = with_cells(clean_tables(), "follow_ups", imaging="MR angiography",
                        follow_up_date="2021-07-25")
    found = states(tables, dt.date(2022, 2, 1))
    assert found["clinic at 3 months"] == "done"
    assert found["catheter angiography at 6 months"] == "overdue"


def test_a_late_visit_counts_and_none_counts_twice():
    tables = with_cells(clean_tables(), "follow_ups", follow_up_date="2021-11-30")
    found = states(tables, dt.date(2022, 2, 1))
    assert found["clinic at 3 months"] == "done"  # late, but before the next one's window
    assert found["clinic at 1 year"] == "due"


def test_a_visit_passed_over_is_missed_when_the_next_is_due():
    found = states(never_seen(), dt.date(2022, 4, 25))
    assert found["clinic at 3 months"] == "missed" and found["clinic at 1 year"] == "due"


@pytest.mark.parametrize(("ahead", "listed"), [(60, True), (61, False)])
def test_a_visit_is_listed_from_sixty_days_before_its_window_opens(ahead, listed):
    clinic = default_schedule().visits[1]
    opens = OPERATION + dt.timedelta(days=clinic.days - clinic.early)
    assert (clinic.what in states(never_seen(), opens - dt.timedelta(days=ahead))) is listed


def test_days_over_count_from_the_last_day_that_would_do():
    table = follow_up_of(never_seen(), today=OPERATION + dt.timedelta(days=10))
    overdue = table[table["state"] == "overdue"].iloc[0]
    assert overdue["days_over"] == 3 and overdue["until"] == dt.date(2021, 5, 2)


def test_the_dead_are_not_called():
    tables = with_cells(never_seen(), "patients", death_date="2021-05-01")
    assert follow_up_of(tables, today=dt.date(2022, 6, 1)).empty


def test_a_plan_still_going_on_is_not_yet_followed_up_but_for_the_operation():
    tables = with_cells(never_seen(), "lesions", plan_status="ongoing")
    assert set(states(tables, dt.date(2022, 6, 1))) == {"catheter angiography after resection"}


def test_a_lesion_never_treated_is_not_followed_up():
    tables = with_row(clean_tables(), "lesions", like=0, lesion_no=2)
    table = follow_up_of(tables, today=dt.date(2022, 6, 1))
    assert set(table["lesion_no"]) == {L["lesion_no"]}


def test_radiosurgery_starts_the_count_again():
    tables = with_row(never_seen(), "radiosurgeries", **L, radiosurgery_no=1,
                      radiosurgery_date="2022-05-01", margin_dose_gy=20.0)
    table = follow_up_of(tables, today=dt.date(2022, 6, 1))
    clinic = table[table["what"] == "clinic at 3 months"].iloc[0]
    assert clinic["due"] == dt.date(2022, 7, 31)


def test_overdue_comes_first():
    ranks = follow_up_of(never_seen(), today=dt.date(2022, 1, 1))["state"].tolist()
    order = ["overdue", "due", "planned", "missed", "done"]
    assert ranks == sorted(ranks, key=order.index)


def test_an_empty_registry_has_nobody_to_call():
    tables = {name: frame.iloc[:0] for name, frame in clean_tables().items()}
    assert follow_up_of(tables, today=dt.date(2022, 1, 1)).empty


def test_missing_columns_are_named():
    tables = clean_tables()
    with pytest.raises(ValueError, match="lesions: no column last_treatment_date"):
        follow_up_due(tables["lesions"], tables["follow_ups"], today="2022-01-01")


def test_a_service_uses_its_own_schedule(tmp_path):
    place = tmp_path / "ours.toml"
    place.write_text(
        'source = "our department, 2025"\n[[visits]]\nwhat = "telephone call"\n'
        'after = "treatment"\ndays = 14\nearly = 3\nlate = 3\n'
    )
    schedule = read_schedule(place)
    assert schedule.source == "our department, 2025"
    assert schedule.visits == (Visit("telephone call", "treatment", 14, 3, 3),)
    assert states(never_seen(), dt.date(2021, 5, 20), schedule=schedule) == {
        "telephone call": "overdue"
    }


def test_everything_wrong_with_a_schedule_is_told_at_once(tmp_path):
    place = tmp_path / "ours.toml"
    place.write_text(
        'color = 1\n[[visits]]\nafter = "birth"\ndays = -1\nearly = 1.5\nlate = 3\n'
        'imaging = ["ultrasound"]\nsize = 2\n'
    )
    with pytest.raises(ScheduleError) as caught:
        read_schedule(place)
    told = str(caught.value)
    for words in ('"color"', '"source" is missing', 'visit 1: "size"', '"what" is missing',
                  '"after" must be', '"days" must be', '"early" must be', '"imaging" must be'):
        assert words in told


@pytest.mark.parametrize("content", [b"visits = [", b"\xff\xfe\x00", b""])
def test_a_file_that_is_no_schedule(tmp_path, content):
    place = tmp_path / "ours.toml"
    place.write_bytes(content)
    with pytest.raises(ScheduleError):
        read_schedule(place)


def test_a_schedule_that_is_not_there(tmp_path):
    with pytest.raises(ScheduleError, match="could not be read"):
        read_schedule(tmp_path / "none.toml")
