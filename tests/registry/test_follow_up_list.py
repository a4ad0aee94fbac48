"""The coordinator's list: who is due, in which order, and its way back through intake."""

from __future__ import annotations

import datetime as dt
from typing import Any

import openpyxl
import pandas as pd
import pytest
from registry_cases import clean_tables, frame
from registry_sources import batch

from registry.intake.take_in import take_in_form
from registry.quality.follow_up_list import CALL, DECLINED, FOUND_DEAD, LOST, follow_up_list
from registry.quality.follow_up_schedule import ScheduleError, read_schedule
from registry.quality.follow_up_workbook import write_follow_up_list
from registry.store.registry import open_registry

TODAY = dt.date(2024, 6, 1)


def tables(*tries: tuple[str, str], **treated: str) -> dict[str, pd.DataFrame]:
    """Patients embolized on a day each (N_0001="2021-01-01"), and tries to reach the first."""
    codes = {code.replace("_", "-"): day for code, day in treated.items()}
    clean = clean_tables()

    def each(name: str, **cells: Any) -> pd.DataFrame:
        rows = clean[name].iloc[:1].astype("object").to_dict("records")
        return frame(name, [{**rows[0], "patient_id": code,
                             **{field: day if given == "day" else given
                                for field, given in cells.items()}}
                            for code, day in codes.items()])

    empty = {name: table.iloc[:0] for name, table in clean.items()}
    contacts = [{"patient_id": next(iter(codes)), "try_no": n, "contact_date": day,
                 "result": result} for n, (day, result) in enumerate(tries, start=1)]
    return {**empty, "services": clean["services"],
            "patients": each("patients", presentation_date="2010-01-01"),
            "lesions": each("lesions"), "sessions": each("sessions", session_date="day"),
            "contacts": frame("contacts", contacts)}


def states(*tries: tuple[str, str]) -> str:
    found = follow_up_list(tables(*tries, N_0001="2021-01-01"), today=TODAY)
    return found.set_index("patient_id").loc["N-0001", "state"]


def test_whoever_was_missed_for_a_year_stands_before_whoever_was_for_ten():
    found = follow_up_list(
        tables(N_0001="2019-08-01", N_0002="2023-03-01", N_0003="2021-05-01"), today=TODAY)
    assert found["patient_id"].tolist() == ["N-0002", "N-0003", "N-0001"]
    assert set(found["state"]) == {CALL} and found["patient_id"].is_unique
    first = found.iloc[0]
    assert "clinic at 1 year" in first["due"] and first["days_over"] > 0
    assert first["last_seen"] == pd.Timestamp("2023-03-01") and first["next_try"] == 1


def test_the_dead_and_those_not_due_are_not_on_it():
    given = tables(N_0001="2021-01-01", N_0002="2024-05-20")
    assert follow_up_list(given, today=TODAY)["patient_id"].tolist() == ["N-0001"]
    given["patients"] = given["patients"].assign(death_date=pd.Timestamp("2022-01-01"))
    assert follow_up_list(given, today=TODAY).empty


@pytest.mark.parametrize(("tries", "state"), [
    ([], CALL),
    ([("2023-01-01", "no answer")], CALL),
    ([("2023-01-01", "no answer"), ("2023-02-01", "moved"), ("2023-03-01", "no answer")], LOST),
    ([("2023-01-01", "lost")], LOST),
    ([("2023-01-01", "declined")], DECLINED),
    ([("2023-01-01", "dead")], FOUND_DEAD),
    # seen again: what was tried before is over
    ([("2023-01-01", "lost"), ("2023-06-01", "seen")], CALL),
])
def test_what_is_to_be_done_follows_from_the_tries(tries, state):
    assert states(*tries) == state


def test_three_tries_soon_after_a_visit_lose_nobody():
    tries = [("2023-09-01", "no answer")] * 3
    found = follow_up_list(tables(*tries, N_0001="2023-01-01"), today=TODAY)
    assert found["state"].tolist() == [CALL] and found["tries"].tolist() == [3]


def test_the_rule_is_the_services_own(tmp_path):
    from importlib import resources

    own = resources.files("registry.quality").joinpath("follow_up_schedule.toml").read_text()
    place = tmp_path / "own.toml"
    place.write_text(own.replace("tries = 3", "tries = 1").replace("months = 24", "months = 12"))
    schedule = read_schedule(place)
    given = tables(("2023-01-01", "no answer"), N_0001="2021-01-01")
    assert follow_up_list(given, today=TODAY, schedule=schedule)["state"].tolist() == [LOST]
    place.write_text(own.replace("tries = 3", 'tries = "often"').replace("months", "weeks"))
    with pytest.raises(ScheduleError, match='"weeks" is not known(.|\n)*"tries" must be a whole'):
        read_schedule(place)


def test_the_list_comes_back_through_intake_with_what_was_filled_in(tmp_path):
    registry = open_registry(tmp_path / "registry.sqlite")
    registry.take_in(batch(tables(("2023-02-01", "no answer"), N_0001="2021-01-01",
                                  N_0002="2022-01-01")))
    place = tmp_path / "list.xlsx"
    said = write_follow_up_list(place, registry, today=TODAY)
    assert "2 patients due on 2024-06-01" in said[0] and "2 to be called" in said[0]
    nothing = take_in_form(place, registry)
    assert nothing.exit_code == 2 and len(registry.tables()["contacts"]) == 1
    book = openpyxl.load_workbook(place)
    sheet = book["Contacts"]
    headings = [cell.value for cell in sheet[1]]
    assert headings[5:8] == ["To do", "What is due", "Since"]
    assert [sheet.cell(row, 1).value for row in (2, 3)] == ["N-0002", "N-0001"]
    assert sheet.cell(3, 2).value == 2 and "clinic" in sheet.cell(3, 7).value
    sheet.cell(3, 3).value, sheet.cell(3, 5).value = dt.datetime(2024, 6, 3), "seen"
    book.save(place)
    outcome = take_in_form(place, registry)
    assert outcome.exit_code == 0, outcome.summary
    assert "not read" not in outcome.summary
    contacts = registry.tables()["contacts"]
    assert contacts["result"].tolist() == ["no answer", "seen"]
    with pytest.raises(Exception, match="may be filled in"):
        write_follow_up_list(place, registry, today=TODAY)
