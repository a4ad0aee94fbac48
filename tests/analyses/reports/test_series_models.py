"""What stands beside the technique models in the case series: diagnoses, imputation, comparison."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace

import pytest

from analyses.content.blocks import Picture, Table
from analyses.documents.series.model_tables import diagnosis_section, in_words, setting_words
from analyses.documents.series.references import texts_of
from analyses.documents.series.series_report import manuscript_document, series_work
from analyses.measures.plan_followed import first_plans
from analyses.models.declared_question import ModelQuestion
from analyses.models.model_estimates import model_numbers
from analyses.models.model_plan import Plan, PlannedModel
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.terms import Term
from synthetic_cohort import make_cohort


@pytest.fixture(scope="module")
def larger(series):
    """A service with enough events for models, and a plan with a curve and a subgroup."""
    from analyses.measures.results import work_out

    adjust, why = (Term(("sm_grade",), "linear"),), ("graver lesions bleed more",)
    asked = (("curve", Term(("agent_ml",), "spline", 3), ()),
             ("rate", Term(("rate_ml_min",), "linear", per=0.2), ()),
             ("passage", Term(("venous_passage",), "factor", reference="none"), ()),
             ("pedicles", Term(("pedicles",), "linear"), ("ruptured",)))
    models = tuple(PlannedModel(
        f"complication by {name}", "session", "event", exposure, adjust, why,
        missing="imputation", subgroups=subgroups) for name, exposure, subgroups in asked)
    loss = PlannedModel("blood loss by pedicles", "resection", "blood_loss_ml",
                        Term(("pedicles",), "linear"), adjust, why, estimator="log-linear")
    plan = Plan("Ours", datetime.date(2020, 1, 1), (*models, loss), questions=(
        ModelQuestion("primary", "complication by pedicles"),
        ModelQuestion("secondary", "blood loss by pedicles")))
    results = work_out(units_of(make_cohort(150, 8).tables, manifest=series.work.results.manifest))
    return series_work(results, plan=plan)


@pytest.fixture(scope="module")
def manuscript(larger):
    return manuscript_document(larger)


def table(document, name: str) -> Table:
    return next(t for t in document.tables() if t.name == name)


def test_every_model_with_an_answer_is_diagnosed(larger, manuscript):
    answered = [r for r in larger.models.results if r.diagnosis is not None]
    assert len(answered) >= 4
    for pair in {(r.model.outcome, r.model.unit) for r in answered}:
        mine = [r for r in answered if (r.model.outcome, r.model.unit) == pair]
        for name in ("basis", "fit"):
            assert len(table(manuscript, f"technique-{pair[0]}-{pair[1]}-{name}").rows) == len(mine)


def test_the_diagnosis_shown_is_the_one_worked_out(larger, manuscript):
    shown = table(manuscript, "technique-event-session-fit")
    models = larger.models.of("session")
    for row, result in zip(shown.rows, models, strict=True):
        found = result.diagnosis
        assert row[1].estimate == found.discrimination
        pairs = [re.fullmatch(r"(\d+) \(([\d.]+)\)", cell.text).groups() for cell in row[3:6]]
        assert sum(int(events) for events, _ in pairs) == result.fit.events
        assert sum(float(expected) for _, expected in pairs) == pytest.approx(
            result.fit.events, abs=0.2)
    rests = table(manuscript, "technique-event-session-basis")
    for row, result in zip(rests.rows, models, strict=True):
        assert row[1].text.startswith(f"{result.diagnosis.events}/")
        assert int(row[2].text) == result.fit.rows.left_out


def test_imputed_and_complete_rows_stand_side_by_side(larger, manuscript):
    rate = next(r for r in larger.models.results if r.model.name.endswith("rate"))
    assert rate.imputed is not None and rate.fit.n < rate.ratios[0].n
    shown = table(manuscript, "technique-event-session")
    place = shown.columns.index("The same, complete rows")
    line = next(row for row in shown.rows if row[0].text.startswith("Mean rate"))
    assert line[0].text == "Mean rate, per 0.2 mL/min faster", "the plan's own step"
    assert line[place].text.endswith(f"{rate.fit.events}/{rate.fit.n}")
    assert line[2].text.startswith(f"{rate.ratios[0].events}/{rate.ratios[0].n}")
    without = next(row for row in shown.rows if row[0].text.startswith("Pedicles"))
    assert without[place].text == ""
    assert any(b.name == "imputed-session" for b in manuscript.pictures())


def test_differences_of_risk_have_their_number_needed_or_words(larger, manuscript):
    shown = table(manuscript, "technique-event-session-risks")
    for row in shown.rows:
        e = row[2].estimate
        assert e.kind == "difference" and e.low <= e.value <= e.high
        if e.low <= 0 <= e.high:
            assert "would mislead" in row[3].text
        else:
            assert "event in every" in row[3].text
    assert {row[0].text for row in shown.rows} >= {"Agent volume", "Mean rate"}


def test_rows_without_a_liquid_are_said_to_be_outside_the_question(larger, manuscript):
    rate = next(r for r in larger.models.results if r.model.name.endswith("rate"))
    count = rate.not_asked["rate_ml_min"]
    warned = table(manuscript, "technique-event-session-warnings")
    assert any(f"Not asked of {count} session" in row[1].text for row in warned.rows)


def test_a_planned_curve_is_drawn_and_read_between_quartiles(manuscript):
    assert any(b.name == "curve-event-session-agent_ml" for b in manuscript.pictures())
    shown = table(manuscript, "technique-event-session")
    assert any("upper against lower quartile of a curve" in row[0].text for row in shown.rows)


def test_a_planned_subgroup_is_shown(larger, manuscript):
    rows = table(manuscript, "technique-subgroups").rows
    assert len(rows) == 1 and rows[0][1].text == "rupture before treatment"
    no, yes, between = (cell.estimate for cell in rows[0][2:])
    assert yes.value / no.value == pytest.approx(between.value)


def test_every_number_of_the_models_is_in_the_results(larger, manuscript):
    known = {(e.id, tuple(sorted((e.group or {}).items())), e.unit) for e in larger.estimates}
    names = ("technique-event", "technique-blood", "technique-subgroups", "technique-side",
             "technique-other", "e-values", "embolized-or-not", "learning")
    for one in manuscript.tables():
        if one.name.startswith(names):
            for e in (cell.estimate for row in one.rows for cell in row if cell.estimate):
                assert (e.id, tuple(sorted((e.group or {}).items())), e.unit) in known, e.id


def test_resections_with_and_without_embolization_are_described_not_credited(larger, manuscript):
    section = next(s for s in manuscript.sections
                   if s.title.startswith("Embolization before resection planned"))
    text = " ".join(texts_of(section))
    assert "confounding by indication" in text and "not the effect of embolization" in text
    found = larger.embolized
    # By the plan at the first treatment, operated or not; emergencies stand apart.
    plans = first_plans(larger.results.units)["plan"]
    assert sum(found.lesions) + found.left_out == int(plans.notna().sum())
    shown = table(manuscript, "embolized-or-not")
    assert [row[0].text for row in shown.rows] == [
        "Permanent deficit or death from any treatment", "Final obliteration confirmed",
        "Blood loss of the first operation, where operated",
        "Time of the first operation, where operated"]
    for row, one in zip(shown.rows, found.outcomes, strict=True):
        if one.weighted is None:
            assert row[3].text.startswith(("not given: only", "not given: the outcome is unknown"))
        else:
            assert row[3].estimate == one.weighted.difference
    if found.balance:
        before, after = found.balance["sm_grade"]
        assert abs(after.value) < abs(before.value)
        assert any(isinstance(b, Picture) for b in section.blocks)


def test_experience_is_adjusted_and_names_no_operator(larger, manuscript):
    section = next(s for s in manuscript.sections if s.title == "Experience of the operator")
    text = " ".join(texts_of(section))
    assert "not for ranking" in text or "cannot be told" in text
    codes = larger.results.units.sessions["operator_id"].dropna().unique()
    assert not any(re.search(rf"\b{re.escape(code)}\b", text) for code in codes)
    if larger.learning.model is None:
        assert "cannot be told" in text and "adjusted risk goes" not in text
    for first, last, gap in [larger.learning.risks] if larger.learning.risks else []:
        assert gap.value == pytest.approx(last.value - first.value)


def test_only_the_models_that_the_plan_asks_stand_in_the_paper(larger, manuscript):
    """Their intervals held together; every other ratio is in the supplement alone."""
    shown = table(manuscript, "declared-models")
    assert [row[0].text for row in shown.rows] == ["Any complication",
                                                   "Blood loss of the resection"]
    for row, one in zip(shown.rows, larger.questions, strict=True):
        ratio, = one.ratios
        assert row[3].estimate == ratio and ratio.level == pytest.approx(1 - 0.05 / 2)
        plain, = next(r for r in larger.models.results if r.model == one.result.model).ratios
        assert ratio.value == pytest.approx(plain.value) and ratio.low < plain.low
    paper = [e for s in manuscript.sections if not s.supplement
             for e in replace(manuscript, sections=(s,)).estimates()]
    assert {e.id for e in paper if "ratio" in e.kind} == {
        "question.model.event.pedicles", "question.model.blood_loss_ml.pedicles"}
    section = next(s for s in manuscript.sections if s.title == "Technique and outcome")
    assert "2 of them answer a question named beforehand" in " ".join(texts_of(section))


def test_no_two_sections_share_a_title(manuscript):
    titles = [section.title for section in manuscript.sections]
    assert len(titles) == len(set(titles)), "an address in the page leads to one of them only"


def test_without_resections_apart_there_is_nothing_to_compare(larger):
    from analyses.documents.series.embolized_section import embolized_section
    from analyses.documents.series.learning_section import learning_section

    assert "nothing to compare" in " ".join(texts_of(embolized_section(None)))
    assert "No effect of experience is given" in " ".join(texts_of(learning_section("Too few.")))


def test_settings_carry_their_unit_in_the_right_number():
    def setting(**group: str) -> str:
        return setting_words(Estimate(id="x", kind="probability", value=0.1, group=group))

    assert setting(pedicles="1") == "1 pedicle" and setting(pedicles="3") == "3 pedicles"
    assert setting(longest_pause_s="1") == "1 s" and setting(agent_ml="0.35") == "0.35 mL"
    assert setting(reflux_past_limit="True") == "yes"


def test_names_of_columns_become_words():
    assert in_words("rate_ml_min (per 0.1) and sm_grade") == "mean rate and Spetzler–Martin grade"
    assert in_words("venous_passage [part] (2)") == "agent in the draining vein [part] (2)"
    assert in_words("events (4)") == "events (4)"


def test_one_model_in_full_says_how_far_it_may_be_trusted(larger):
    result = larger.models.of("session")[1]
    text = " ".join(texts_of(diagnosis_section(result)))
    assert "Leaving out one patient at a time" in text and "c statistic" in text
    assert "_" not in text
    none = replace(result, fit=None, imputed=None, refusal="nothing recorded")
    assert "no model to diagnose" in " ".join(texts_of(diagnosis_section(none)))


def test_the_numbers_of_models_are_told_apart(larger):
    found = model_numbers(larger.models).estimates
    names = [(e.id, tuple(sorted((e.group or {}).items())), e.unit) for e in found]
    assert len(names) == len(set(names))
