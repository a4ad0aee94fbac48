"""The audit trail cannot be changed through the database, and tampering shows."""

from __future__ import annotations

import sqlite3

import pytest
from registry_cases import clean_tables, with_cells
from registry_sources import batch, clean_registry

from registry.schema.canonical import sha256
from registry.store.registry import open_registry


@pytest.fixture
def place(tmp_path):
    return tmp_path / "registry.sqlite"


@pytest.fixture
def registry(place):
    opened = clean_registry(place)
    opened.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=2)), by="QI2")
    return opened


def run(place, *statements):
    raw = sqlite3.connect(place)
    try:
        with raw:
            for statement in statements:
                raw.execute(statement)
    finally:
        raw.close()


@pytest.mark.parametrize("statement", [
    "UPDATE audit_trail SET by_code = 'QI9'",
    "UPDATE audit_trail SET after = NULL WHERE entry_no = 2",
    "DELETE FROM audit_trail",
    "DELETE FROM audit_trail WHERE entry_no = (SELECT max(entry_no) FROM audit_trail)",
    "INSERT OR REPLACE INTO audit_trail SELECT * FROM audit_trail WHERE entry_no = 2",
    "INSERT INTO audit_trail (entry_no, at, action, previous_hash, entry_hash) "
    "VALUES (9999, 'now', 'added', 'x', 'y')",
    "INSERT INTO audit_trail (entry_no, at, action, previous_hash, entry_hash) "
    "SELECT max(entry_no) + 1, 'now', 'added', 'not the last hash', 'y' FROM audit_trail",
    "UPDATE OR REPLACE audit_trail SET entry_no = 1",
])
def test_the_database_itself_refuses(registry, place, statement):
    with pytest.raises(sqlite3.IntegrityError, match="the audit trail is append-only"):
        run(place, statement)
    assert registry.verify_audit() == []


def test_each_entry_carries_the_hash_of_the_one_before(registry, place):
    raw = sqlite3.connect(place)
    rows = raw.execute(
        "SELECT previous_hash, entry_hash FROM audit_trail ORDER BY entry_no"
    ).fetchall()
    raw.close()
    assert rows[0][0] == "0" * 64
    assert [previous for previous, _ in rows[1:]] == [own for _, own in rows[:-1]]
    assert registry.audit_head() == (len(rows), rows[-1][1])


def test_the_hash_can_be_worked_out_by_anyone(registry, place):
    # The rule in words: SHA-256 over the entry as JSON, keys sorted, no spaces, without its hash.
    import json

    raw = sqlite3.connect(place)
    raw.row_factory = sqlite3.Row
    entry = dict(raw.execute("SELECT * FROM audit_trail WHERE entry_no = 3").fetchone())
    raw.close()
    own = entry.pop("entry_hash")
    text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert sha256(text) == own


UNGUARD = [
    "DROP TRIGGER audit_trail_no_update", "DROP TRIGGER audit_trail_no_delete",
    "DROP TRIGGER audit_trail_in_order",
]


def test_a_changed_entry_shows(registry, place):
    run(place, *UNGUARD, "UPDATE audit_trail SET by_code = 'QI9' WHERE entry_no = 4")
    assert "Entry 4 of the audit trail was changed after it was written." in (
        registry.verify_audit()
    )


def test_a_missing_entry_shows(registry, place):
    run(place, *UNGUARD, "DELETE FROM audit_trail WHERE entry_no = 4")
    found = registry.verify_audit()
    assert "Entry 4 of the audit trail is missing." in found
    assert "Entry 5 of the audit trail does not follow the entry before it." in found


def test_missing_guards_show(registry, place):
    run(place, "DROP TRIGGER audit_trail_no_delete")
    assert registry.verify_audit() == [
        "The guard audit_trail_no_delete of the audit trail is missing; the trail could have "
        "been changed."
    ]


def test_a_row_changed_behind_the_trail_shows(registry, place):
    run(place, "UPDATE sessions SET occlusion_after_pct = 99 WHERE session_no = 2")
    assert registry.verify_audit() == [
        'The row ["N-0001",1,2] of sessions is not as the audit trail left it.'
    ]


def test_a_row_removed_behind_the_trail_shows(registry, place):
    run(place, "DELETE FROM complications")
    assert registry.verify_audit() == [
        'The row ["N-0001",1,1] of complications is in the audit trail and no longer in its '
        "table."
    ]


def test_a_row_added_behind_the_trail_shows(registry, place):
    run(place, "INSERT INTO lesions (patient_id, lesion_no) VALUES ('N-0001', 2)")
    assert registry.verify_audit() == ['The row ["N-0001",2] of lesions is not in the audit trail.']


def test_the_last_entries_cut_off_with_guards_show_by_their_rows(registry, place):
    run(place, *UNGUARD, "DELETE FROM audit_trail WHERE action = 'revised'")
    assert any("is not as the audit trail left it" in line for line in registry.verify_audit())


def test_times_are_utc_and_codes_are_kept(registry):
    trail = registry.audit()
    assert trail["at"].str.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ").all()
    assert set(trail["by"].dropna()) == {"QI1", "QI2"}


def test_a_reopened_registry_goes_on_with_the_chain(registry, place):
    again = open_registry(place)
    again.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=4)))
    assert again.verify_audit() == []
