"""Leaving units out: counted by hand, and said wherever a reader looks."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pandas as pd
import pytest
from results_checked import checked_file
from study_of_ten import MANIFEST, study_of_ten

from analyses.content.plain_text import sections_text
from analyses.documents.conference.conference_slides import conference_talk
from analyses.documents.quality.quality_report import quality_document, quality_work
from analyses.documents.series.methods import methods_sections
from analyses.documents.series.questions_sections import flow_picture
from analyses.documents.series.series_report import manuscript_document, series_work
from analyses.measures.flow import flow_of
from analyses.renderers.report_folder import ReportError, results_record
from analyses.study.condition import read_condition
from analyses.study.study_errors import StudyError, UnknownName

STUDY = study_of_ten()
WHY = "new angiography suite"
LATE = STUDY.where("first_session >= '2020-04-15'", why=WHY)


def test_who_stays_by_hand() -> None:
    # First sessions: 1 in March, 2 on 1 April; 8 and 9 never had one.
    assert list(LATE.patients.index) == [f"A-{n:04d}" for n in (3, 4, 5, 6, 7, 10)]
    assert set(LATE.sessions["patient_id"]) == set(LATE.patients.index)
    one, = LATE.exclusions
    # Of the four left out, 2 and 9 had a complication; one event of the set was patient 2's.
    assert (one.units, one.patients, one.harmed, one.events) == (4, 4, 2, 1)
    # Who had no session has no day of one: nothing is missing there.
    assert (one.unknown, one.none, one.none_of) == (0, 2, "session")


def test_nothing_changes_in_the_study_it_came_from() -> None:
    assert len(STUDY.patients) == 10 and STUDY.exclusions == ()
    assert STUDY.hash == MANIFEST["freeze_hash"] and STUDY.manifest == MANIFEST


def test_the_flow_has_a_box_and_the_reason_between_freeze_and_treated() -> None:
    flow = flow_of(LATE.units)
    assert [(words, count.n) for words, count in flow.trunk] == [
        ("Recorded", 15), ("In this freeze", 10), ("In this study", 6), ("Treated", 6),
        ("Embolized", 6)]
    assert [(words, count.n) for words, count in flow.losses[1]] == [(f"left out: {WHY}", 4)]
    results = LATE.results_of(["who is counted"])
    assert results.one("flow.excluded", "patient", {"reason": WHY}).n == 4
    assert "In this study 6" in flow_picture(results).alt


def test_the_drawn_diagram_says_it() -> None:
    figure = flow_picture(LATE.results_of(["who is counted"])).draw(6.5)
    words = " ".join(text.get_text() for text in figure.axes[0].texts)
    assert "In this study" in words and WHY in words


def test_every_exclusion_leaves_its_own_hash() -> None:
    again = STUDY.where("first_session >= '2020-04-15'", why=WHY)
    other = STUDY.where("first_session >= '2020-04-15'", why="another reason")
    assert LATE.hash == again.hash
    assert len({STUDY.hash, LATE.hash, other.hash}) == 3
    assert re.fullmatch("[0-9a-f]{64}", LATE.hash)


def test_methods_name_the_condition_the_reason_and_the_hash() -> None:
    results = LATE.results_of(["who is counted", "procedures", "what the data leave open"])
    text = sections_text(methods_sections(results, ()))
    text = re.sub(r"\s+", " ", text)
    assert f"4 patients were left out of this study: {WHY}" in text
    assert "2 of those left out because there was no session" in text
    assert "not recorded" not in LATE.exclusions[0].sentence()
    assert "2 of them had a recorded death or complication" in text
    assert LATE.hash in text.replace(" ", "")


def said(sections: object) -> str:
    return re.sub(r"\s+", " ", sections_text(sections))  # type: ignore[arg-type]


def test_every_document_says_it_among_its_first_cautions() -> None:
    results = LATE.results
    series = manuscript_document(series_work(results))
    assert WHY in said(series.sections[:1]) and LATE.hash[:12] in series.subtitle
    talk = conference_talk(results, "A-0004").slides
    assert WHY in said(talk.sections[:1])
    quality = quality_document(quality_work(results), inside=False)
    assert WHY in said(quality.sections[:1]) and LATE.hash[:12] in quality.subtitle


def test_results_json_carries_the_exclusions_and_the_hash() -> None:
    found = json.loads(json.dumps(results_record(LATE.results_of(["who is counted"]))))
    assert found["study"]["hash"] == LATE.hash
    assert found["study"]["exclusions"][0]["why"] == WHY
    assert "study" not in results_record(STUDY.results_of(["who is counted"]))


def test_a_session_takes_its_injections_and_events_and_nobody_else_is_called_untreated() -> None:
    kept = STUDY.where("session_date < '2020-06-15'", unit="session", why="first half-year")
    # Procedures left: 1 (2), 2 (2), 3, and the first of patient 4.
    assert list(kept.sessions.index) == [
        "A-0001/1/1", "A-0001/1/2", "A-0002/1/1", "A-0002/2/2", "A-0003/1/1", "A-0004/1/1"]
    assert list(kept.patients.index) == [f"A-{n:04d}" for n in (1, 2, 3, 4)]
    answer = kept.ask("complication.any", unit="session").estimates[0]
    # The fatal haemorrhage of patient 4 went with the second session.
    assert (answer.events, answer.n) == (3, 6)
    assert set(kept.tables["complications"]["patient_id"]) == {"A-0002", "A-0003", "A-0004"}
    assert len(kept.injections) == 7 and kept.patients["treated"].all()
    assert "6 sessions were left out of this study" in kept.exclusions[0].sentence()
    assert [(words, count.unit, count.n) for words, count in flow_of(kept.units).losses[1]] == [
        ("left out: first half-year", "patient", 6),
        ("sessions left out: first half-year", "session", 6)]


def test_a_lesion_takes_its_part_of_a_shared_procedure() -> None:
    kept = STUDY.where("nidus_length_mm < 30", unit="lesion", why="small ones")
    # Grade III of patients 1 and 2, grade V of patient 4 go; patient 2 keeps a lesion.
    assert "A-0002" in kept.patients.index and "A-0001" not in kept.patients.index
    assert kept.sessions.loc["A-0002/1/1", "lesions"] == 1
    assert kept.sessions.loc["A-0002/1/1", "agent"] == "EVOH only"


def test_grades_and_case_numbers_are_those_of_everybody() -> None:
    assert LATE.sessions.loc["A-0003/1/1", "case_number"] == 4
    pd.testing.assert_series_equal(
        LATE.lesions["sm_grade"], STUDY.lesions["sm_grade"].loc[LATE.lesions.index])


@pytest.mark.parametrize(("unit", "condition", "left"), [
    ("injection", "agent_used == 'EVOH 6 %'", 9), ("catheter", "retained", 1),
    ("resection", "urgency == 'planned'", 4),
])
def test_every_unit_can_be_chosen_from(unit: str, condition: str, left: int) -> None:
    kept = STUDY.where(condition, unit=unit, why="as asked")
    assert len(getattr(kept, f"{unit}s")) == left
    assert kept.exclusions[0].unit == unit


def test_two_exclusions_are_told_in_order() -> None:
    twice = LATE.where("age_y < 35", why="the young")
    assert [one.why for one in twice.exclusions] == [WHY, "the young"]
    assert list(twice.patients.index) == ["A-0003", "A-0004"]
    assert flow_of(twice.units).trunk[1][1].n == 10


def test_a_blank_is_neither_yes_nor_no() -> None:
    frame = pd.DataFrame({
        "sex": pd.Categorical(["female", "male", None], ["female", "male"]),
        "age": pd.array([20, None, 40], "Int64"),
        "day": pd.to_datetime(["2020-01-01", None, "2021-01-01"]),
        "hht": pd.array([True, None, False], "boolean")})

    def of(text: str) -> list[object]:
        return [None if value is pd.NA else bool(value) for value in read_condition(text).of(frame)]

    assert of("sex != 'male'") == [True, False, None]
    assert of("day != '2020-01-01'") == [False, None, True]
    assert of("age > 30 or hht") == [True, None, True]
    assert of("not hht") == [False, None, True]
    assert of("age in [20, 30]") == [True, None, False]
    assert of("sex not in ['male']") == [True, False, None]
    assert of("10 < age < 30") == [True, None, False]
    assert of("day.isna() | (age < 30)") == [True, True, False]
    assert of("day.dt.year == 2021 and not hht") == [False, None, True]
    assert of("age.between(15, 25) and sex.str.startswith('f')") == [True, False, False]
    assert of("age * 2 >= 80") == [False, None, True]


def test_a_code_in_a_condition_does_not_leave_the_service() -> None:
    kept = STUDY.where("operator_id != 'OP02' and route == 'arterial'", unit="session", why="one")
    assert "OP02" not in json.dumps(kept.manifest) and "arterial" in json.dumps(kept.manifest)
    other = STUDY.where("operator_id != 'OP03' and route == 'arterial'", unit="session", why="one")
    assert kept.hash != other.hash, "the hash is of the condition as written"


@pytest.mark.parametrize(("call", "words"), [
    ({"condition": "agee_y > 3", "why": "x"}, "no column “agee_y”. The nearest: age_y"),
    ({"condition": "age_y > 3", "why": "x", "unit": "patint"}, "no unit “patint”"),
    ({"condition": "sex == 'femal'", "why": "x"}, "no value of sex “femal”. The nearest: female"),
])
def test_a_name_that_is_not_there_gets_the_nearest(call: dict[str, str], words: str) -> None:
    with pytest.raises(UnknownName, match=re.escape(words)) as caught:
        STUDY.where(**call)
    assert isinstance(caught.value, KeyError) and not str(caught.value).startswith("'")


@pytest.mark.parametrize(("condition", "why", "words"), [
    ("age_y > 300", "x", "No patient meets"), ("gcs > 3", "x", "10 of 10 have it not recorded"),
    ("age_y > 3", " ", "Say why"), ("age_y >", "x", "cannot be read as a condition"),
    ("age_y", "x", "does not say yes or no"), ("age_y > 'old'", "x", "two sorts"),
    ("first_session > 'May'", "x", "is no date"), ("first_session > 2018", "x", "is no date"),
    ("hht == 'yes'", "x", "two sorts"),
    ("__import__('os').remove('x')", "x", "has no place"), ("age_y.__class__", "x", "no place"),
    ("3 > 2", "x", "compares no column"), ("age_y and hht", "x", "is no yes or no"),
])
def test_what_is_no_condition_is_refused_in_a_sentence(
    condition: str, why: str, words: str,
) -> None:
    with pytest.raises(StudyError, match=re.escape(words)):
        STUDY.where(condition, why=why)


def test_a_report_of_a_part_is_written_through_the_study(tmp_path: Path) -> None:
    lines = LATE.report(tmp_path / "out", audience="conference", case="A-0004")
    assert "Report for conference" in lines[0]
    assert checked_file(tmp_path / "out" / "results.json")["study"]["hash"] == LATE.hash
    assert WHY in (tmp_path / "out" / "conference.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(("audience", "also", "said"), [
    ("series", {"case": "A-0004"}, "add --for conference"),
    ("series", {"project": "ours.toml"}, "add --for quality"),
    ("quality", {"plan": "ours.toml"}, "add --for series"),
    ("series", {"plan": "nowhere.toml"}, "cannot be read"),
])
def test_what_would_be_ignored_or_is_wrong_is_told_before_any_work(
    tmp_path: Path, audience: str, also: dict[str, str], said: str,
) -> None:
    study = study_of_ten()
    with pytest.raises(ReportError, match=said):
        study.report(tmp_path / "out", audience=audience, **also)
    assert "results" not in vars(study) and not (tmp_path / "out").exists()
