"""A cell becomes a value in one way only, or it is asked about."""

from __future__ import annotations

import datetime as dt

import pytest

from registry.intake.cell import shown
from registry.intake.cells import Habits, read_cell
from registry.problems.cell_text import ErrorValue, NoResult, as_text, clean
from registry.schema import TABLES

HABITS = Habits(dt.date(2026, 1, 1))


def spec(table: str, field: str):
    return TABLES[table].by_name[field]


AGE = spec("patients", "age_y")
GCS = spec("patients", "gcs")
SEX = spec("patients", "sex")
HHT = spec("patients", "hht")
CODE = spec("patients", "patient_id")
BORN = spec("patients", "presentation_date")
OCCLUSION = spec("sessions", "occlusion_after_pct")
LENGTH = spec("lesions", "nidus_length_mm")
AGENT = spec("injections", "agent")


def value(raw, field):
    cell = read_cell(raw, field, HABITS)
    assert not cell.faulty, cell
    return cell.value


def rules(raw, field, habits=HABITS):
    return [remark.rule for remark in read_cell(raw, field, habits).remarks]


@pytest.mark.parametrize(
    ("raw", "number"),
    [(34, 34), (34.5, 34.5), ("34.5", 34.5), (" 34.5\u00a0", 34.5), ("34,5", 34.5), ("+3", 3),
     ("3e1", 30), (".5", 0.5), ("0,125", 0.125), ("34 years", 34), ("34\u202fYears", 34),
     ("\u200b12", 12)],
)
def test_a_number_may_be_stored_as_text_with_spaces_a_decimal_comma_or_its_own_unit(raw, number):
    assert value(raw, AGE) == number


def test_a_decimal_comma_is_taken_and_said():
    assert rules("34,5", AGE) == ["decimal-comma"]


@pytest.mark.parametrize("raw", ["1,500", "12,345"])
def test_a_comma_that_could_mark_thousands_is_asked_about(raw):
    assert rules(raw, AGE) == ["ambiguous-number"]


def test_a_point_before_three_digits_is_asked_about_only_where_decimal_commas_are_in_use():
    dose = spec("sessions", "air_kerma_mgy")
    commas = Habits(HABITS.today, comma_decimals=True)
    assert value("1.500", dose) == 1.5
    assert rules("1.500", dose, commas) == ["ambiguous-number"]
    assert read_cell("1.5", dose, commas).value == 1.5


@pytest.mark.parametrize(("raw", "number"), [("1,234.5", 1234.5), ("1.234,5", 1234.5)])
def test_thousands_and_decimals_together_are_plain(raw, number):
    assert value(raw, spec("sessions", "air_kerma_mgy")) == number


@pytest.mark.parametrize("raw", ["2.5 cm", "25 x 20", "~25", "<25", "25-30", "abc", "--", "²",
                                 True, dt.date(2024, 5, 3), dt.time(0, 12), "1e999x"])
def test_what_is_not_one_number_in_the_unit_wanted_is_refused(raw):
    assert rules(raw, LENGTH) == ["not-a-number"]


@pytest.mark.parametrize("raw", [0, -1, 150.1, float("inf"), float("nan"), "1e999", 1e300])
def test_a_number_outside_the_limits_is_refused(raw):
    assert rules(raw, LENGTH) == ["out-of-range"]


def test_limits_themselves_are_inside_except_a_strict_one():
    assert value(150, LENGTH) == 150
    assert value(0, AGE) == 0
    assert rules(0, LENGTH) == ["out-of-range"]


def test_a_whole_number_must_be_whole():
    assert value(14.0, GCS) == 14 and isinstance(value(14.0, GCS), int)
    assert rules(14.5, GCS) == ["not-whole"]


def test_a_share_in_a_column_of_percentages_is_asked_about_with_the_likely_value():
    cell = read_cell(0.8, OCCLUSION, HABITS)
    assert cell.value == 0.8 and not cell.faulty
    assert "80" in cell.remarks[0].mend
    assert value("80%", OCCLUSION) == 80 and value("80 %", OCCLUSION) == 80
    assert rules(0, OCCLUSION) == []


@pytest.mark.parametrize(
    "raw",
    ["2024-03-09", "2024/03/09", "2024.3.9", "20240309", 20240309, "2024-03-09 14:30",
     "2024-03-09T00:00:00", "9 Mar 2024", "9 March 2024", "09-Mar-2024", "9th March, 2024",
     "Mar 9, 2024", "March 9 2024", "9\u00a0MAR\u00a02024", "9. Mar. 2024",
     dt.date(2024, 3, 9), dt.datetime(2024, 3, 9, 8, 15)],
)
def test_a_date_that_can_be_read_in_one_way_only_is_taken(raw):
    # ISO 8601 for the forms with the year first (extended and basic)
    assert value(raw, BORN) == dt.date(2024, 3, 9)


@pytest.mark.parametrize(
    ("raw", "day"),
    [("25/03/2024", dt.date(2024, 3, 25)), ("03/25/2024", dt.date(2024, 3, 25)),
     ("25.3.2024", dt.date(2024, 3, 25)), ("09-09-2024", dt.date(2024, 9, 9))],
)
def test_day_and_month_in_figures_are_taken_where_the_order_cannot_matter(raw, day):
    assert value(raw, BORN) == day


def test_day_and_month_that_could_be_either_way_round_are_asked_about_with_both_readings():
    remark = read_cell("03/09/2024", BORN, HABITS).remarks[0]
    assert remark.rule == "ambiguous-date"
    assert "2024-03-09" in remark.mend and "2024-09-03" in remark.mend


@pytest.mark.parametrize("raw", ["2024-02-30", "31/04/2023", "30 Feb 2024", "2024-13-01",
                                 "2023-02-29", "13/13/2023", dt.date(9999, 1, 1), "1024-01-01"])
def test_an_impossible_date_is_refused(raw):
    assert rules(raw, BORN) == ["impossible-date"]


@pytest.mark.parametrize("raw", ["2024", "2024-03", "03/2024", "March 2024"])
def test_a_date_without_a_day_is_refused_and_told_how_to_give_it(raw):
    assert rules(raw, BORN) == ["incomplete-date"]


@pytest.mark.parametrize(
    "raw", ["9/3/24", "9 Mar 24", "soon", 17, True, dt.time(1, 2), "9 Foo 2024"]
)
def test_what_is_no_date_is_refused(raw):
    assert rules(raw, BORN) == ["not-a-date"]


def test_a_bare_day_number_is_explained():
    # 35981 is 5 July 1998 counted from 1900 (Microsoft, "Date systems in Excel")
    assert "1998-07-05" in read_cell(35981, BORN, HABITS).remarks[0].mend


def test_a_date_after_today_or_long_ago_is_taken_with_a_query():
    assert rules("2026-03-09", BORN) == ["unlikely-date"]
    assert rules("1924-03-09", BORN) == ["unlikely-date"]


@pytest.mark.parametrize("raw", ["Female", "FEMALE", " female ", "\u00a0female"])
def test_a_choice_in_another_letter_case_is_taken(raw):
    assert value(raw, SEX) == "female"


@pytest.mark.parametrize("raw", ["EVOH 6%", "evoh 6 %", "EVOH-6 %", "EVOH\u00a06\u00a0%"])
def test_spaces_and_hyphens_do_not_matter_in_a_choice(raw):
    assert value(raw, AGENT) == "EVOH 6 %"


def test_every_listed_value_of_the_schema_is_itself_in_capitals_too():
    for table in TABLES.values():
        for field in table.fields:
            for listed in field.values:
                assert value(listed, field) == listed
                assert value(listed.upper(), field) == listed


def test_a_misspelt_choice_suggests_the_nearest_value():
    presentation = spec("patients", "presentation")
    assert '"haemorrhage"' in read_cell("hemorrhage", presentation, HABITS).remarks[0].mend
    assert '"female"' in read_cell("femal", SEX, HABITS).remarks[0].mend
    assert "from the list" in read_cell("xyz", SEX, HABITS).remarks[0].mend


@pytest.mark.parametrize(("raw", "answer"), [("Yes", True), ("n", False), (True, True),
                                             ("FALSE", False), (" no ", False)])
def test_yes_and_no(raw, answer):
    assert value(raw, HHT) is answer


@pytest.mark.parametrize("raw", [1, 0, "1", "maybe", "?", dt.date(2024, 1, 1)])
def test_other_answers_are_not_yes_or_no(raw):
    assert rules(raw, HHT) == ["not-yes-no"]


def test_a_blank_is_never_no_or_zero():
    for blank in (None, "", "   ", "\u00a0", "\u200b", "\t\n"):
        for field in (HHT, GCS, spec("lesions", "nidus_width_mm")):
            cell = read_cell(blank, field, HABITS)
            assert cell.value is None and not cell.remarks


def test_a_blank_in_a_required_column_is_a_fault():
    assert rules("", SEX) == ["missing"] and rules(None, CODE) == ["missing"]


@pytest.mark.parametrize("raw", ["N-0012", "n-0012", " N-0012 ", "N\u20130012", "N\u20110012"])
def test_a_study_code_is_taken_in_small_letters_or_with_another_dash(raw):
    assert value(raw, CODE) == "N-0012"


def test_a_study_code_that_might_name_a_person_is_not_repeated():
    for raw in ("A. Person", "1234567", "0123456789", "Person, A"):
        remark = read_cell(raw, CODE, HABITS).remarks[0]
        assert remark.rule == "wrong-form" and raw not in remark.found
    assert '"N0012"' in read_cell("N0012", CODE, HABITS).remarks[0].found


def test_words_for_a_blank_belong_to_the_source():
    assert rules("NA", GCS) == ["not-a-number"]
    assert read_cell("NA", GCS, Habits(HABITS.today, frozenset({"NA"}))).remarks == ()


def test_a_formula_without_a_result_and_an_error_of_the_spreadsheet_are_faults():
    assert rules(NoResult(), GCS) == ["formula-without-result"]
    assert rules(ErrorValue("#REF!"), GCS) == ["error-value"]


def test_text_of_a_raw_cell():
    assert as_text(3.0) == "3" and as_text(0.1) == "0.1" and as_text(True) == "TRUE"
    assert as_text(dt.datetime(2024, 3, 9)) == "2024-03-09"
    assert clean(" a\u00a0\u00a0b\u200b\n") == "a b"
    assert len(shown("x" * 500)) < 50


@pytest.mark.parametrize("raw", [float("nan"), float("inf"), float("-inf")])
@pytest.mark.parametrize("field", [AGE, GCS, SEX, HHT, CODE, BORN])
def test_what_is_no_number_at_all_is_refused_in_every_kind_of_column(raw, field):
    assert rules(raw, field) == ["out-of-range"]


@pytest.mark.parametrize(("raw", "field"), [
    ("maybe", spec("lesions", "eloquent")), ("abc", LENGTH), (True, AGE)])
def test_nobody_is_told_to_leave_a_cell_blank_that_must_be_filled_in(raw, field):
    assert field.required
    remark, = read_cell(raw, field, HABITS).remarks
    assert "blank" in remark.mend and remark.mend.endswith("this column may not be blank")


@pytest.mark.parametrize(("raw", "field"), [("maybe", HHT), ("abc", GCS)])
def test_a_cell_that_may_be_blank_says_so(raw, field):
    assert not field.required
    remark, = read_cell(raw, field, HABITS).remarks
    assert remark.mend.endswith("or leave the cell blank if it was not recorded")
