"""Practice limits: common practice, no source, unless a line says otherwise."""

from __future__ import annotations

import pandas as pd
import pytest

from registry.clinical import practice_limits as limits_room
from registry.clinical.technique import push_min, rate_ml_min

LIMITS = limits_room.default_limits()


def test_the_rate_of_outside_checks():
    # Common practice, no source: 0.40 mL pushed in 2.5 min is 0.16 mL/min, inside.
    assert limits_room.rate_within(rate_ml_min(0.40, push_min(3, 30)), LIMITS) is True
    assert limits_room.rate_within(0.31, LIMITS) is False
    assert limits_room.rate_within(0.30, LIMITS) is True
    assert limits_room.rate_within(0.1 + 0.2, LIMITS) is True  # 0.30000000000000004
    assert limits_room.rate_within(0.3001, LIMITS) is False
    assert limits_room.rate_within(None, LIMITS) is pd.NA


@pytest.mark.parametrize(("longest", "stops", "within"), [
    (121, 1, False), (121, None, False), (120, 1, True), (120, None, True), (30, 2, True),
    (29, 2, False), (29, 0, True), (0, 0, True), (0, 3, False),
])
def test_pauses(longest, stops, within):
    # Common practice, no source: 30 s to 2 min, never above; 121 s is outside.
    assert limits_room.pause_within(longest, stops, LIMITS) is within


def test_a_short_pause_of_an_unknown_kind_is_not_judged():
    assert limits_room.pause_within(20, None, LIMITS) is pd.NA
    assert limits_room.pause_within(None, 1, LIMITS) is pd.NA


def test_mixing_and_dead_space():
    assert limits_room.mixing_within(20, LIMITS) is True
    assert limits_room.mixing_within(19.9, LIMITS) is False
    assert limits_room.mixing_within(None, LIMITS) is pd.NA
    assert limits_room.dead_space_within(0.23, 0.23) is True
    assert limits_room.dead_space_within(0.22, 0.23) is False
    assert limits_room.dead_space_within(None, 0.23) is pd.NA


@pytest.mark.parametrize(("reflux", "limit", "within"), [
    (10, 10, True), (11, 10, False), (0, 10, True), (5, None, False), (0, None, False),
    (None, 10, pd.NA), (None, None, pd.NA),
])
def test_reflux_limit_recorded_and_not_passed(reflux, limit, within):
    assert limits_room.reflux_within(reflux, limit) is within


@pytest.mark.parametrize(("lost", "resistance", "halted", "within"), [
    (True, False, True, True), (False, True, False, False), (True, None, False, False),
    (False, False, False, True), (False, False, None, True), (True, False, None, pd.NA),
    (None, None, True, True), (False, None, False, pd.NA), (None, None, None, pd.NA),
])
def test_delivery_halted_when_view_lost_or_resistance_felt(lost, resistance, halted, within):
    assert limits_room.halted_within(lost, resistance, halted) is within


@pytest.fixture
def tables():
    key = {"patient_id": "string", "lesion_no": "Int64", "session_no": "Int64"}
    sessions = pd.DataFrame({
        "patient_id": "AB-001", "lesion_no": 1, "session_no": [1, 2, 3],
        "agent_mixing_min": [20.0, None, 30.0],
    }).astype(key)
    good = {
        "dmso_ml": 0.23, "dead_space_ml": 0.23, "agent_ml": 0.4, "injection_min": 3,
        "pauses_s": 30, "longest_pause_s": 30, "reflux_stops": 1, "reflux_mm": 5,
        "reflux_limit_mm": 10, "view_lost": False, "resistance_felt": False,
        "delivery_halted": False, "agent": "EVOH 6 %",
    }
    rows = [
        {**good, "session_no": 1, "injection_no": 1},
        {**good, "session_no": 1, "injection_no": 2, "agent": "coil"},
        {**good, "session_no": 1, "injection_no": 3, "agent_ml": 0.775, "pauses_s": None},
        {**good, "session_no": 2, "injection_no": 1, "agent_ml": 0.775, "view_lost": True},
        {**good, "session_no": 2, "injection_no": 2, "agent": "other copolymer"},
        {**good, "session_no": 3, "injection_no": 1, "agent": "n-butyl cyanoacrylate"},
    ]
    table = pd.DataFrame(rows).assign(patient_id="AB-001", lesion_no=1)
    yes_no = dict.fromkeys(("view_lost", "resistance_felt", "delivery_halted"), "boolean")
    return table.astype({**key, **yes_no, "injection_no": "Int64"}), sessions


def test_only_liquid_copolymers_are_judged(tables):
    judged = limits_room.injection_limits(*tables)
    assert judged.index.tolist() == [0, 2, 3, 4]
    for name in (*limits_room.LIMIT_COLUMNS, "halt_needed"):
        assert judged[name].dtype == "boolean"


def test_injections_against_the_limits(tables):
    judged = limits_room.injection_limits(*tables)
    assert judged.loc[0, list(limits_room.LIMIT_COLUMNS)].tolist() == [True] * 6
    assert pd.isna(judged.loc[2, "rate"])  # pauses not recorded
    assert not judged.loc[3, "rate"]  # 0.775/2.5 is 0.31
    assert not judged.loc[3, "halted"] and judged.loc[3, "halt_needed"]
    assert pd.isna(judged.loc[3, "mixing"])


def own_file(tmp_path, text):
    path = tmp_path / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def packaged_text():
    from importlib import resources

    return resources.files("registry.clinical").joinpath("practice_limits.toml").read_text("utf-8")


def test_a_service_replaces_the_limits_with_its_own(tmp_path, tables):
    text = packaged_text().replace("common practice, no source", "our protocol, version 2")
    own = limits_room.read_limits(own_file(
        tmp_path, text.replace("rate_at_most_ml_min = 0.30", "rate_at_most_ml_min = 0.35"),
    ))
    assert own.source == "our protocol, version 2"
    assert limits_room.rate_within(0.31, own) is True
    assert limits_room.injection_limits(*tables, own).loc[3, "rate"]
    assert set(own.table()["source"]) == {"our protocol, version 2"}


def test_the_defaults_are_those_of_the_trade():
    assert LIMITS.source == "common practice, no source"
    assert (LIMITS.mixing_at_least_min, LIMITS.rate_usual_ml_min, LIMITS.rate_at_most_ml_min,
            LIMITS.pause_at_least_s, LIMITS.pause_at_most_s, LIMITS.dead_space_usual_ml,
            LIMITS.vial_ml) == (20, 0.16, 0.30, 30, 120, 0.23, 1.5)
    table = LIMITS.table()
    assert tuple(table["column"]) == limits_room.LIMIT_COLUMNS
    assert "never above 0.30 mL/min" in table["wanted"].tolist()[2]
    assert "instructions for use" in limits_room.LIMITS_CAUTION


def test_every_problem_of_the_file_is_told_at_once(tmp_path):
    text = packaged_text().replace('source = "common practice, no source"', "")
    text = text.replace("vial_ml = 1.5", "vial_mL = 1.5").replace(" = 20", ' = "twenty"')
    with pytest.raises(limits_room.PracticeLimitsError) as told:
        limits_room.read_limits(own_file(tmp_path, text))
    message = str(told.value)
    for part in ("source is missing", "vial_mL is not a known limit; did you mean vial_ml?",
                 "vial_ml is missing", "mixing_at_least_min: found 'twenty'"):
        assert part in message


@pytest.mark.parametrize(("text", "words"), [
    ("not toml at all", "not a TOML text file"),
    ('source = "us"', r"\[limits\] is missing"),
    ('source = "us"\nvial_ml = 2', "vial_ml is not known at the top"),
])
def test_a_file_of_another_kind_is_refused_in_a_sentence(tmp_path, text, words):
    with pytest.raises(limits_room.PracticeLimitsError, match=words):
        limits_room.read_limits(own_file(tmp_path, text))


def test_limits_in_the_wrong_order_and_a_file_that_is_not_there(tmp_path):
    text = packaged_text().replace("pause_at_least_s = 30", "pause_at_least_s = 300")
    with pytest.raises(limits_room.PracticeLimitsError, match="300.* is above pause_at_most_s"):
        limits_room.read_limits(own_file(tmp_path, text))
    with pytest.raises(limits_room.PracticeLimitsError, match="could not be read"):
        limits_room.read_limits(tmp_path / "nowhere.toml")


def test_the_other_numbers_must_be_above_zero(tmp_path):
    for bad in ("0", "-1", "true", "inf", "nan"):
        text = packaged_text().replace("vial_ml = 1.5", f"vial_ml = {bad}")
        with pytest.raises(limits_room.PracticeLimitsError, match="wanted a number above zero"):
            limits_room.read_limits(own_file(tmp_path, text))
