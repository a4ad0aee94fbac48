"""The store on PostgreSQL does what it does on SQLite."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from postgresql_server import postgresql_server
from registry_cases import clean_tables, with_cells, with_row, without_rows
from registry_sources import batch, held_row

from registry import schema
from registry.schema import FieldSpec
from registry.store.registry import open_registry
from registry.store.store_error import RegistryError

pytestmark = pytest.mark.server


@pytest.fixture(scope="module")
def server():
    with postgresql_server() as url:
        yield url


@pytest.fixture
def place(server, request):
    """The URL of a fresh database."""
    import psycopg

    name = f"t{abs(hash(request.node.name))}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name}")
        connection.execute(f"CREATE DATABASE {name}")
    return server.replace("/postgres?", f"/{name}?")


def run(place, statement):
    import psycopg

    with psycopg.connect(place, autocommit=True) as connection:
        connection.execute(statement)


def test_what_goes_in_comes_out_and_the_same_again_changes_nothing(place):
    registry = open_registry(place)
    assert not registry.exists
    registry.take_in(batch(clean_tables(), held=[held_row()]), by="QI1")
    wanted = clean_tables()
    for name, frame in open_registry(place).tables().items():
        pd.testing.assert_frame_equal(frame, wanted[name])
    head = registry.audit_head()
    assert not registry.take_in(batch(clean_tables(), held=[held_row()])).changed_anything
    assert registry.audit_head() == head
    assert registry.held()["patient_id"].tolist() == ["N-0050"]
    assert registry.verify_audit() == []


def test_revisions_clashes_and_removals(place):
    registry = open_registry(place)
    registry.take_in(batch(clean_tables()))
    assert registry.take_in(
        batch(with_cells(clean_tables(), "patients", mrs_before=2))
    ).revised["patients"] == 1
    other = batch(with_cells(clean_tables(), "patients", mrs_before=3), "folder-2")
    assert registry.take_in(other).clashes and not registry.take_in(other).changed_anything
    assert registry.take_in(other, replace=True).revised["patients"] == 1
    fewer = without_rows(with_cells(clean_tables(), "patients", mrs_before=3), "complications")
    assert registry.take_in(batch(fewer), replace=True).removed["complications"] == 1
    assert registry.verify_audit() == []


def test_a_trial_makes_nothing(place):
    assert open_registry(place).take_in(batch(clean_tables()), dry_run=True).added["lesions"] == 1
    assert not open_registry(place).exists


def test_a_failed_intake_leaves_nothing(place, monkeypatch):
    registry = open_registry(place)

    def fail(*_):
        raise RuntimeError("the machine was switched off")

    with monkeypatch.context() as patch:
        patch.setattr("registry.store.row_writing.hold", fail)
        with pytest.raises(RuntimeError):
            registry.take_in(batch(clean_tables()))
    assert not open_registry(place).exists
    registry.take_in(batch(clean_tables()))
    assert open_registry(place).exists


@pytest.mark.parametrize("statement", [
    "UPDATE audit_trail SET by_code = 'QI9'", "DELETE FROM audit_trail", "TRUNCATE audit_trail",
    "INSERT INTO audit_trail (entry_no, at, action, previous_hash, entry_hash) "
    "VALUES (9999, 'now', 'added', 'x', 'y')",
])
def test_the_database_itself_refuses(place, statement):
    import psycopg

    registry = open_registry(place)
    registry.take_in(batch(clean_tables()))
    with pytest.raises(psycopg.Error, match="the audit trail is append-only"):
        run(place, statement)
    assert registry.verify_audit() == []


def test_a_row_changed_behind_the_trail_and_a_missing_guard_show(place):
    registry = open_registry(place)
    registry.take_in(batch(clean_tables()))
    run(place, "UPDATE sessions SET nights = 9 WHERE session_no = 2")
    run(place, "ALTER TABLE audit_trail DISABLE TRIGGER audit_trail_no_update")
    found = registry.verify_audit()
    assert any("of sessions is not as the audit trail left it" in line for line in found)
    assert any("audit_trail_no_update" in line for line in found)


def test_a_child_without_its_parent_is_refused(place):
    import psycopg

    open_registry(place).take_in(batch(clean_tables()))
    with pytest.raises(psycopg.errors.ForeignKeyViolation):
        run(place, "INSERT INTO lesions (patient_id, lesion_no) VALUES ('N-9999', 1)")


def test_another_programs_database_is_refused(place):
    run(place, "CREATE TABLE patients (name text)")
    with pytest.raises(RegistryError, match="not a registry of ours"):
        open_registry(place)


def test_a_field_added_later_is_migrated_in(place, monkeypatch):
    open_registry(place).take_in(batch(clean_tables()))
    lesions = schema.TABLES["lesions"]
    more = FieldSpec("flow_ml_min", "number", "Flow", "Flow through the nidus.", unit="mL/min")
    monkeypatch.setitem(schema.TABLES, "lesions", replace(lesions, fields=(*lesions.fields, more)))
    registry = open_registry(place)
    assert registry.tables()["lesions"]["flow_ml_min"].isna().all()
    assert registry.verify_audit() == []


def test_many_patients(place):
    tables = clean_tables()
    for number in range(2, 30):
        tables = with_row(tables, "patients", like=0, patient_id=f"N-{number:04d}")
        tables = with_row(tables, "lesions", like=0, patient_id=f"N-{number:04d}")
    registry = open_registry(place)
    assert registry.take_in(batch(tables)).added["patients"] == 29
    assert registry.verify_audit() == []


def test_the_same_data_give_the_same_freeze_from_either_database(place, tmp_path):
    from registry.freeze.freeze_reading import read_freeze
    from registry.freeze.freeze_writing import make_freeze

    hashes = set()
    for name, where in (("file", tmp_path / "registry.sqlite"), ("server", place)):
        registry = open_registry(where)
        registry.take_in(batch(clean_tables(), held=[held_row()]))
        frozen = read_freeze(make_freeze(registry, tmp_path / name))
        hashes.add(frozen.manifest["freeze_hash"])
        assert len(frozen.tables["entries"]) == 11
    assert len(hashes) == 1
