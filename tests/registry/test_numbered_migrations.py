"""A registry of an older version is brought up, says so, and nothing of it is lost."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from registry_sources import batch
from version_one import HELD, KNOWN, THIRD, registry_of_version_1, third_version

from registry.freeze.freeze_reading import read_freeze
from registry.freeze.freeze_writing import make_freeze
from registry.schema import TABLES
from registry.schema.canonical import records, row_json, sha256
from registry.schema.migrations.change_steps import (
    AddTable,
    ChangeValues,
    DropField,
    NewColumn,
    SplitField,
)
from registry.schema.migrations.numbered import MIGRATIONS, schema_version
from registry.store.registry import open_registry
from registry.store.store_error import RegistryError


@pytest.fixture
def place(tmp_path):
    return registry_of_version_1(tmp_path / "registry.sqlite")


def raw(place, statement):
    with closing(sqlite3.connect(place)) as connection, connection:
        return connection.execute(statement).fetchall()


def test_the_migrations_are_numbered_from_2_without_a_gap_and_each_has_its_sentence():
    assert [one.number for one in MIGRATIONS] == list(range(2, len(MIGRATIONS) + 2))
    assert schema_version() == MIGRATIONS[-1].number >= 2
    assert all(one.sentence.endswith(".") for one in MIGRATIONS)


def test_the_sample_is_of_version_1_with_revisions_and_rows_held(place):
    assert raw(place, "SELECT value FROM registry_info WHERE name = 'schema_version'") == [("1",)]
    assert raw(place, "SELECT max(revision) FROM audit_trail")[0][0] >= 2
    held = raw(place, "SELECT DISTINCT patient_id FROM held_rows ORDER BY 1")
    assert [code for (code,) in held] == HELD == KNOWN["held"]


def test_every_row_of_version_1_is_there_and_says_the_same(place):
    tables = open_registry(place).tables()
    for name, digest in KNOWN["rows"].items():
        lines = [row_json(row) for row in records(tables[name], TABLES[name].fields)]
        assert len(lines) == KNOWN["counts"][name]
        assert sha256("\n".join(lines)) == digest, name


def test_its_freeze_is_the_one_that_version_1_made(place, tmp_path):
    frozen = make_freeze(open_registry(place), tmp_path / "freeze", purpose="quality")
    assert read_freeze(frozen).manifest["freeze_hash"] == KNOWN["freeze_hash"]


def test_the_trail_is_sound_and_goes_on_where_it_was(place):
    registry = open_registry(place)
    assert registry.verify_audit() == []
    entries, last = KNOWN["audit_head"]
    trail = raw(place, f"SELECT entry_hash, previous_hash, action FROM audit_trail "
                       f"WHERE entry_no IN ({entries}, {entries + 1})")
    assert trail[0][0] == trail[1][1] == last and trail[1][2] == "migrated"


def test_it_says_what_how_many_and_where_the_copy_lies(place):
    content = place.read_bytes()
    told = open_registry(place).opening
    copy = place.with_name("registry.version-1.sqlite")
    assert told[0].endswith("was of version 1 and is now of version 2.")
    assert told[1].startswith("Version 2: ") and "not reviewed" in told[1]
    assert told[2] == "No row had to be changed."
    held = raw(place, "SELECT count(*) FROM held_rows")[0][0]
    assert told[3].startswith(f"Rows kept out: {held}, as before.") and held > 20
    assert told[-1] == f"The registry as it was is kept in {copy}."
    with closing(sqlite3.connect(copy)) as old, closing(sqlite3.connect(":memory:")) as first:
        first.deserialize(content)
        assert list(old.iterdump()) == list(first.iterdump())


def test_a_second_opening_does_nothing_and_says_nothing(place):
    open_registry(place)
    content = place.read_bytes()
    assert open_registry(place).opening == ()
    assert place.read_bytes() == content
    assert {p.name for p in place.parent.iterdir()} == {
        "registry.sqlite", "registry.version-1.sqlite"}


def test_a_copy_that_is_there_is_not_replaced(place):
    other = place.with_name("registry.version-1.sqlite")
    other.write_bytes(b"of somebody else")
    assert "registry.version-1-2.sqlite" in open_registry(place).opening[-1]
    assert other.read_bytes() == b"of somebody else"


def test_a_trial_changes_nothing_and_so_is_refused(place):
    content = place.read_bytes()
    with pytest.raises(RegistryError, match="of version 1 and has to be brought up to version 2"):
        open_registry(place, bring_up=False)
    assert place.read_bytes() == content
    assert [p.name for p in place.parent.iterdir()] == ["registry.sqlite"]
    open_registry(place)
    assert open_registry(place, bring_up=False).exists


def test_one_of_a_newer_version_is_refused_and_not_touched(place):
    with third_version():
        open_registry(place)
    content, beside = place.read_bytes(), sorted(p.name for p in place.parent.iterdir())
    with pytest.raises(RegistryError, match=r"newer nidusbook \(schema 3, this program knows 2\)"):
        open_registry(place)
    assert place.read_bytes() == content
    assert sorted(p.name for p in place.parent.iterdir()) == beside


def test_a_version_that_is_no_number_is_no_registry_of_ours(place):
    raw(place, "UPDATE registry_info SET value = 'x' WHERE name = 'schema_version'")
    with pytest.raises(RegistryError, match="not a registry of ours"):
        open_registry(place)


# Every kind of step, in a third version made up.


@pytest.fixture
def third(place):
    before = open_registry(place).tables()
    with third_version():
        yield before, open_registry(place)


def test_a_renamed_field_has_its_values_under_the_new_name(third):
    before, registry = third
    lesions = registry.tables()["lesions"]
    assert lesions["border"].tolist() == before["lesions"]["nidus_border"].tolist()
    assert before["lesions"]["nidus_border"].notna().any()


def test_a_renamed_key_leaves_every_row_where_it_was(third):
    before, registry = third
    events = registry.tables()["complications"]
    assert events["event_no"].tolist() == before["complications"]["complication_no"].tolist()


def test_a_split_field_is_two(third):
    before, registry = third
    visits = registry.tables()["follow_ups"]
    old = before["follow_ups"]["imaging"]
    assert visits["angiography"].tolist() == (old != "none").tolist()
    assert visits["modality"].fillna("none").tolist() == old.str.split(" ").str[0].tolist()
    assert {"MR", "catheter"} <= set(visits["modality"].dropna())


def test_a_changed_list_has_its_new_word_and_the_others_stay(third):
    before, registry = third
    old = before["injections"]["agent"]
    assert registry.tables()["injections"]["agent"].tolist() == (
        old.where(old != "EVOH 6 %", "EVOH, thin").tolist())
    assert old.eq("EVOH 6 %").any() and old.ne("EVOH 6 %").any()


def test_an_added_field_is_filled_from_the_row(third):
    before, registry = third
    assert registry.tables()["patients"]["adult"].tolist() == (
        before["patients"]["age_y"] >= 18).tolist()


def test_a_dropped_field_is_carried_into_another(third):
    before, registry = third
    words = before["lesions"]["venous_ectasia"].map(
        {True: "Venous ectasia: yes", False: "Venous ectasia: no"})
    remarks = registry.tables()["lesions"]["remarks"]
    assert remarks.fillna("").tolist() == words.fillna("").tolist()
    assert remarks.notna().any()


def test_a_dropped_field_that_goes_nowhere_is_told_and_stays_in_the_trail(third):
    before, registry = third
    count = int(before["sessions"]["contrast_ml"].notna().sum())
    assert count > 0
    assert (f"{count} values of Contrast (sessions.contrast_ml) have no place in the tables any "
            "more. The audit trail keeps them.") in registry.opening
    trail = registry.audit()
    gone = trail[(trail["field"] == "contrast_ml") & (trail["by"] == "migration-3")]
    assert gone["before"].notna().sum() == count and gone["after"].isna().all()


def test_a_new_table_has_the_rows_made_of_others(third):
    before, registry = third
    plans = registry.tables()["plans"]
    sessions = before["sessions"]
    first = sessions[sessions["session_no"] == 1]
    assert plans["target"].tolist() == first["intent"].tolist()


def test_every_changed_row_has_one_more_revision_by_the_migration_from_its_own_source(third, place):
    _, registry = third
    assert registry.verify_audit() == []
    new = raw(place, "SELECT table_name, row_key, revision, source_id, before, after "
                     "FROM audit_trail WHERE by_code = 'migration-3' AND revision IS NOT NULL")
    assert {table for table, *_ in new} == {
        "complications", "lesions", "follow_ups", "injections", "patients", "sessions", "plans"}
    for table, key, revision, source, before, after in new:
        assert source == "W-VERSION1AA"
        known = raw(place, f"SELECT max(revision), after FROM audit_trail WHERE table_name = "
                           f"'{table}' AND row_key = '{key}' AND by_code LIKE 'QI%'")[0]
        if table == "plans":
            assert (revision, before) == (1, None) and json.loads(after)["target"]
        else:
            assert (revision, before) == (known[0] + 1, known[1]) and before != after


def test_the_sentence_counts_the_rows(third):
    before, registry = third
    told = next(line for line in registry.opening if line.startswith("Rows changed"))
    assert f"patients {len(before['patients'])}" in told
    assert f"complications {len(before['complications'])}" in told
    assert "held back" in told


def test_rows_held_back_are_carried_over_and_nothing_of_them_is_lost(place):
    before = open_registry(place).held()
    with third_version():
        after = open_registry(place).held()
    assert before.drop(columns="values").equals(after.drop(columns="values"))
    seen = set()
    for table, old, new in zip(before["table"], before["values"], after["values"], strict=True):
        wanted = dict(old)
        if table == "complications":
            wanted["event_no"] = wanted.pop("complication_no")
            seen.add("renamed")
        if table == "injections" and wanted.get("agent") == "EVOH 6 %":
            wanted["agent"] = "EVOH, thin"
            seen.add("changed")
        if table == "follow_ups" and wanted["imaging"] != "none":
            wanted |= {"modality": wanted.pop("imaging").split(" ")[0], "angiography": "yes"}
            seen.add("split")
        if table == "lesions":
            if "nidus_border" in wanted:
                wanted["border"] = wanted.pop("nidus_border")
            if "venous_ectasia" in wanted:
                wanted["remarks"] = f"Venous ectasia: {wanted.pop('venous_ectasia')}"
                seen.add("carried")
        if table == "follow_ups" and wanted.get("imaging") == "none":
            del wanted["imaging"]
            wanted["angiography"] = "no"
        assert new == wanted
    assert seen == {"renamed", "changed", "split", "carried"}


def test_two_versions_at_once_are_one_opening(place):
    with third_version():
        registry = open_registry(place)
        assert registry.opening[0].endswith("was of version 1 and is now of version 3.")
        assert [line[:9] for line in registry.opening if line.startswith("Version")] == [
            "Version 2", "Version 3"]
        assert registry.verify_audit() == []
        assert open_registry(place).opening == ()


# What goes wrong halfway.


def untouched_after(place, migration, words):
    content = place.read_bytes()
    with third_version(migration), pytest.raises(RegistryError, match=words) as caught:
        open_registry(place)
    assert place.read_bytes() == content
    assert [p.name for p in place.parent.iterdir()] == ["registry.sqlite"]
    return str(caught.value)


def refuse(value):
    raise ValueError(f"{value!r} has no second half")


def test_a_value_that_cannot_be_split_leaves_everything_as_it_was(place):
    split = SplitField("resections", "result", "choice",
                       (NewColumn("a", "text"), NewColumn("b", "text")), refuse)
    untouched_after(place, replace(THIRD, steps=(*THIRD.steps, split)),
                    "resections.result of L-0.* cannot be split: 'complete' has no second half; "
                    "nothing was changed")


def test_columns_that_the_schema_does_not_know_afterwards_leave_everything_as_it_was(place):
    untouched_after(place, replace(THIRD, steps=THIRD.steps[1:]),
                    "columns that schema 3 does not know: complications.complication_no")


def test_a_column_added_by_hand_is_refused_as_before_and_nothing_is_changed(place):
    raw(place, "ALTER TABLE lesions ADD COLUMN flow_rate FLOAT")
    content = place.read_bytes()
    with pytest.raises(RegistryError, match="does not know: lesions.flow_rate; nothing was"):
        open_registry(place)
    assert place.read_bytes() == content
    assert [p.name for p in place.parent.iterdir()] == ["registry.sqlite"]


def test_a_value_of_another_type_leaves_everything_as_it_was(place):
    other = SplitField("follow_ups", "imaging", "choice", THIRD.steps[2].into,
                       lambda value: (value, "perhaps"))
    steps = (*THIRD.steps[:2], other, *THIRD.steps[3:])
    told = untouched_after(place, replace(THIRD, steps=steps), "Not a boolean value: 'perhaps'")
    assert "L-0" not in told and "\n" not in told


def test_a_key_may_not_change(place):
    step = ChangeValues("patients", "patient_id", {"L-0001": "L-9999"})
    untouched_after(place, replace(THIRD, steps=(step, *THIRD.steps)), "the key of a row of")


def test_a_program_that_dies_halfway_leaves_everything_as_it_was(place, monkeypatch):
    content = place.read_bytes()
    monkeypatch.setattr("registry.store.migrate.bring_up", lambda *_: 1 / 0)
    with third_version(), pytest.raises(ZeroDivisionError):
        open_registry(place)
    assert place.read_bytes() == content
    assert [p.name for p in place.parent.iterdir()] == ["registry.sqlite"]


def test_without_room_for_a_copy_nothing_is_changed(place, monkeypatch):
    def full(*_):
        raise OSError("no room left")

    monkeypatch.setattr("registry.store.kept_copy._copied", full)
    content = place.read_bytes()
    with pytest.raises(RegistryError, match="cannot be copied before .*nothing was changed"):
        open_registry(place)
    assert place.read_bytes() == content


def test_a_row_changed_behind_the_trail_is_still_found_afterwards(place):
    raw(place, "UPDATE lesions SET nidus_border = 'diffuse', side = 'midline' "
               "WHERE patient_id = 'L-0008'")
    with third_version():
        found = open_registry(place).verify_audit()
    assert found == ['The row ["L-0008",1] of lesions is not as the audit trail left it.']


# Afterwards.


def test_the_same_source_may_change_its_rows_as_before(third, monkeypatch):
    # The made-up version has no checks of its own, and no rules for its names.
    monkeypatch.setattr("registry.store.decide._check_cells", lambda *_: None)
    monkeypatch.setattr("registry.store.decide.check_errors", lambda tables: [])
    _, registry = third
    tables = registry.tables()
    tables["lesions"].loc[0, "feeding_pedicles"] = 9
    result = registry.take_in(batch(tables, "W-VERSION1AA"))
    assert not result.clashes and result.revised["lesions"] == 1
    assert sum(result.revised.values()) == 1
    assert registry.verify_audit() == []


def test_steps_that_only_text_can_take_leave_other_text_under_its_old_name():
    number = SplitField("sessions", "nights", "int", (NewColumn("a", "int"), NewColumn("b", "int")),
                        lambda value: (value, value))
    assert number.of_text({"nights": "3"}) == {"nights": "3"}
    words = replace(number, old="route", of_type="choice", by=refuse)
    assert words.of_text({"route": "both"}) == {"route": "both"}
    assert ChangeValues("t", "agent", {"EVOH 6 %": "x"}).of_text({"agent": " evoh 6 % "}) == {
        "agent": "x"}
    assert DropField("t", "a", "A").of_text({"a": "1"}) == {"a": "1"}
    assert AddTable(TABLES["services"], lambda tables: []).of_text({"a": "1"}) == {"a": "1"}
