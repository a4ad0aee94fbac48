"""The plan of the technique models: printed as declared, followed, refused where it is wrong."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pytest

from analyses.content.blocks import Verbatim
from analyses.documents.report_making import Wish, check_wish, series_files
from analyses.documents.series.references import texts_of
from analyses.documents.series.series_report import manuscript_document, series_work
from analyses.models.model_plan import Plan, PlannedModel, read_plan, write_plan
from analyses.models.plan_columns import plan_problems
from analyses.models.technique_plan import default_plan
from analyses.renderers.report_folder import ReportError
from analyses.statistics.regression.terms import Term


def plan_of(day: datetime.date) -> Plan:
    model = PlannedModel(
        name="complication by pedicles", unit="session", outcome="event",
        exposure=Term(("pedicles",), "linear"), adjust=(Term(("sm_grade",), "linear"),),
        why=("graver lesions bleed more",))
    return Plan("Our own plan", day, (model,))


@pytest.fixture(scope="module", params=["2020-01-01", "2030-01-01"])
def planned(request, series):
    plan = plan_of(datetime.date.fromisoformat(request.param))
    return plan, manuscript_document(series_work(series.work.results, plan=plan))


def said(document) -> str:
    return " ".join(t for section in document.sections for t in texts_of(section))


def test_the_plan_is_printed_whole_with_its_date_and_hash(planned):
    plan, document = planned
    text = said(document)
    assert plan.date.isoformat() in text and plan.hash in text and "Our own plan" in text
    printed = next(b.text for b in document.blocks() if isinstance(b, Verbatim))
    assert 'name = "complication by pedicles"' in printed


def test_the_printed_plan_is_the_plan(planned, tmp_path: Path):
    plan, document = planned
    copy = tmp_path / "copy.toml"
    copy.write_text(next(b.text for b in document.blocks() if isinstance(b, Verbatim)))
    assert read_plan(copy).hash == plan.hash


def test_only_what_was_planned_before_the_data_is_called_planned(planned):
    plan, document = planned
    table = next(t for t in document.tables() if t.name == "technique-side-by-side")
    declared = {row[-1].text for row in table.rows}
    early = plan.date < datetime.date(2024, 6, 1)
    assert declared == ({"yes"} if early else {"no: exploratory"})


def test_without_a_plan_everything_is_exploratory(series):
    table = next(t for t in series.outside.tables() if t.name == "technique-side-by-side")
    assert {row[-1].text for row in table.rows} == {"no: exploratory"}
    assert "No plan file was declared" in said(series.outside)


def test_a_wrong_plan_is_refused_before_anything_is_written(series, tmp_path: Path):
    wrong = tmp_path / "plan.toml"
    wrong.write_text("title = 'x'\n")
    with pytest.raises(ReportError, match="plan.toml: date"):
        series_files(series.work.results, Wish(plan=wrong), lambda *words: None)


def test_what_no_table_has_is_told_all_at_once_before_any_work(tmp_path: Path):
    plan = plan_of(datetime.date(2020, 1, 1))
    good = plan.models[0]
    write_plan(replace(plan, models=(
        replace(good, exposure=Term(("pedicels",), "linear"), subgroups=("formualtion",)),
        replace(good, name="by grade", outcome="complication"),
        replace(good, name="per visit", unit="visit"))), tmp_path / "plan.toml")
    with pytest.raises(ReportError) as refused:
        check_wish("series", Wish(plan=tmp_path / "plan.toml"))
    told = str(refused.value)
    assert told.startswith("plan.toml: model 1 (complication by pedicles): exposure 'pedicels' is "
                           "no column of a session; the nearest: pedicles")
    assert "subgroups 'formualtion'" in told and "the nearest: formulation" in told
    assert "model 2 (by grade): outcome 'complication' is no column of a session" in told
    assert ("model 3 (per visit): unit 'visit' is not known; wanted one of session, lesion, "
            "patient, resection") in told


def test_the_plan_proposed_by_us_names_only_what_there_is():
    assert plan_problems(default_plan(datetime.date(2020, 1, 1))) == []


def test_no_sentence_says_that_technique_causes_anything(series):
    text = said(series.outside).lower()
    assert "associated with" in text or "stays open" in text
    for word in ("caused by the", "because of the technique", "reduces the risk", "leads to"):
        assert word not in text
    assert "confounding by indication" in text


def test_what_the_data_cannot_carry_is_said_first(series):
    part = next(s for s in series.outside.sections if s.title == "Technique and outcome")
    assert "cannot be carried by these data" in texts_of(part)[0]


RATIOS = ("odds ratio", "risk ratio", "ratio of geometric means")


def paper_of(document):
    """The document without its supplement and checklists."""
    return replace(document, sections=tuple(
        section for section in document.sections if not section.supplement))


def test_no_ratio_of_an_exploratory_model_stands_in_the_paper(series, planned):
    for document in (series.inside, series.outside, planned[1]):
        paper = paper_of(document)
        assert not [e.id for e in paper.estimates() if e.kind in RATIOS]
        assert not [t.name for t in paper.tables() if t.name.startswith("technique-")]
        assert not [p.name for p in paper.pictures() if p.name.startswith("technique-")]
        assert "their ratios stand in the supplement alone" in said(paper)


def test_the_paper_counts_the_events_of_each_outcome_asked(series):
    part = next(s for s in series.outside.sections if s.title == "Technique and outcome")
    asked = next(t for t in texts_of(part) if t.startswith("Asked were"))
    for pair in {(r.model.outcome, r.model.unit) for r in series.work.models.results}:
        mine = [r for r in series.work.models.results
                if (r.model.outcome, r.model.unit) == pair]
        assert f"per {pair[1]} ({len(mine)} models" in asked
        events = [(r.imputed or r.fit).events for r in mine if r.fit is not None]
        if events and events[0] is not None:
            assert f"{min(events)} to {max(events)} events" in asked or (
                f"{min(events)} events" in asked)


def test_the_supplement_says_what_chance_would_show_of_the_models(series):
    found = series.work.chance
    assert found.of == "ratio" and found.printed > 0 and found.exchanges == 20
    text = said(series.outside)
    assert f"Of {found.printed} ratios shown here {found.seen} leave out 1." in text
    assert "exchanged between patients 20 times" in text
    told = [e for e in series.entries if e["id"].startswith("exploratory.")]
    assert sorted({e["unit"] for e in told}) == ["difference", "ratio"]


def test_nothing_has_a_p_value_that_no_plan_asked_for(series):
    assert not [e["id"] for e in series.entries if e["kind"] == "P value"]
    assert "better than a straight line" not in said(series.inside)


def test_events_stand_behind_every_ratio(series):
    table = next(t for t in series.outside.tables() if t.name == "technique-side-by-side")
    for row in table.rows:
        assert "/" in row[4].text


def test_a_plan_written_by_us_is_read_again(tmp_path: Path):
    plan = plan_of(datetime.date(2020, 1, 1))
    write_plan(plan, tmp_path / "plan.toml")
    assert read_plan(tmp_path / "plan.toml").hash == plan.hash
