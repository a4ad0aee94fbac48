"""Technique variables: what an injection, a session and an operator's series come out at."""

from __future__ import annotations

import pandas as pd
import pytest

from registry.clinical import technique

TYPES = {
    "patient_id": "string", "lesion_no": "Int64", "session_no": "Int64", "injection_no": "Int64",
    "access": "string", "pedicle_no": "Int64", "agent": "string", "agent_ml": "float64",
    "injection_min": "float64", "pauses_s": "float64", "longest_pause_s": "float64",
    "reflux_mm": "float64", "reflux_limit_mm": "float64", "venous_passage": "string",
}


def injections(*rows: dict) -> pd.DataFrame:
    base = {
        "patient_id": "AB-001", "lesion_no": 1, "session_no": 1, "access": "artery",
        "agent": "EVOH 6 %",
    }
    filled = [{**base, "injection_no": i, **row} for i, row in enumerate(rows, start=1)]
    return pd.DataFrame(filled, columns=list(TYPES)).astype(TYPES)


def sessions(*rows: dict) -> pd.DataFrame:
    base = {
        "patient_id": "AB-001", "lesion_no": 1, "session_no": 1, "session_date": "2024-01-01",
        "procedure_no": None, "operator_id": "OP01", "agent_mixing_min": None,
    }
    table = pd.DataFrame([{**base, **row} for row in rows])
    table["session_date"] = pd.to_datetime(table["session_date"])
    return table.astype({
        "patient_id": "string", "lesion_no": "Int64", "session_no": "Int64",
        "procedure_no": "Int64", "operator_id": "string", "agent_mixing_min": "float64",
    })


LESIONS = pd.DataFrame({
    "patient_id": ["AB-001"], "lesion_no": [1], "nidus_length_mm": [30.0],
    "nidus_width_mm": [20.0], "nidus_height_mm": [20.0],
}).astype({"patient_id": "string", "lesion_no": "Int64"})


def one_session(*rows: dict) -> pd.Series:
    table = technique.session_technique(sessions({}), injections(*rows), LESIONS)
    return table.iloc[0]


def test_push_time_and_rate():
    # Common practice, no source: 0.40 mL pushed in 2.5 min is 0.16 mL/min.
    assert technique.push_min(3, 30) == 2.5
    assert technique.rate_ml_min(0.40, technique.push_min(3, 30)) == pytest.approx(0.16)


def test_push_time_of_zero_or_less_is_blank():
    table = injections(
        {"injection_min": 3, "pauses_s": 180}, {"injection_min": 3, "pauses_s": 200},
        {"injection_min": 3, "pauses_s": 179}, {"injection_min": 3}, {"pauses_s": 20},
    )
    done = technique.injection_technique(table, sessions({}))
    assert done["push_min"].isna().tolist() == [True, True, False, True, True]


def test_rate_is_blank_where_the_pauses_are_not_recorded():
    table = injections(
        {"agent_ml": 0.4, "injection_min": 2.5}, {"agent_ml": 0.4, "injection_min": 2.5,
                                                  "pauses_s": 0},
    )
    rates = technique.injection_technique(table, sessions({}))["rate_ml_min"]
    assert pd.isna(rates[0]) and rates[1] == pytest.approx(0.16)


def test_which_agents_are_liquid_and_which_are_copolymers():
    agents = ["EVOH 6 %", "EVOH 8 %", "other copolymer", "n-butyl cyanoacrylate", "coil",
              "particles"]
    done = technique.injection_technique(
        injections(*({"agent": agent} for agent in agents)), sessions({}),
    )
    assert done["liquid"].tolist() == [True] * 4 + [False] * 2
    assert done["liquid_copolymer"].tolist() == [True] * 3 + [False] * 3


def test_reflux_past_its_limit():
    assert technique.reflux_past_limit(11, 10) is True
    assert technique.reflux_past_limit(10, 10) is False
    assert technique.reflux_past_limit(0, None) is False
    assert technique.reflux_past_limit(5, None) is pd.NA
    assert technique.reflux_past_limit(None, 10) is pd.NA


def test_no_pauses_means_a_longest_pause_of_zero():
    done = technique.injection_technique(
        injections({"pauses_s": 0}, {"pauses_s": 90}, {"pauses_s": 90, "longest_pause_s": 60}),
        sessions({}),
    )
    longest = done["longest_pause_s"]
    assert longest[0] == 0 and pd.isna(longest[1]) and longest[2] == 60


@pytest.mark.parametrize(("agents", "group"), [
    (["EVOH 6 %"], "EVOH only"),
    (["EVOH 6 %", "EVOH 8 %", "coil"], "EVOH only"),
    (["other copolymer", "particles"], "other copolymer only"),
    (["n-butyl cyanoacrylate"] * 2, "cyanoacrylate only"),
    (["EVOH 8 %", "n-butyl cyanoacrylate"], "several liquids"),
    (["EVOH 6 %", "other copolymer"], "several liquids"),
    (["coil", "particles"], "no liquid"),
    ([], "no liquid"),
])
def test_agent_group_of_a_session(agents, group):
    assert one_session(*({"agent": agent} for agent in agents))["agent_group"] == group


def test_a_pedicle_without_a_number_is_one_of_its_own():
    done = one_session(
        {"pedicle_no": 1}, {"pedicle_no": 1}, {"pedicle_no": 2}, {}, {},
        {"access": "vein"},
    )
    assert done["pedicles_treated"] == 4
    assert done["injections"] == 6


def test_session_totals():
    done = one_session(
        {"agent_ml": 0.4, "injection_min": 3, "pauses_s": 30, "longest_pause_s": 30},
        {"agent_ml": 1.0, "injection_min": 5, "pauses_s": 60, "longest_pause_s": 45},
        {"agent": "coil"},
    )
    assert done["agent_ml"] == pytest.approx(1.4)
    assert done["push_min"] == pytest.approx(6.5)
    assert done["rate_ml_min"] == pytest.approx(1.4 / 6.5)
    assert done["fastest_rate_ml_min"] == pytest.approx(0.25)
    assert done["longest_pause_s"] == 45
    assert done["agent_per_nidus"] == pytest.approx(1.4 / 6.283185307)


def test_a_volume_not_recorded_leaves_the_total_blank():
    done = one_session({"agent_ml": 0.4}, {})
    assert pd.isna(done["agent_ml"]) and pd.isna(done["agent_per_nidus"])


def test_a_session_without_an_injection_counts_and_used_no_agent():
    done = one_session()
    assert (done["injections"], done["pedicles_treated"], done["agent_ml"]) == (0, 0, 0.0)
    for name in ("rate_ml_min", "longest_pause_s", "reflux_past_limit", "venous_passage"):
        assert pd.isna(done[name])


@pytest.mark.parametrize(("seen", "worst"), [
    (["none", "none"], "none"), (["none", "part"], "part"), (["part", "blocks outflow"],
                                                             "blocks outflow"),
    ([None, "blocks outflow"], "blocks outflow"), ([None, "part"], None), ([None], None),
])
def test_worst_venous_passage(seen, worst):
    found = one_session(*({"venous_passage": value} for value in seen))["venous_passage"]
    assert (pd.isna(found) and worst is None) or found == worst


@pytest.mark.parametrize(("reflux", "past"), [
    ([(5, 10), (12, 10)], True), ([(None, 10), (12, 10)], True), ([(5, 10), (6, 10)], False),
    ([(5, 10), (None, 10)], None),
])
def test_reflux_past_the_limit_in_any_injection(reflux, past):
    rows = [{"reflux_mm": mm, "reflux_limit_mm": limit} for mm, limit in reflux]
    found = one_session(*rows)["reflux_past_limit"]
    assert (pd.isna(found) and past is None) or found == past


def test_sessions_keep_their_order_and_types():
    table = sessions({"session_no": 2}, {"session_no": 1}).set_axis([9, 4])
    done = technique.session_technique(
        table, injections({"agent_ml": 1}, {"session_no": 2, "agent_ml": 2}), LESIONS,
    )
    assert done.index.tolist() == [9, 4]
    assert done["agent_ml"].tolist() == [2, 1]
    assert {name: str(done[name].dtype) for name in done.columns[3:]} == {
        "injections": "Int64", "pedicles_treated": "Int64", "agent_group": "string",
        "agent_ml": "float64", "push_min": "float64", "rate_ml_min": "float64",
        "fastest_rate_ml_min": "float64", "longest_pause_s": "float64",
        "reflux_past_limit": "boolean", "venous_passage": "string",
        "agent_per_nidus": "float64",
    }


def test_no_sessions_at_all():
    empty = technique.session_technique(sessions({}).iloc[:0], injections(), LESIONS)
    assert empty.empty


def test_case_number_counts_the_operators_earlier_procedures():
    table = sessions(
        {"session_no": 2, "session_date": "2024-03-01"},
        {"session_no": 1, "session_date": "2024-01-01"},
        {"patient_id": "AB-002", "session_date": "2024-02-01"},
        {"patient_id": "AB-003", "session_date": "2024-02-15", "operator_id": "OP02"},
        {"patient_id": "AB-004", "session_date": "2024-02-20", "operator_id": None},
    ).set_axis([10, 11, 12, 13, 14])
    numbers = technique.case_numbers(table)
    assert numbers.index.equals(table.index)
    assert numbers.dtype == "Int64"
    assert numbers.drop(14).tolist() == [2, 0, 1, 0]
    assert pd.isna(numbers[14])


def test_two_lesions_in_one_procedure_share_a_case_number():
    table = sessions(
        {"procedure_no": 1}, {"lesion_no": 2, "procedure_no": 1},
        {"patient_id": "AB-002", "procedure_no": 1, "session_date": "2024-01-02"},
        {"session_no": 2, "session_date": "2024-01-03"},
    )
    assert technique.procedure_keys(table).nunique() == 3
    assert technique.case_numbers(table).tolist() == [0, 0, 1, 2]


def test_procedures_of_one_day_stand_in_a_fixed_order():
    table = sessions({"patient_id": "AB-002"}, {"patient_id": "AB-001"},
                     {"patient_id": "AB-001", "lesion_no": 2})
    assert technique.case_numbers(table).tolist() == [2, 0, 1]
    shuffled = technique.case_numbers(table.iloc[::-1])
    assert shuffled.sort_index().tolist() == [2, 0, 1]


def test_technique_knows_the_words_the_registry_records():
    from registry.schema.injections import Injections

    recorded = Injections.spec.by_name
    assert tuple(recorded["venous_passage"].values) == technique.VENOUS_PASSAGE
    assert set(technique.LIQUID_AGENTS) < set(recorded["agent"].values)


def test_empty_registry_tables_give_empty_technique():
    from registry.clinical import practice_limits
    from registry.schema.injections import Injections
    from registry.schema.lesions import Lesions
    from registry.schema.sessions import Sessions

    done, planned, seen = (m.spec.empty() for m in (Injections, Sessions, Lesions))
    assert technique.injection_technique(done, planned).empty
    assert technique.session_technique(planned, done, seen).empty
    assert technique.case_numbers(planned).empty
    assert practice_limits.injection_limits(done, planned).empty
