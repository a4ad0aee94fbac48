"""Models and charts of a study of a fictional service: the same as those of the rooms below."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from study_of_ten import MANIFEST, study_of_ten

from analyses import Study, fit, open_study
from analyses.monitoring.procedure_frame import procedure_frame
from analyses.monitoring.service import quality_analysis
from analyses.study.study_errors import StudyError
from registry.freeze.freeze_reading import Freeze
from registry.freeze.worked_out import worked_out_tables
from synthetic_cohort import CohortSettings, make_cohort

PATIENTS, SEED = 150, 5


@pytest.fixture(scope="module")
def study() -> Study:
    tables = make_cohort(PATIENTS, SEED, settings=CohortSettings.demo()).tables
    entries = worked_out_tables()["entries"].empty()
    return open_study(Freeze({"entries": entries, **tables}, dict(MANIFEST), Path("service")))


def test_a_model_is_the_fit_of_the_frame_clustered_on_the_patient(study: Study) -> None:
    found = study.model("complication.any", unit="session", terms=["agent_ml"],
                        adjust=["age_at_treatment", "sm_grade"])
    events = study.ask("complication.any", unit="session").estimates[0].rows().set_index("key")
    data = study.sessions.join(events["event"])
    data["sm_grade"] = data["sm_grade"].astype("Float64")
    same = fit(data, "event", ["agent_ml", "age_at_treatment", "sm_grade"], cluster="patient_id")
    pd.testing.assert_frame_equal(found.table, same.table)
    assert found.events == same.events == int(events["event"].sum())
    assert found.sentence().startswith("Agent volume (per mL): ")
    assert "any embolization complication, odds ratio" in found.sentence()
    assert f"{same.events} events in {same.n} sessions of {same.clusters} patients" in (
        found.sentence())
    assert "Age at treatment" not in found.sentence(), "what is allowed for is not a finding"
    assert "adjusted for" in repr(found) and "<table" in found._repr_html_()


def test_the_level_of_a_model_is_that_of_its_intervals(study: Study) -> None:
    narrow = study.model("complication.any", unit="session", terms=["agent_ml"], level=0.8)
    usual = study.model("complication.any", unit="session", terms=["agent_ml"])
    assert narrow.estimates[0].level == 0.8
    assert narrow.table.loc["agent_ml", "high"] < usual.table.loc["agent_ml", "high"]


def test_a_step_is_said_with_its_unit(study: Study) -> None:
    found = study.model("complication.any", unit="session",
                        terms=[{"column": "rate_ml_min", "per": 0.1}])
    assert found.sentence().startswith("Mean rate (per 0.1 mL/min): ")


def test_sessions_without_a_liquid_are_not_called_a_gap_in_the_record(study: Study) -> None:
    found = study.model("complication.any", unit="session", terms=["rate_ml_min"])
    none = int(study.sessions["agent"].eq("no liquid").sum())
    assert none and found.not_asked == {"rate_ml_min": none}
    assert f"Mean rate has no meaning in {none} sessions" in found.warnings[-1]


def test_an_added_column_can_be_a_term(study: Study) -> None:
    big = study.add("big_cast", study.sessions["agent_ml"] > 2, unit="session",
                    label="more than 2 mL of agent")
    found = big.model("complication.any", unit="session", terms=["big_cast"])
    assert found.sentence().startswith("more than 2 mL of agent: ")


def test_a_term_that_does_not_vary_is_refused_in_words(study: Study) -> None:
    same = study.add("same", [1] * len(study.sessions), unit="session", label="always one")
    with pytest.raises(StudyError, match="No model of complication.any"):
        same.model("complication.any", unit="session", terms=["same"])


def test_the_chart_over_time_is_that_of_the_quality_report(study: Study) -> None:
    found = study.over_time("complication.any", unit="session")
    sessions = procedure_frame(study.units)
    same = quality_analysis(sessions[sessions["complication"].notna()])
    assert found.chart is not None and same.chart is not None
    assert found.choice.kind == same.choice.kind
    np.testing.assert_array_equal(found.table["value"], same.chart.table["value"])
    np.testing.assert_array_equal(found.table["upper"], same.chart.table["upper"])
    assert "No signal is not evidence of safety" in found.sentence() or "signals at" in (
        found.sentence())
    assert found.figure().axes and "[Figure]" in repr(found)


def test_injections_have_no_chart_while_events_name_none_of_them(study: Study) -> None:
    with pytest.raises(StudyError, match="No chart of complication.any: the outcome is unknown"):
        study.over_time("complication.any", unit="injection")


@pytest.mark.parametrize("unit", ["patient", "lesion"])
def test_every_unit_with_a_day_has_a_chart_in_its_own_words(study: Study, unit: str) -> None:
    found = study.over_time("complication.any", unit=unit)
    assert f"{unit}s a month" in found.sentence()
    assert len(found.rows) == study.ask("complication.any", unit=unit).estimates[0].n


def test_a_measure_without_a_point_has_no_chart() -> None:
    with pytest.raises(StudyError, match="No chart of complication.permanent_deficit: the outcome"):
        study_of_ten().over_time("complication.permanent_deficit", unit="session")


def test_the_lines_of_the_readme_run(study: Study) -> None:
    section = Path("README.md").read_text(encoding="utf-8").split("## In a notebook")[1]
    code = section.split("```python\n")[1].split("```")[0]
    assert code.count("open_study(\"freeze-2026\")") == 1 and code.count("late.report(") == 1
    shorter = "\n".join(line for line in code.splitlines() if not line.startswith(
        ("from analyses", "late.report(")))
    names = {"open_study": lambda path: study}
    exec(shorter, names)
    assert names["late"].exclusions[0].why == "new angiography suite"  # type: ignore[attr-defined]
