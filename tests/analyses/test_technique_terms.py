"""A technique variable is one declaration; what it may not be asked about is refused everywhere."""

from __future__ import annotations

import ast
import datetime
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from small_cohort import small_tables
from study_of_ten import study_of_ten

from analyses.measures.harm import ANY
from analyses.measures.obliteration import EMBOLIZATION_COMPLETE, EMBOLIZATION_NEAR_COMPLETE
from analyses.models.applies import applies_to
from analyses.models.model_plan import Plan, PlannedModel, read_plan, write_plan
from analyses.models.planned_run import run_plan
from analyses.models.technique_declared import all_terms, not_offered, offered
from analyses.models.technique_frame import technique_frames
from analyses.models.technique_plan import default_plan
from analyses.models.technique_term import Kind, TechniqueTerm
from analyses.population.unit_frames import units_of
from analyses.statistics.regression.terms import Term
from analyses.study.study_errors import StudyError
from analyses.study.study_frames import study_frames
from registry.schema import TABLES

ROOT = Path(__file__).parents[2]
DAY = datetime.date(2026, 1, 5)
TERMS = list(all_terms().values())
FRAMES = technique_frames(units_of(small_tables()))
LAST_STEPS = ("agent_per_nidus", "venous_passage")


@pytest.mark.parametrize("term", TERMS, ids=lambda one: one.id)
def test_a_term_has_its_words_and_its_values_are_of_its_kind(term: TechniqueTerm) -> None:
    assert term.label and term.definition.endswith(".")
    assert term.uses and all(field in TABLES[table].by_name for table, field in (
        use.split(".") for use in term.uses))
    assert bool(term.levels) == (term.kind is Kind.LEVELS)
    assert bool(term.unit) == (term.kind is Kind.NUMBER)
    for frame in FRAMES.values():
        values = frame[term.id].dropna()
        if term.kind is Kind.LEVELS:
            assert set(values) <= set(term.levels)
        else:
            assert values.astype(float).ge(0).all()
        assert (applies_to(term.id) in frame) == (term.applies is not None)


def test_no_other_module_of_these_rooms_names_a_term() -> None:
    own = {"technique_terms.py", "technique_rows.py"}
    strange = [f"{path.name}: {node.value}" for room in ("models", "study")
               for path in (ROOT / "analyses" / room).glob("*.py") if path.name not in own
               for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
               if isinstance(node, ast.Constant) and node.value in all_terms()]
    assert strange == []


def test_what_closes_the_nidus_is_not_offered_for_its_closure() -> None:
    for outcome in (EMBOLIZATION_COMPLETE, EMBOLIZATION_NEAR_COMPLETE):
        assert set(all_terms()) - {one.id for one in offered(outcome)} == set(LAST_STEPS)
    assert len(offered(ANY)) == len(TERMS)
    asked = {(m.outcome, m.exposure.name) for m in default_plan(DAY).models}
    assert not asked & {("obliterated", name) for name in LAST_STEPS}
    assert {("event", name) for name in LAST_STEPS} <= asked


@pytest.mark.parametrize("name", LAST_STEPS)
@pytest.mark.parametrize("held", [False, True])
def test_a_plan_that_asks_it_all_the_same_is_refused(
    name: str, held: bool, tmp_path: Path,
) -> None:
    bad = PlannedModel("own", "lesion", "obliterated", Term(("pedicles" if held else name,)),
                       (Term((name,)),) if held else ())
    write_plan(Plan("p", DAY, (bad,)), tmp_path / "plan.toml")
    with pytest.raises(ValueError, match=f"{name} is the last step of what leads to immediate"):
        read_plan(tmp_path / "plan.toml")
    result, = run_plan(Plan("p", DAY, (bad,)), FRAMES)
    assert result.fit is None and "not offered" in result.refusal
    fine = replace(bad, unit="session", outcome="event", exposure=Term((name,)), adjust=())
    write_plan(Plan("p", DAY, (fine,)), tmp_path / "fine.toml")
    assert read_plan(tmp_path / "fine.toml").models == (fine,)


def test_a_study_refuses_it_too_and_an_intended_closure_of_a_vein() -> None:
    study = study_of_ten()
    with pytest.raises(StudyError, match="last step of what leads to immediate complete"):
        study.model(EMBOLIZATION_COMPLETE.id, unit="lesion", terms=["agent_per_nidus"])
    with pytest.raises(StudyError, match="neither a complication nor an exposure"):
        study.model(ANY.id, unit="injection", terms=["venous_occlusion_intended"])
    with pytest.raises(StudyError, match="venous_passage follows from rate_ml_min"):
        study.model(ANY.id, unit="session", terms=["rate_ml_min"], adjust=["venous_passage"])
    assert not_offered(["venous_occlusion_intended"], EMBOLIZATION_COMPLETE) == []


def test_agent_in_a_vein_that_was_to_be_closed_is_no_exposure() -> None:
    tables = small_tables()
    injections = tables["injections"].copy()
    first = injections["patient_id"].eq("A-0001") & injections["session_no"].eq(1)
    injections.loc[first, "venous_passage"] = "blocks outflow"

    def passages(intended: object) -> tuple[str, str]:
        rows = injections.assign(venous_occlusion_intended=pd.array(
            [intended if one else pd.NA for one in first], dtype="boolean"))
        units = units_of({**tables, "injections": rows})
        sessions = technique_frames(units)["session"].set_index("key")
        single = study_frames(units)["injection"].frame
        return (str(sessions.loc["A-0001/1/1", "venous_passage"]),
                str(single.loc["A-0001/1/1/1", "venous_passage"]))

    assert passages(False) == passages(pd.NA) == ("blocks outflow", "blocks outflow")
    assert passages(True) == ("none", "none")
