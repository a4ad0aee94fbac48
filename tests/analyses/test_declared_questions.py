"""What a report may claim: the questions named beforehand, held together; all else exploratory."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest

from analyses.documents.series.declared_section import declared_section
from analyses.measures.null_findings import null_findings
from analyses.models.declared_question import ModelQuestion, Question
from analyses.models.model_plan import Plan, PlannedModel, declared_late, read_plan, write_plan
from analyses.models.planned_run import run_plan
from analyses.models.questions_answered import answer_questions
from analyses.models.technique_frame import technique_frames
from analyses.population.unit_frames import units_of
from analyses.statistics.regression.terms import Term
from synthetic_cohort import make_cohort

UNITS = units_of(make_cohort(140, 3).tables)
PRIMARY = Question("primary", "complication.any", "session", "ponce_class")
OTHERS = (Question("secondary", "complication.any", "session", "agent"),
          Question("secondary", "obliteration.final_confirmed", "lesion", "ruptured"))
LATER = Question("secondary", "complication.any", "session", "half")
DAY = datetime.date(2026, 1, 1)


def test_p_values_are_adjusted_after_holm() -> None:
    """Holm 1979: the smallest times k, the next times k - 1, never falling, at most 1."""
    answered = answer_questions(UNITS, (PRIMARY, *OTHERS))
    raw = np.array([one.tested.p_value for one in answered if one.tested])
    order = np.argsort(raw)
    steps = np.minimum(np.maximum.accumulate(raw[order] * [3, 2, 1]), 1)
    expected = np.empty(3)
    expected[order] = steps
    assert [one.adjusted_p for one in answered] == pytest.approx(expected.tolist())


def test_intervals_are_held_together() -> None:
    alone, = answer_questions(UNITS, (PRIMARY,))
    first, *_ = together = answer_questions(UNITS, (PRIMARY, *OTHERS))
    pairs = sum(len(one.differences) for one in together)
    for one in together:
        assert all(e.level == pytest.approx(1 - 0.05 / pairs) for e in one.differences)
    for wide, narrow in zip(first.differences, alone.differences, strict=True):
        assert wide.value == narrow.value
        assert (wide.low or 0) < (narrow.low or 0) and (wide.high or 0) > (narrow.high or 0)


MODEL = PlannedModel("pedicles", "session", "event", Term(("pedicles",), "linear"),
                     (Term(("sm_grade",), "linear"),))


def test_a_model_named_as_a_question_is_held_together_with_the_others() -> None:
    """Its ratio's interval as wide as that of every difference, its P in the same Holm steps."""
    results = run_plan(Plan("Ours", DAY, (MODEL,)), technique_frames(UNITS))
    one, two = answer_questions(UNITS, (PRIMARY, ModelQuestion("secondary", "pedicles")), results)
    whole, = results[0].ratios
    ratio, = two.ratios
    assert ratio.level == pytest.approx(1 - 0.05 / (len(one.differences) + 1))
    assert {e.level for e in one.differences} == {ratio.level}
    assert ratio.value == pytest.approx(whole.value)
    assert ratio.low < whole.low < whole.high < ratio.high
    raw = sorted([one.tested.p_value, *two.p_values])
    held = [2 * raw[0], max(2 * raw[0], raw[1])]
    assert sorted([one.adjusted_p, *two.adjusted]) == pytest.approx(np.minimum(held, 1).tolist())
    said = repr(declared_section((one, two), late=False))
    assert "declared-models" in said and "Any complication by pedicles" in said
    assert [e.id for e in two.estimates] == [
        "question.model.event.pedicles", "question.model.event.pedicles.p"]


def test_a_model_without_an_answer_says_why_and_takes_no_share() -> None:
    few = units_of(make_cohort(20, 3).tables)
    results = run_plan(Plan("Ours", DAY, (MODEL,)), technique_frames(few))
    assert not results[0].answered
    one, = answer_questions(few, (ModelQuestion("primary", "pedicles"),), results)
    assert one.estimates == () and "events" in one.why
    assert "no ratio" in repr(declared_section((one,), late=False))


def test_a_plan_file_names_a_model_as_a_question(tmp_path: Path) -> None:
    plan = Plan("Ours", DAY, (MODEL,), questions=(ModelQuestion("primary", "pedicles"), LATER))
    write_plan(plan, tmp_path / "plan.toml")
    again = read_plan(tmp_path / "plan.toml")
    assert again.questions == plan.questions and again.hash == plan.hash


def test_where_the_gate_refuses_nothing_is_answered() -> None:
    tables = make_cohort(80, 4).tables
    events = tables["complications"].assign(deficit="not yet known")
    units = units_of({**tables, "complications": events.astype(
        tables["complications"].dtypes.to_dict())})
    one, = answer_questions(units, (Question(
        "primary", "complication.permanent_deficit", "session", "ponce_class"),))
    assert one.differences == () and one.adjusted_p is None and "no point" in one.why
    assert one.estimates == () and "no test" in one.test_text()


def test_a_plan_file_keeps_its_questions(tmp_path: Path) -> None:
    plan = Plan("Ours", DAY, (), questions=(PRIMARY, *OTHERS))
    write_plan(plan, tmp_path / "plan.toml")
    again = read_plan(tmp_path / "plan.toml")
    assert again.questions == plan.questions and again.hash == plan.hash
    assert again.hash != Plan("Ours", DAY, (), questions=(PRIMARY,)).hash


@pytest.mark.parametrize(("text", "said"), [
    ('[[secondary]]\nmeasure="complication.any"\nunit="session"\nby="agent"', "name the primary"),
    ('[primary]\nmeasure="complication.anny"\nunit="session"\nby="agent"', "complication.anny"),
    ('[primary]\nmeasure="complication.any"\nunit="year"\nby="agent"', "not counted per year"),
    ('[primary]\nmeasure="complication.any"\nunit="session"\nby="sex"', "by 'sex'"),
    ('[primary]\nmeasure="complication.any"\nunit="session"\nby="agent"\nwhy="x"', "'why'"),
    ('[primary]\nmeasure="complication.any"\nunit="session"\nby="agent"\n' + "".join(
        f'[[secondary]]\nmeasure="complication.any"\nunit="session"\nby="{by}"\n'
        for by in ("half", "ponce_class", "intent", "ruptured", "agent", "agent")), "at most 5"),
    ("", "no question and no"),
    ('[primary]\nmodel="x"\nunit="session"', "'unit' does not go with a model"),
    ('[primary]\nmodel="x"', "there is none"),
    ('[primary]', "measure, unit and by, or with model"),
    ('[primary]\nmodel="y"\n[[model]]\nname="x"', "there are 'x'"),
    ('[primary]\nmodel="x"\n[[model]]\nname="x"\n[model.exposure]\ncolumn="pedicles"\n'
     'form="spline"', "which no one ratio answers"),
    ('[primary]\nmodel="x"\n[[secondary]]\nmodel="x"\n[[model]]\nname="x"', "stands twice"),
])
def test_a_wrong_question_is_told(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "plan.toml"
    file.write_text(f"date = 2026-01-01\n{text}\n", encoding="utf-8")
    with pytest.raises(ValueError, match=said):
        read_plan(file)


def test_a_plan_dated_after_the_freeze_names_nothing_beforehand() -> None:
    plan = Plan("Late", datetime.date(2026, 3, 1), (), questions=(PRIMARY,))
    assert declared_late(plan, DAY) and not declared_late(plan, datetime.date(2026, 3, 1))
    answered = answer_questions(UNITS, plan.questions)
    late, right = (repr(declared_section(answered, late=late)) for late in (True, False))
    assert "dated after" in late and "P =" not in late and "P <" not in late
    assert "Holm-adjusted" in right


class TestChance:
    """The report tried on itself."""

    def test_what_is_associated_with_nothing_shows_few(self) -> None:
        """Outcomes exchanged: 5 % of the differences at most, on average."""
        found = null_findings(UNITS)
        assert found.printed > 30 and 0 < found.average < 0.05 * found.printed
        assert null_findings(units_of(UNITS.tables)) == found  # seeded

    def test_a_true_difference_is_seen(self) -> None:
        """Every event of the later half: seen, and not among what chance shows."""
        tables = make_cohort(140, 3).tables
        late = set(tables["sessions"].loc[
            tables["sessions"]["session_date"] > tables["sessions"]["session_date"].median(),
            "patient_id"])
        events = tables["complications"]
        units = units_of({**tables, "complications": events[events["patient_id"].isin(late)]})
        assert null_findings(units).seen > null_findings(units).average


@pytest.mark.slow
def test_reports_about_nothing_claim_nothing() -> None:
    """At most 5 % of them have any finding in the paper, less three Monte Carlo errors."""
    import null_reports

    found = null_reports.null_reports(90)
    assert null_reports.with_any(found) <= 0.05 + 3 * (0.05 * 0.95 / 90) ** 0.5


def test_the_table_of_reports_about_nothing_is_kept() -> None:
    import re

    import null_reports

    text = null_reports.REPORT.read_text(encoding="utf-8")
    (reports, share), = re.findall(r"\| all \| (\d+) \| ([\d.]+) %", text)
    assert int(reports) >= 300 and float(share) <= 5
