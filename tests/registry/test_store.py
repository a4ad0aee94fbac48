"""The store: what goes in comes out, changes are kept, nothing is half-written."""

from __future__ import annotations

import pandas as pd
import pytest
from registry_cases import L, clean_tables, with_cells, with_row, without_rows
from registry_sources import batch, clean_registry, held_row

from registry.schema import TABLES
from registry.store.registry import open_registry
from registry.store.store_error import RegistryError


@pytest.fixture
def place(tmp_path):
    return tmp_path / "registry.sqlite"


@pytest.fixture
def registry(place):
    return clean_registry(place)


def test_what_goes_in_comes_out_typed_and_sorted(registry):
    wanted = clean_tables()
    for name, frame in registry.tables().items():
        pd.testing.assert_frame_equal(frame, wanted[name])


def test_a_new_place_is_empty_and_makes_no_file(place):
    opened = open_registry(place)
    assert all(frame.empty for frame in opened.tables().values())
    assert opened.audit().empty and opened.held().empty and opened.verify_audit() == []
    assert not place.exists()


def test_the_counts_say_what_was_added(place):
    result = open_registry(place).take_in(batch(clean_tables()))
    assert result.added["sessions"] == 2 and result.added["patients"] == 1
    assert sum(result.revised.values()) == sum(result.unchanged.values()) == 0
    assert result.clashes == [] and result.held == 0 and result.changed_anything


def test_the_same_file_twice_changes_nothing_not_even_the_file(registry, place):
    entries, bytes_before = len(registry.audit()), place.read_bytes()
    result = open_registry(place).take_in(batch(clean_tables()))
    assert not result.changed_anything and result.unchanged["sessions"] == 2
    assert len(registry.audit()) == entries
    assert place.read_bytes() == bytes_before


def test_a_row_again_from_its_source_is_a_new_revision_and_the_old_one_stays(registry):
    changed = with_cells(clean_tables(), "patients", mrs_before=2, gcs=15)
    result = registry.take_in(batch(changed), by="QI2")
    assert result.revised["patients"] == 1 and sum(result.revised.values()) == 1
    assert [(c.field, c.before, c.after) for c in result.changes] == [
        ("mrs_before", 1, 2), ("gcs", None, 15),
    ]
    assert registry.tables()["patients"]["mrs_before"].tolist() == [2]
    trail = registry.audit()
    revised = trail[trail["action"] == "revised"]
    assert revised[["field", "before", "after", "by", "revision"]].values.tolist() == [
        ["gcs", None, 15, "QI2", 2], ["mrs_before", 1, 2, "QI2", 2],
    ]
    assert set(revised["source_name"]) == {"book-1.xlsx"}
    assert revised["source_sha256"].str.fullmatch("[0-9a-f]{64}").all()
    assert registry.verify_audit() == []


def test_a_blank_from_the_same_source_is_a_value_withdrawn(registry):
    registry.take_in(batch(with_cells(clean_tables(), "lesions", feeding_pedicles=None)))
    assert registry.tables()["lesions"]["feeding_pedicles"].isna().all()


def test_a_column_that_is_absent_says_nothing(registry):
    narrow = with_cells(clean_tables(), "lesions", feeding_pedicles=None)
    result = registry.take_in(batch(narrow, absent_columns={"lesions": ["feeding_pedicles"]}))
    assert not result.changed_anything
    assert registry.tables()["lesions"]["feeding_pedicles"].tolist() == [3]


def test_another_source_with_the_same_values_is_no_clash(registry):
    result = registry.take_in(batch(clean_tables(), "folder-2"))
    assert result.clashes == [] and not result.changed_anything


def test_another_source_with_other_values_is_a_clash_and_nothing_of_the_patient_changes(registry):
    other = with_cells(clean_tables(), "patients", mrs_before=3)
    other = with_row(other, "follow_ups", like=0, follow_up_no=2, follow_up_date="2022-04-25")
    other = with_row(other, "patients", like=0, patient_id="N-0002")
    other = with_row(other, "lesions", like=0, patient_id="N-0002")
    before = registry.tables()
    result = registry.take_in(batch(other, "folder-2"))
    assert [(c.table, c.field, c.patient_id) for c in result.clashes] == [
        ("patients", "mrs_before", "N-0001"),
    ]
    sentence = result.clashes[0].sentence()
    assert "Patients, row 2" in sentence and "found 3, where the registry has 1" in sentence
    after = registry.tables()
    assert after["patients"]["patient_id"].tolist() == ["N-0001", "N-0002"]
    pd.testing.assert_frame_equal(after["follow_ups"], before["follow_ups"])
    held = registry.held()
    assert set(held["patient_id"]) == {"N-0001"}
    assert len(held) == 11  # the patient's whole update is kept: nothing of it is lost
    assert "clash" not in str(registry.tables()["patients"])


def test_the_same_clash_again_writes_nothing(registry, place):
    other = batch(with_cells(clean_tables(), "patients", mrs_before=3), "folder-2")
    registry.take_in(other)
    bytes_before = place.read_bytes()
    assert len(registry.take_in(other).clashes) == 1
    assert place.read_bytes() == bytes_before


def test_replace_lets_the_other_source_overwrite(registry):
    other = with_cells(clean_tables(), "patients", mrs_before=3)
    registry.take_in(batch(other, "folder-2"))
    result = registry.take_in(batch(other, "folder-2"), replace=True, by="QI1")
    assert result.clashes == [] and result.revised["patients"] == 1
    assert registry.tables()["patients"]["mrs_before"].tolist() == [3]
    assert registry.held().empty
    # From now on that row belongs to the second source.
    first_again = registry.take_in(batch(clean_tables()))
    assert [c.field for c in first_again.clashes] == ["mrs_before"]


def test_a_clash_in_the_services_keeps_only_that_row_out(registry):
    other = with_cells(clean_tables(), "services", suite_log_procedures=9)
    other = with_row(other, "follow_ups", like=0, follow_up_no=2, follow_up_date="2022-04-25")
    result = registry.take_in(batch(other, "folder-2"))
    assert [c.table for c in result.clashes] == ["services"]
    assert result.added["follow_ups"] == 1
    assert registry.tables()["services"]["suite_log_procedures"].tolist() == [2]


def test_new_rows_of_a_known_patient_may_come_from_another_source(registry):
    visit = {**L, "follow_up_no": 2, "follow_up_date": "2022-04-25", "imaging": "none", "mrs": 1}
    tables = with_row({t: TABLES[t].empty() for t in TABLES}, "follow_ups", **visit)
    result = registry.take_in(batch(tables, "clinic"))
    assert result.added["follow_ups"] == 1 and result.clashes == []
    assert len(registry.tables()["follow_ups"]) == 2


def test_rows_that_break_a_rule_only_with_the_registry_keep_their_patient_out(registry):
    early = with_row({t: TABLES[t].empty() for t in TABLES}, "sessions", **{
        **clean_tables()["sessions"].iloc[0].to_dict(), "session_no": 3,
        "session_date": "2021-03-30",
    })
    result = registry.take_in(batch(early, "clinic"))
    assert [c.rule for c in result.clashes] == ["session before a lower-numbered one"]
    assert len(registry.tables()["sessions"]) == 2
    assert registry.held()["patient_id"].tolist() == ["N-0001"]


def test_an_orphan_row_never_gets_in(registry):
    orphan = with_row({t: TABLES[t].empty() for t in TABLES}, "follow_ups", **{
        **L, "patient_id": "N-0777", "follow_up_no": 1, "follow_up_date": "2022-04-25",
        "imaging": "none", "mrs": 1,
    })
    result = registry.take_in(batch(orphan))
    assert [c.rule for c in result.clashes] == ["no parent row"]
    assert len(registry.tables()["follow_ups"]) == 1


def test_a_key_twice_in_a_source_keeps_its_patient_out(place):
    opened = open_registry(place)
    result = opened.take_in(batch(with_row(clean_tables(), "injections", like=0)))
    assert {c.rule for c in result.clashes} == {"key used twice"}
    assert opened.tables()["patients"].empty
    assert len(opened.held()) == 11


def test_a_row_its_source_does_not_have_any_more_stays_and_is_asked_about(registry):
    fewer = without_rows(clean_tables(), "complications")
    result = registry.take_in(batch(fewer))
    assert [n.rule for n in result.notices] == ["row no longer in its source"]
    assert result.notices[0].severity == "query"
    assert len(registry.tables()["complications"]) == 1


def test_replace_removes_what_its_source_does_not_have_any_more(registry):
    fewer = without_rows(clean_tables(), "complications")
    result = registry.take_in(batch(fewer), replace=True, by="QI1")
    assert result.removed["complications"] == 1 and result.notices == []
    assert registry.tables()["complications"].empty
    trail = registry.audit()
    removed = trail[trail["action"] == "removed"].set_index("field")["before"]
    assert removed["kind"] == "ischaemic stroke" and removed["onset_date"] == "2021-03-21"
    assert registry.verify_audit() == []
    back = registry.take_in(batch(clean_tables()))
    assert back.added["complications"] == 1
    assert registry.audit()["revision"].max() == 3


def test_a_session_is_removed_with_its_injections_or_not_at_all(registry):
    no_second = clean_tables()
    no_second["sessions"] = no_second["sessions"].iloc[:1]
    kept = registry.take_in(batch(no_second), replace=True)
    assert sum(kept.removed.values()) == 0
    assert "rows that stay hang on it" in kept.notices[0].mend
    no_second["injections"] = no_second["injections"].iloc[:1]
    removed = registry.take_in(batch(no_second), replace=True)
    assert (removed.removed["sessions"], removed.removed["injections"]) == (1, 1)


def test_a_copy_with_other_patients_says_nothing_about_the_rest(registry):
    second = with_cells(clean_tables(), "patients", patient_id="N-0002")
    second = {**{t: TABLES[t].empty() for t in TABLES}, "patients": second["patients"]}
    second = with_row(second, "lesions", **{
        **clean_tables()["lesions"].iloc[0].to_dict(), "patient_id": "N-0002",
    })
    result = registry.take_in(batch(second), replace=True)
    assert result.notices == [] and sum(result.removed.values()) == 0
    assert len(registry.tables()["patients"]) == 2


def test_an_absent_table_says_nothing(registry):
    fewer = without_rows(clean_tables(), "follow_ups")
    result = registry.take_in(batch(fewer, absent_tables=["follow_ups"]), replace=True)
    assert result.notices == [] and len(registry.tables()["follow_ups"]) == 1


def test_a_trial_says_the_same_and_writes_nothing(registry, place):
    bytes_before = place.read_bytes()
    changed = batch(with_cells(clean_tables(), "patients", mrs_before=2))
    trial = registry.take_in(changed, dry_run=True)
    assert trial.dry_run and trial.revised["patients"] == 1
    assert place.read_bytes() == bytes_before
    assert registry.take_in(changed).revised == trial.revised


def test_a_trial_on_a_registry_that_does_not_exist_makes_none(place):
    result = open_registry(place).take_in(batch(clean_tables()), dry_run=True)
    assert result.added["sessions"] == 2
    assert list(place.parent.iterdir()) == []


def test_a_failed_intake_leaves_the_file_as_it_was(registry, place, monkeypatch):
    bytes_before = place.read_bytes()
    monkeypatch.setattr("registry.store.row_writing.hold", _fail)
    with pytest.raises(RuntimeError):
        registry.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=2)))
    assert place.read_bytes() == bytes_before
    assert registry.tables()["patients"]["mrs_before"].tolist() == [1]


def test_a_failed_first_intake_leaves_no_file(place, monkeypatch):
    monkeypatch.setattr("registry.store.row_writing.hold", _fail)
    with pytest.raises(RuntimeError):
        open_registry(place).take_in(batch(clean_tables()))
    assert list(place.parent.iterdir()) == []


def _fail(*_):
    raise RuntimeError("the machine was switched off")


def test_held_patients_are_kept_whole_and_counted(place):
    opened = open_registry(place)
    rows = [held_row(age_y="forty"), held_row("lesions", row=4), held_row(patient_id=None, row=11)]
    result = opened.take_in(batch(clean_tables(), held=rows))
    assert result.held == 2
    held = opened.held()
    assert held["patient_id"].tolist() == ["N-0050", "N-0050", None]
    assert held["values"][0] == {"patient_id": "N-0050", "age_y": "forty"}
    assert held["reasons"][0] == ["a reason"]
    assert (held["sheet"][0], held["row"][0], held["source_id"][0]) == ("Patients", 9, "book-1")


def test_a_held_patient_that_comes_in_is_let_go(place):
    opened = open_registry(place)
    opened.take_in(batch(clean_tables(), held=[held_row(), held_row(patient_id=None)]))
    mended = with_row(clean_tables(), "patients", like=0, patient_id="N-0050")
    mended = with_row(mended, "lesions", like=0, patient_id="N-0050")
    opened.take_in(batch(mended))
    assert opened.held().empty
    assert {"held", "let go"} <= set(opened.audit()["action"])


def test_a_copy_that_brings_back_some_of_the_held_patients_does_not_lose_the_others(place):
    opened = open_registry(place)
    opened.take_in(batch(clean_tables(), held=[held_row(), held_row(patient_id="N-0051")]))
    mended = with_row(clean_tables(), "patients", like=0, patient_id="N-0050")
    opened.take_in(batch(mended))
    assert opened.held()["patient_id"].tolist() == ["N-0051"]


def test_a_held_patient_that_comes_in_from_another_source_is_let_go(place):
    opened = open_registry(place)
    opened.take_in(batch({}, held=[held_row(patient_id="N-0001"), held_row()]))
    opened.take_in(batch(clean_tables(), "folder-2"))
    assert opened.held()["patient_id"].tolist() == ["N-0050"]


def test_an_update_held_from_one_source_is_not_let_go_by_another(registry):
    registry.take_in(batch({}, "clinic", held=[held_row("follow_ups", "N-0001")]))
    registry.take_in(batch(clean_tables()))
    assert registry.held()["patient_id"].tolist() == ["N-0001"]


def test_raw_text_of_refused_cells_does_not_enter_the_trail(place):
    opened = open_registry(place)
    opened.take_in(batch({}, held=[held_row(operator_id="a name")]))
    assert "a name" not in opened.audit().to_string()
    assert "a name" in str(opened.held()["values"].tolist())


def test_the_code_is_a_code(registry):
    with pytest.raises(RegistryError, match="never a name"):
        registry.take_in(batch(clean_tables()), by="Some Body")


def test_rows_that_do_not_fit_the_schema_are_refused_whole(registry, place):
    bytes_before = place.read_bytes()
    with pytest.raises(RegistryError, match="mrs_before"):
        registry.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=9)))
    assert place.read_bytes() == bytes_before
