"""Questions to a study: the same answers as its results, and sentences for what cannot be."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from study_of_ten import frozen, study_of_ten

import analyses
from analyses import open_study
from analyses.documents.notebook_show import show
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.study.study_errors import StudyError, UnknownName
from registry.freeze.freeze_error import FreezeError

STUDY = study_of_ten()


def test_the_face_lists_what_a_study_is_opened_with() -> None:
    assert {"Study", "open_study"} <= set(analyses.__all__) <= set(dir(analyses))


def test_a_path_that_is_no_freeze_gets_the_freezes_sentence(tmp_path: Path) -> None:
    with pytest.raises(FreezeError, match="nowhere does not exist; give the folder of a freeze"):
        open_study(tmp_path / "nowhere")


def test_own_practice_limits_are_read(tmp_path: Path) -> None:
    from analyses.study.one_study import Study

    limits = Path("registry/clinical/practice_limits.toml")
    found = open_study(frozen(), limits=limits)
    assert isinstance(found, Study) and found.limits is found.units.limits


@pytest.mark.parametrize("topic", ["complications", "obliteration", "resection", "procedures"])
def test_an_answer_is_the_same_as_in_the_results(topic: str) -> None:
    groupings = {"sm_grade", "ponce_class", "intent", "agent", "period", "ruptured"}
    asked = 0
    for estimate in STUDY.results_of([topic]).estimates:
        if set(estimate.group or {}) <= groupings:
            by = next(iter(estimate.group), None) if estimate.group else None
            answer = STUDY.ask(estimate.id, unit=estimate.unit, by=by)
            assert estimate in answer.estimates, (estimate.id, estimate.unit, estimate.group)
            asked += 1
    assert asked > 5


def test_a_grouping_by_any_column_counted_by_hand() -> None:
    answer = STUDY.ask("complication.any", unit="session", by="anaesthesia")
    assert [e.group for e in answer.estimates] == [None, {"anaesthesia": "not recorded"}]
    by_sex = STUDY.ask("complication.any", unit="patient", by="sex").estimates
    # Embolized: 5 and 7 are men, 5 with an event; of six women 2, 3, 4 and 10 had one.
    assert [(e.group, e.events, e.n) for e in by_sex[1:]] == [
        ({"sex": "female"}, 4, 6), ({"sex": "male"}, 1, 2)]


def test_the_level_is_that_of_the_interval() -> None:
    wide = STUDY.ask("complication.any", unit="session", level=0.99).estimates[0]
    rows = wide.rows()
    cluster = [key.split("/")[0] for key in rows["key"]]
    same = clustered_proportion(rows["event"].to_numpy(), cluster, level=0.99)
    assert (wide.low, wide.high, wide.level) == (same.low, same.high, 0.99)
    assert "99 % interval" in wide.number_text()
    bounds = STUDY.ask("complication.permanent_deficit", unit="session", level=0.9).estimates[0]
    usual = STUDY.ask("complication.permanent_deficit", unit="session").estimates[0]
    assert bounds.level == 0.9 and bounds.high < usual.high
    median = STUDY.ask("procedure.agent_ml", level=0.8).estimates[0]
    assert median.level == 0.8


def test_the_gate_stands_before_every_answer() -> None:
    found = STUDY.ask("complication.permanent_deficit", unit="session").estimates[0]
    assert found.kind == "bounds" and found.value is None


def test_an_answer_tells_draws_and_shows_itself() -> None:
    answer = STUDY.ask("complication.any", unit="session", by="agent")
    assert list(answer.frame()["group"])[:2] == ["All", "EVOH only"]
    assert answer.frame().loc[0, ["events", "n", "patients"]].tolist() == [6, 12, 8]
    assert "6 of 12 sessions" in answer.sentence()
    assert "not unrelated to the embolization" in answer.methods()
    assert "0123456789ab" in answer.methods()
    assert "5/8 (62.5 %" in repr(answer) and "<table" in answer._repr_html_()
    assert [text.get_text() for text in answer.figure().axes[0].get_yticklabels()][0] == "All"
    assert "Any complication" in show(answer).html


def test_a_median_is_drawn_with_its_values() -> None:
    answer = STUDY.ask("procedure.agent_ml", by="ruptured")
    assert answer.unit == "session" and len(answer.figure().axes[0].collections) >= 3


def test_what_has_no_figure_says_so() -> None:
    with pytest.raises(StudyError, match="no figure of count.patients: it is a count"):
        STUDY.ask("count.patients").figure()


def test_measures_worked_out_together_are_asked_by_their_own_groups() -> None:
    assert STUDY.ask("baseline.sex").estimates[0].unit == "patient"
    with pytest.raises(StudyError, match="not given by agent_ml"):
        STUDY.ask("baseline.sex", by="agent_ml")
    with pytest.raises(StudyError, match="0.95 only"):
        STUDY.ask("baseline.sex", level=0.9)


def test_every_measure_is_listed_and_can_be_asked() -> None:
    listed = STUDY.measures()
    assert list(listed.columns) == ["id", "label", "definition", "units"]
    for row in listed.itertuples():
        for unit in row.units.split(", "):
            STUDY.ask(row.id, unit=unit)


@pytest.mark.parametrize(("call", "words"), [
    ({"id": "complication.an", "unit": "session"}, "The nearest: complication.any"),
    ({"id": "complication.any", "unit": "sesion"}, "The nearest: session"),
    ({"id": "complication.any", "unit": "session", "by": "agnt"}, "The nearest: agent"),
])
def test_a_wrong_name_gets_the_nearest(call: dict[str, str], words: str) -> None:
    with pytest.raises(UnknownName, match=re.escape(words)) as caught:
        STUDY.ask(**call)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("call", "words"), [
    ({"id": "complication.any"}, "say which"),
    ({"id": "complication.any", "unit": "session", "level": 95}, "The level is 95"),
    ({"id": "complication.any", "unit": "session", "by": "session_date"}, "make groups of it"),
])
def test_a_wrong_question_gets_a_sentence(call: dict[str, object], words: str) -> None:
    with pytest.raises(StudyError, match=words):
        STUDY.ask(**call)  # type: ignore[arg-type]


def test_an_added_column_is_asked_by_chosen_from_and_hashed() -> None:
    big = STUDY.sessions["agent_ml"] > 1
    added = STUDY.add("big_cast", big, unit="session", label="more than 1 mL of agent")
    answer = added.ask("complication.any", unit="session", by="big_cast")
    # Over 1 mL: patient 1's second, the shared procedure, patient 10; patient 3's is not known.
    assert [(e.group, e.events, e.n) for e in answer.estimates[1:]] == [
        ({"big_cast": "no"}, 3, 8), ({"big_cast": "yes"}, 2, 3),
        ({"big_cast": "not recorded"}, 1, 1)]
    assert "more than 1 mL of agent" in repr(answer)
    assert added.injections["big_cast"].sum() == 5 and "big_cast" not in STUDY.sessions
    row = added.dictionary().set_index(["frame", "column"]).loc[("sessions", "big_cast")]
    assert row["type"] == "yes/no" and row["source"] == "added to this study"
    kept = added.where("not big_cast", unit="session", why="small casts")
    assert len(kept.sessions) == 8 and kept.exclusions[0].unknown == 1
    assert len({STUDY.hash, added.hash, kept.hash}) == 3
    other = STUDY.add("big_cast", ~big, unit="session", label="more than 1 mL of agent")
    assert other.hash != added.hash, "the values enter the hash"


def test_an_added_column_stays_with_a_procedure_that_loses_a_lesion() -> None:
    added = STUDY.add("mark", pd.Series(range(12), index=STUDY.sessions.index), unit="session",
                      label="a number")
    kept = added.where("nidus_length_mm > 30", unit="lesion", why="large ones")
    # The first of the two lesions in the shared procedure is the small one.
    assert added.sessions.loc["A-0002/1/1", "mark"] == 2
    assert kept.sessions.loc["A-0002/2/1", "mark"] == 2


def test_plain_values_in_the_frames_order_can_be_added() -> None:
    added = STUDY.add("older", list(STUDY.patients["age_y"] > 35), label="over 35")
    assert added.patients["older"].sum() == 5 and added.lesions["older"].sum() == 5


@pytest.mark.parametrize(("name", "values", "words"), [
    ("sex", STUDY.patients["age_y"], "have a column sex already"),
    ("big cast", STUDY.patients["age_y"], "cannot be the name"),
    ("old", STUDY.patients["age_y"].iloc[:3], "3 values for 10 patients"),
    ("old", STUDY.sessions["agent_ml"], "keys that no patient has"),
    ("old", [1, 2], "must be a Series"),
    ("old", pd.concat([STUDY.patients["age_y"]] * 2), "stands twice"),
])
def test_values_that_do_not_fit_get_a_sentence(name: str, values: object, words: str) -> None:
    with pytest.raises(StudyError, match=words):
        STUDY.add(name, values, label="x")  # type: ignore[arg-type]


def test_too_few_events_make_no_model() -> None:
    with pytest.raises(StudyError, match="at least 8 of each"):
        STUDY.model("complication.any", unit="session", terms=["sm_grade"])
    with pytest.raises(StudyError, match="only in units that had an event"):
        STUDY.model("complication.permanent_deficit", unit="session", terms=["sm_grade"])
    with pytest.raises(UnknownName, match="The nearest: sm_grade"):
        STUDY.model("complication.any", unit="session", terms=["sm_grad"])
    with pytest.raises(StudyError, match="a model is given for shares"):
        STUDY.model("procedure.agent_ml", terms=["sm_grade"])


def test_too_few_events_make_no_chart_and_the_words_say_so() -> None:
    found = STUDY.over_time("complication.any", unit="session")
    assert found.chart is None and "too few to set limits from" in found.sentence()
    assert "over time" in repr(found)
    with pytest.raises(StudyError, match="too few"):
        found.figure()


def test_topics_that_are_not_there_get_a_sentence() -> None:
    with pytest.raises(UnknownName, match="no topic “complication”. The nearest: complications"):
        STUDY.results_of(["complication"])


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_frame_goes_out_and_comes_back(ending: str, tmp_path: Path) -> None:
    path = STUDY.export(tmp_path / f"sessions{ending}", unit="session")
    back = pd.read_csv(path, index_col="key") if ending == ".csv" else pd.read_parquet(path)
    assert list(back.index) == list(STUDY.sessions.index)
    assert list(back.columns) == list(STUDY.sessions.columns)
    assert back["sm_grade"].tolist() == STUDY.sessions["sm_grade"].tolist()
    with pytest.raises(StudyError, match="is there already"):
        STUDY.export(path, unit="session")
    assert STUDY.export(path, unit="session", replace=True) == path


def test_a_file_with_value_labels_is_not_written_yet(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="not written yet"):
        STUDY.export(tmp_path / "sessions.dta", unit="session")
    assert not list(tmp_path.iterdir())
