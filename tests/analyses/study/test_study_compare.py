"""Groups of a study compared: the differences of the rooms below, one test, or words why not."""

from __future__ import annotations

from pathlib import Path

import pytest
from study_of_ten import MANIFEST, study_of_ten

from analyses import Study, open_study
from analyses.measures.comparisons import comparison_estimates
from analyses.study.study_errors import StudyError, UnknownName
from registry.freeze.freeze_reading import Freeze
from synthetic_cohort import CohortSettings, make_cohort


@pytest.fixture(scope="module")
def study() -> Study:
    tables = make_cohort(150, 5, settings=CohortSettings.demo()).tables
    return open_study(Freeze(tables, dict(MANIFEST), Path("service")))


def test_the_differences_are_those_of_the_results(study: Study) -> None:
    found = study.compare("complication.any", unit="session", group="agent")
    wanted = [e for e in comparison_estimates(study.units)
              if e.id == "difference.complication.any" and set(e.group or {}) == {"agent"}]
    assert found.differences == tuple(wanted) and wanted
    assert len(found.frame()) == len(wanted)
    assert 0 < (found.p_value or 0) <= 1 and "exchange of whole patients" in found.sentence()
    assert "does not show an effect" in " ".join(repr(found).split())
    assert "<table" in found._repr_html_()


def test_the_level_is_that_of_the_differences(study: Study) -> None:
    usual = study.compare("complication.any", unit="session", group="ruptured").differences[0]
    wide = study.compare("complication.any", unit="session", group="ruptured",
                         level=0.99).differences[0]
    assert wide.level == 0.99 and wide.low < usual.low and wide.high > usual.high  # type: ignore[operator]


def test_an_added_column_can_be_the_group(study: Study) -> None:
    added = study.add("big_cast", study.sessions["agent_ml"] > 2, unit="session",
                      label="more than 2 mL of agent")
    found = added.compare("complication.any", unit="session", group="big_cast")
    counts = {e.group["big_cast"]: (e.events, e.n) for e in found.answer.estimates if e.group}
    one, = found.differences
    assert {(arm.events, arm.n) for arm in one.arms} == {counts["yes"], counts["no"]}


def test_groups_too_small_for_the_test_are_named(study: Study) -> None:
    found = study.compare("complication.any", unit="session", group="agent")
    share = found.answer.estimates[0].value or 0.0
    for one in found.answer.estimates[1:]:
        level = (one.group or {})["agent"]
        expected = (one.n or 0) * min(share, 1 - share)
        assert (level in found.not_tested) == ((one.n or 0) < 5 or expected < 1)


def test_below_the_floor_the_counts_stand_alone() -> None:
    found = study_of_ten().compare("complication.any", unit="session", group="ruptured")
    assert found.differences == () and found.p_value is None
    assert "6 with the event and 6 without" in found.why
    assert [(e.events, e.n) for e in found.answer.estimates] == [(6, 12), (6, 8), (0, 4)]
    assert "No test" in found.sentence() and "6/8" in found.sentence()
    assert list(found.frame().columns)[:2] == ["groups", "value"]


def test_where_the_gate_refuses_a_point_nothing_is_compared() -> None:
    found = study_of_ten().compare(
        "complication.permanent_deficit", unit="session", group="ruptured")
    assert found.differences == () and "only in units that had an event" in found.why


def test_a_wrong_call_gets_a_sentence() -> None:
    study = study_of_ten()
    with pytest.raises(UnknownName, match="The nearest: agent"):
        study.compare("complication.any", unit="session", group="agnt")
    with pytest.raises(StudyError, match="a comparison is given for shares"):
        study.compare("procedure.agent_ml", unit="session", group="agent")


def test_whoever_compares_operators_is_told_that_it_ranks_nobody() -> None:
    study = study_of_ten()
    found = study.compare("complication.any", unit="session", group="operator_id")
    assert "Operators are not ranked by this" in found.sentence()
    assert "Operators are not ranked by this" in " ".join(repr(found).split())
    asked = study.ask("complication.any", unit="session", by="operator_id")
    assert "Operators are not ranked by this" in asked.sentence()
    other = study.compare("complication.any", unit="session", group="ruptured")
    assert "ranked" not in other.sentence()


def test_small_groups_lend_each_other_strength(study: Study) -> None:
    found = study.pooled("complication.any", unit="session", group="period", important=0.05)
    counts = {e.group["period"]: (e.events, e.n) for e in found.answer.estimates if e.group}
    shares = found.pooled.groups
    assert found.why == "" and len(shares) >= 5
    assert all((e.events, e.n) == counts[e.group["period"]] for e in shares)
    raw = [e.events / e.n for e in shares]
    values = [e.value for e in shares]
    assert max(values) - min(values) < max(raw) - min(raw)  # drawn towards each other
    assert all(e.low < e.value < e.high for e in shares)
    assert len(found.pooled.exceeding) == len(found.pooled.differences) == len(shares) - 1
    assert "more than 5 points" in found.sentence()
    assert "partial" in " ".join(repr(found).split()) and "<table" in found._repr_html_()
    assert len(found.frame()) == len(found.pooled.estimates)


def test_what_cannot_be_pooled_says_so_beside_its_counts(study: Study) -> None:
    found = study.pooled("complication.any", unit="session", group="ruptured")
    assert not found.pooled.groups and "at least 5 are wanted" in found.sentence()
    with pytest.raises(StudyError, match="0.05 for 5 percentage points"):
        study.pooled("complication.any", unit="session", group="period", important=5)
