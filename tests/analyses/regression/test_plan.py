"""The plan file: what is declared is what is run, and the rest is called exploratory."""

import datetime
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from clustered_data import Cell, as_frame, draw

from analyses.models.model_plan import Plan, PlannedModel, read_plan, write_plan
from analyses.models.planned_run import exposure_settings, run_plan
from analyses.models.technique_declared import all_terms
from analyses.models.technique_models import run_technique_models
from analyses.models.technique_plan import default_plan
from analyses.statistics.regression.terms import Term

DAY = datetime.date(2026, 1, 5)


def sessions(seed=31):
    rng = np.random.default_rng(seed)
    cell = Cell(160, 0.1, 2.0, 0.2, "continuous session")
    data = as_frame(*draw(cell, rng))
    n = len(data)
    return data.assign(
        pedicles=1 + rng.poisson(1.0, n), agent_ml=np.exp(1 + 0.5 * data["exposure"]),
        agent_per_nidus=rng.gamma(3, 0.1, n), rate_ml_min=rng.gamma(4, 0.04, n),
        longest_pause_s=rng.integers(10, 150, n).astype(float),
        formulation=rng.choice(["EVOH 6 %", "EVOH 8 %"], n),
        reflux_past_limit=rng.random(n) < 0.15,
        venous_passage=rng.choice(["none", "part"], n, p=[0.8, 0.2])).drop(columns="exposure")


def test_the_default_plan_asks_one_technique_variable_at_a_time():
    plan = default_plan(DAY)
    assert len({m.name for m in plan.models}) == len(plan.models) == 38
    for model in plan.models:
        assert [t.name for t in model.adjust] == ["sm_grade", "ruptured", "case_number"]
        assert model.adjust[0].form == "linear" and all(model.why)
    assert {m.unit for m in plan.models} == {"session", "lesion", "patient", "resection"}


def test_a_plan_file_comes_back_as_it_was_written(tmp_path):
    plan = default_plan(DAY)
    extra = PlannedModel("curve", "session", "event", Term(("agent_ml",), "spline", 4),
                         (Term(("formulation",), "factor", reference="EVOH 8 %"),
                          Term(("sm_grade", "ruptured"), "interaction")), ("why “so”", ""),
                         missing="imputation")
    split = replace(plan.models[0], name="split", subgroups=("ruptured",))
    plan = replace(plan, models=(*plan.models, extra, split))
    write_plan(plan, tmp_path / "plan.toml")
    again = read_plan(tmp_path / "plan.toml")
    assert again == plan and again.hash == plan.hash
    assert DAY.isoformat() in plan.heading and plan.hash[:12] in plan.heading


def test_a_curve_has_no_subgroups(tmp_path):
    curve = PlannedModel("curve", "session", "event", Term(("agent_ml",), "spline", 3),
                         subgroups=("ruptured",))
    write_plan(Plan("p", DAY, (curve,)), tmp_path / "plan.toml")
    with pytest.raises(ValueError, match="subgroups need an exposure that is linear or a factor"):
        read_plan(tmp_path / "plan.toml")


def test_the_default_plan_says_what_is_adjusted_for_and_why():
    models = default_plan(DAY).models
    assert len(models) == 38
    rate = next(m for m in models if m.name == "complication by rate_ml_min")
    assert (rate.exposure.name, rate.exposure.per) == ("rate_ml_min", 0.1)
    assert rate.adjust[0].name == "sm_grade" and rate.why[0].startswith("graver lesions")


def test_the_hash_follows_the_content_not_the_layout(tmp_path):
    plan = default_plan(DAY)
    write_plan(plan, tmp_path / "plan.toml")
    text = (tmp_path / "plan.toml").read_text(encoding="utf-8")
    (tmp_path / "plan.toml").write_text("# a remark\n\n" + text, encoding="utf-8")
    assert read_plan(tmp_path / "plan.toml").hash == plan.hash
    (tmp_path / "plan.toml").write_text(text.replace("level = 0.95", "level = 0.9"), "utf-8")
    assert read_plan(tmp_path / "plan.toml").hash != plan.hash


def test_everything_wrong_in_a_plan_file_is_told_at_once(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text('date = "soon"\n[[model]]\nname = "a"\nunit = "session"\n'
                    'estimator = "best"\nmissing = "guess"\n'
                    'exposure = { column = "x", from = 1 }\n',
                    encoding="utf-8")
    with pytest.raises(ValueError) as told:
        read_plan(path)
    for words in ("plan.toml", "wanted a date", "outcome is missing", "'best'", "'guess'",
                  "found from"):
        assert words in str(told.value)
    path.write_text("date = = 1", encoding="utf-8")
    with pytest.raises(ValueError, match="cannot be read as a plan file"):
        read_plan(path)


def test_a_later_step_of_the_chain_is_never_adjusted_for(tmp_path):
    bad = PlannedModel("rate", "session", "event", Term(("rate_ml_min",)),
                       (Term(("venous_passage",)),), ("",))
    write_plan(Plan("p", DAY, (bad,)), tmp_path / "plan.toml")
    with pytest.raises(ValueError, match="venous_passage comes after rate_ml_min"):
        read_plan(tmp_path / "plan.toml")
    fine = replace(bad, exposure=Term(("venous_passage",)), adjust=(Term(("rate_ml_min",)),))
    write_plan(Plan("p", DAY, (fine,)), tmp_path / "plan.toml")
    assert read_plan(tmp_path / "plan.toml").models[0].exposure.name == "venous_passage"


def test_every_declared_model_is_run_and_none_is_hidden():
    plan = default_plan(DAY)
    data = sessions().drop(columns="agent_per_nidus")
    results = run_plan(plan, {"session": data})
    assert [r.model.exposure.name for r in results] == [
        m.exposure.name for m in plan.models if m.unit == "session"]
    refused = [r for r in results if r.fit is None]
    assert [r.model.exposure.name for r in refused] == ["agent_per_nidus"]
    assert "agent_per_nidus" in refused[0].sentence and "not fitted, because" in refused[0].sentence
    for result in results:
        assert result.status == "planned"
        assert "caused" not in result.sentence and "predicts" not in result.sentence
        if result.fit:
            assert "events in" in result.sentence and "patients" in result.sentence
            assert len(result.risks.risks) >= 2


def test_technique_models_without_a_plan_file_are_exploratory():
    data = sessions()
    assert {"patient_id", "event", *all_terms()} <= set(data.columns)
    found = run_technique_models({"session": data})
    assert {r.status for r in found.results} == {"exploratory"} and len(found.results) == 8
    assert any("confounding by indication" in c for c in found.cautions)
    planned = run_technique_models({"session": data}, plan=default_plan(DAY),
                                   data_seen=datetime.date(2026, 6, 1))
    assert {r.status for r in planned.results} == {"planned"} and "hash" in planned.heading
    late = run_technique_models({"session": data}, plan=default_plan(DAY),
                                data_seen=datetime.date(2025, 6, 1))
    assert {r.status for r in late.results} == {"exploratory"}
    assert any("after the data were frozen" in c for c in late.cautions)


def test_resections_are_log_linear_and_clustered():
    data = sessions()
    rng = np.random.default_rng(2)
    data["blood_loss_ml"] = np.exp(6 + 0.3 * data["pedicles"] + rng.normal(0, 0.5, len(data)))
    found = run_technique_models({"resection": data})
    by_name = {r.model.name: r for r in found.results}
    one = by_name["blood loss by pedicles"]
    assert one.fit.estimator == "log-linear" and one.ratios[0].kind == "ratio of geometric means"
    assert one.ratios[0].low < np.exp(0.3) < one.ratios[0].high
    assert by_name["operation time by pedicles"].fit is None


def test_models_run_side_by_side_give_the_same_numbers():
    from joblib import parallel_config

    plan = Plan("p", DAY, default_plan(DAY).models[:3])
    alone = run_plan(plan, {"session": sessions()})
    with parallel_config(backend="threading", n_jobs=2):
        together = run_plan(plan, {"session": sessions()})
    assert [r.model.name for r in together] == [r.model.name for r in alone]
    assert [[e.as_record() for e in r.ratios] for r in together] == [
        [e.as_record() for e in r.ratios] for r in alone]


def test_planned_subgroups_are_interactions():
    model = replace(default_plan(DAY).models[1], subgroups=("ruptured",))
    result = run_plan(Plan("p", DAY, (model,)), {"session": sessions()})[0]
    assert "agent_ml × ruptured" in result.subgroups["ruptured"].table.index


def test_a_subgroup_line_is_the_sum_of_its_coefficients():
    from analyses.models.subgroups import subgroup_lines

    model = replace(default_plan(DAY).models[1], subgroups=("late",))
    data = sessions().assign(late=lambda d: d["case_number"] > 0)
    result = run_plan(Plan("p", DAY, (model,)), {"session": data})[0]
    line, = subgroup_lines(result.model, result.subgroups)
    coefficients = result.subgroups["late"].table["estimate"]
    no, yes = line.within
    assert np.log(no.value) == pytest.approx(coefficients["agent_ml"])
    assert np.log(yes.value) == pytest.approx(
        coefficients["agent_ml"] + coefficients["agent_ml × late"])
    assert yes.value / no.value == pytest.approx(line.between.value)
    assert line.between.kind == "ratio of odds ratios" and line.between.low < line.between.high
    # In the rows without, the ratio is that of the model's own line, to its Wald interval.
    own = result.subgroups["late"].table.loc["agent_ml"]
    assert np.log(no.low) == pytest.approx(own["low"])


def test_a_subgroup_without_enough_events_says_so():
    model = replace(default_plan(DAY).models[1], subgroups=("none_of_them",))
    data = sessions().assign(none_of_them=False)
    result = run_plan(Plan("p", DAY, (model,)), {"session": data})[0]
    assert "same in every row" in result.subgroups["none_of_them"]


def test_a_planned_curve_is_read_between_quartiles():
    curve = PlannedModel("curve", "session", "event", Term(("agent_ml",), "spline", 3),
                         missing="imputation")
    data = sessions()
    result = run_plan(Plan("p", DAY, (curve,)), {"session": data})[0]
    ratio, = result.ratios
    low, high = np.quantile(data["agent_ml"], [0.25, 0.75], method="nearest")
    risk = result.fit.predict(data.iloc[:2].assign(agent_ml=[low, high]))
    odds = risk / (1 - risk)
    assert ratio.value == pytest.approx(odds[1] / odds[0])
    assert ratio.low < ratio.value < ratio.high
    assert "upper against lower quartile of a curve" in result.sentence
    data.loc[data.index[::7], "agent_ml"] = np.nan
    filled = run_plan(Plan("p", DAY, (curve,)), {"session": data})[0]
    assert filled.imputed is not None and "Rubin" in filled.ratios[0].method
    assert filled.ratios[0].value == pytest.approx(ratio.value, rel=0.25)
    assert filled.complete_ratios[0].n < filled.ratios[0].n == len(data)


def test_a_declared_model_of_an_unknown_unit_is_told():
    model = replace(default_plan(DAY).models[0], unit="injection")
    found = run_technique_models({"session": sessions()}, plan=Plan("p", DAY, (model,)),
                                 data_seen=datetime.date(2026, 6, 1))
    assert "injection" in found.results[0].refusal and found.results[0].fit is None
    assert any("could not be fitted" in said for said in found.cautions)


@pytest.mark.parametrize("estimator", ["auto", "firth", "logistic", "gee", "penalised-gee",
                                       "poisson", "exact", "log-linear"])
@pytest.mark.parametrize("exposure", [
    Term(("agent_ml",), "linear"), Term(("agent_ml",), "spline", 3),
    Term(("venous_passage",), "factor", reference="none"), Term(("reflux_past_limit",))])
def test_every_estimator_a_plan_may_name_is_carried_through_to_its_numbers(estimator, exposure):
    from analyses.documents.series.technique_sections import outcome_section
    from analyses.models.model_estimates import model_numbers

    data = sessions()
    data["loss"] = np.exp(0.2 * data["agent_ml"] + np.random.default_rng(1).normal(size=len(data)))
    asked = exposure.columns[0]
    data[asked] = data[asked].astype(object).mask(np.arange(len(data)) % 6 == 0).infer_objects()
    outcome = "loss" if estimator == "log-linear" else "event"
    model = PlannedModel("asked", "session", outcome, exposure, (Term(("sm_grade",)),), ("why",),
                         estimator=estimator, missing="imputation", subgroups=("ruptured",)
                         if exposure.form != "spline" else ())
    found = run_technique_models({"session": data}, plan=Plan("p", DAY, (model,)),
                                 data_seen=datetime.date(2026, 6, 1))
    result = found.results[0]
    assert result.fit is not None and result.sentence
    numbers = model_numbers(found)
    assert all(np.isfinite(e.value) for e in numbers.estimates if e.value is not None)
    assert outcome_section(found, outcome, "session").blocks
    assert result.answered == (estimator != "exact")


def test_rows_in_which_a_variable_has_no_meaning_are_not_gaps():
    from analyses.models.applies import applies_to

    data = sessions()
    no_liquid = np.arange(len(data)) % 4 == 0
    data.loc[no_liquid, "rate_ml_min"] = np.nan
    data[applies_to("rate_ml_min")] = ~no_liquid
    data.loc[data.index[1], "rate_ml_min"] = np.nan
    model = next(m for m in default_plan(DAY).models if m.name == "complication by rate_ml_min")
    result = run_plan(Plan("p", DAY, (model,)), {"session": data})[0]
    assert dict(result.not_asked) == {"rate_ml_min": int(no_liquid.sum())}
    assert result.imputed.imputation.gaps.to_numpy().sum() == 1
    assert result.ratios[0].n == int((~no_liquid).sum())
    assert result.fit.n == result.ratios[0].n - 1


def test_pooled_risks_lie_among_those_of_the_completed_sets():
    from analyses.statistics.regression.standardisation import standardised_risks

    data = sessions()
    data.loc[data.index[::3], "rate_ml_min"] = np.nan
    model = next(m for m in default_plan(DAY).models if m.name == "complication by rate_ml_min")
    result = run_plan(Plan("p", DAY, (model,)), {"session": data})[0]
    settings = [{"rate_ml_min": float((e.group or {})["rate_ml_min"])} for e in result.risks.risks]
    each = [standardised_risks(one, settings, unit="session") for one in result.imputed.models]
    for place, pooled in enumerate(result.risks.risks):
        values = [one.risks[place].value for one in each]
        assert min(values) < pooled.value < max(values)
        widths = [one.risks[place].high - one.risks[place].low for one in each]
        assert pooled.high - pooled.low > min(widths)


def test_imputation_is_done_where_the_plan_says_so():
    data = sessions()
    data.loc[data.index[::5], "agent_ml"] = np.nan
    model = replace(default_plan(DAY).models[1], missing="imputation")
    result = run_plan(Plan("p", DAY, (model,)), {"session": data})[0]
    assert result.imputed is not None and "imputations" in result.ratios[0].method
    assert result.ratios[0].n == len(data) > result.fit.n


def test_settings_to_compare_follow_the_kind_of_variable():
    assert exposure_settings(pd.Series([True, False]), Term(("a",))) == [{"a": False}, {"a": True}]
    assert exposure_settings(pd.Series([1.0, 2, 3, 4, 5]), Term(("a",))) == [{"a": 2.0}, {"a": 4.0}]
    levels = exposure_settings(pd.Series(["y", "x", "z"]), Term(("a",), "factor", reference="y"))
    assert [one["a"] for one in levels] == ["y", "x", "z"]
