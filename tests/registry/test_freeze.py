"""The freeze: the same store gives the same freeze, and a changed one is refused."""

from __future__ import annotations

import datetime as dt
import json
import stat
from dataclasses import replace

import pandas as pd
import pytest
from registry_cases import Tables, clean_tables, with_cells, with_row
from registry_sources import batch, clean_registry, held_row

from registry import schema
from registry.freeze.freeze_content import content_of
from registry.freeze.freeze_error import FreezeError
from registry.freeze.freeze_reading import read_freeze
from registry.freeze.freeze_writing import make_freeze, write_freeze
from registry.schema import TABLES
from registry.schema.migrations.numbered import schema_version
from registry.store.registry import Registry, open_registry

DAY = dt.date(2026, 3, 1)


def second_patient(tables: Tables, **cells) -> Tables:
    """The tables with a patient N-0002: one lesion, one session, treated first of all."""
    tables = with_row(tables, "patients", like=0, patient_id="N-0002", **cells)
    tables = with_row(tables, "lesions", like=0, patient_id="N-0002")
    return with_row(tables, "sessions", like=0, patient_id="N-0002", session_date="2021-03-12")


@pytest.fixture
def registry(tmp_path) -> Registry:
    return clean_registry(tmp_path / "registry.sqlite")


@pytest.fixture
def freeze(registry, tmp_path):
    return make_freeze(registry, tmp_path / "freeze", date=DAY)


def test_what_was_taken_in_comes_out_typed(freeze):
    tables = read_freeze(freeze).tables
    for name, wanted in clean_tables().items():
        pd.testing.assert_frame_equal(tables[name], wanted)


def test_the_same_store_gives_the_same_hash_anywhere_on_any_day(registry, tmp_path):
    first = make_freeze(registry, tmp_path / "one", date=DAY)
    second = make_freeze(registry, tmp_path / "far" / "two", date=dt.date(2027, 1, 1))
    hashes = {read_freeze(path).manifest["freeze_hash"] for path in (first, second)}
    assert len(hashes) == 1


def test_software_versions_do_not_show_in_the_hash(registry, freeze, tmp_path, monkeypatch):
    monkeypatch.setattr("registry.freeze.freeze_writing.version", lambda name: "99.0")
    later = read_freeze(make_freeze(registry, tmp_path / "later", date=DAY)).manifest
    assert later["software"]["pandas"] == "99.0"
    assert later["freeze_hash"] == read_freeze(freeze).manifest["freeze_hash"]


def test_one_changed_cell_gives_another_hash(registry, freeze, tmp_path):
    registry.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=2)))
    later = make_freeze(registry, tmp_path / "later", date=DAY)
    assert read_freeze(later).manifest["freeze_hash"] != (
        read_freeze(freeze).manifest["freeze_hash"]
    )


def test_the_purpose_and_who_was_left_out_stand_in_the_hash(registry):
    # The same rows, all of them agreed to: what differs is said by the hash as well.
    research, quality = (content_of(registry.snapshot(), p) for p in ("research", "quality"))
    assert research.tables.keys() == quality.tables.keys()
    for name, frame in research.tables.items():
        free = [field.name for field in quality.specs[name].fields if field.free]
        pd.testing.assert_frame_equal(frame, quality.tables[name].drop(columns=free))
    assert research.freeze_hash != quality.freeze_hash
    held = replace(research, left_out={**research.left_out, "errors": {"patients": 1}})
    assert held.freeze_hash != research.freeze_hash


@pytest.mark.parametrize(("factor", "same"), [(1 + 1e-14, True), (1 + 1e-9, False)])
def test_worked_out_numbers_enter_the_hash_with_twelve_digits(registry, factor, same):
    """Another machine's last bits (2e-16 a step) do not show; a change that matters does."""
    content = content_of(registry.snapshot(), "research")
    grades = content.tables["grades"]
    assert grades["rbas"].notna().all()
    other = {**content.tables, "grades": grades.assign(rbas=grades["rbas"] * factor)}
    assert not other["grades"]["rbas"].equals(grades["rbas"])
    assert (replace(content, tables=other).freeze_hash == content.freeze_hash) is same


def test_what_was_entered_enters_the_hash_to_the_last_digit(registry):
    content = content_of(registry.snapshot(), "research")
    lesions = content.tables["lesions"]
    longer = lesions.assign(nidus_length_mm=lesions["nidus_length_mm"] * (1 + 1e-14))
    other = replace(content, tables={**content.tables, "lesions": longer})
    assert other.freeze_hash != content.freeze_hash


def test_the_days_of_entry_do_not_show_in_the_hash(registry):
    content = content_of(registry.snapshot(), "research")
    entries = content.tables["entries"]
    later = entries.assign(first_entered=entries["first_entered"] + pd.Timedelta(days=9))
    other = replace(content, tables={**content.tables, "entries": later})
    assert other.freeze_hash == content.freeze_hash


def test_the_order_in_which_rows_came_in_does_not_matter(tmp_path):
    tables = second_patient(clean_tables())
    turned = {name: frame.iloc[::-1].reset_index(drop=True) for name, frame in tables.items()}
    hashes = set()
    for name, given in (("a", tables), ("b", turned)):
        registry = open_registry(tmp_path / f"{name}.sqlite")
        registry.take_in(batch(given))
        made = make_freeze(registry, tmp_path / name, date=DAY)
        hashes.add(read_freeze(made).manifest["freeze_hash"])
    assert len(hashes) == 1


def test_a_field_added_later_leaves_the_hash_of_old_data(registry, freeze, tmp_path, monkeypatch):
    old = read_freeze(freeze).manifest
    more = schema.FieldSpec("flow_ml_min", "number", "Flow", "Flow.", unit="mL/min")
    lesions = schema.TABLES["lesions"]
    monkeypatch.setitem(schema.TABLES, "lesions", replace(lesions, fields=(*lesions.fields, more)))
    again = open_registry(tmp_path / "registry.sqlite")
    new = read_freeze(make_freeze(again, tmp_path / "later", date=DAY))
    assert new.manifest["freeze_hash"] == old["freeze_hash"]
    assert new.manifest["schema_hash"] != old["schema_hash"]
    assert read_freeze(freeze).tables["lesions"]["flow_ml_min"].isna().all()


def test_the_manifest_names_hashes_versions_and_date(freeze):
    manifest = read_freeze(freeze).manifest
    assert manifest["date"] == "2026-03-01" and manifest["purpose"] == "research"
    assert manifest["schema_version"] == schema_version()
    assert {"python", "nidusbook", "pyarrow"} <= set(manifest["software"])
    assert manifest["files"]["tables/sessions.parquet"]["rows"] == 2
    assert set(manifest["files"]) == {
        file.relative_to(freeze).as_posix() for file in freeze.rglob("*")
        if file.is_file() and file.name != "manifest.json"
    }


def test_the_manifest_notes_the_head_of_the_audit_trail(registry, freeze):
    noted = read_freeze(freeze).manifest["audit_trail"]
    assert (noted["entries"], noted["last_hash"]) == registry.audit_head()


def test_files_are_read_only(freeze):
    for file in freeze.rglob("*"):
        if file.is_file():
            assert stat.S_IMODE(file.stat().st_mode) == 0o444


def spoil(path, content):
    path.chmod(0o644)
    path.write_bytes(content)


@pytest.mark.parametrize("name", ["tables/sessions.parquet", "datapackage.json"])
def test_a_changed_file_is_refused_by_name(freeze, name):
    file = freeze / name
    spoil(file, file.read_bytes() + b" ")
    with pytest.raises(FreezeError) as caught:
        read_freeze(freeze)
    assert f"The file {name} of the freeze" in str(caught.value)
    assert "was changed after it was written" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_changed_manifest_is_refused(freeze):
    file = freeze / "manifest.json"
    manifest = json.loads(file.read_text())
    manifest["left_out"]["errors"]["patients"] = 0
    manifest["patients"] = 400
    spoil(file, json.dumps(manifest).encode())
    with pytest.raises(FreezeError, match="manifest.json of the freeze .* was changed"):
        read_freeze(freeze)


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b"\xff\xfe", b'{"format": "other"}'])
def test_a_manifest_that_is_none_is_refused(freeze, content):
    spoil(freeze / "manifest.json", content)
    with pytest.raises(FreezeError, match="is not that of a freeze"):
        read_freeze(freeze)


def test_a_missing_file_is_refused_by_name(freeze):
    (freeze / "tables" / "lesions.parquet").unlink()
    with pytest.raises(FreezeError, match="lacks its file tables/lesions.parquet"):
        read_freeze(freeze)


@pytest.mark.parametrize("name", ["notes.txt", "tables/more.parquet", "old/x.csv"])
def test_an_additional_file_is_refused_by_name(freeze, name):
    (freeze / name).parent.mkdir(exist_ok=True)
    (freeze / name).write_text("mine")
    with pytest.raises(FreezeError, match=f"^{name.split('/x')[0]} does not belong"):
        read_freeze(freeze)


def test_what_a_desktop_leaves_behind_is_no_part_of_it(freeze):
    (freeze / ".DS_Store").write_bytes(b"x")
    (freeze / "tables" / "Thumbs.db").write_bytes(b"x")
    assert len(read_freeze(freeze).tables["patients"]) == 1


@pytest.mark.parametrize("kind", ["absent", "file", "empty folder"])
def test_a_place_that_is_no_freeze(tmp_path, kind):
    place = tmp_path / "x"
    if kind == "file":
        place.touch()
    elif kind == "empty folder":
        place.mkdir()
    with pytest.raises(FreezeError):
        read_freeze(place)


def test_a_newer_freeze_is_refused(freeze, monkeypatch):
    monkeypatch.setattr("registry.freeze.freeze_reading.schema_version", lambda: 1)
    with pytest.raises(FreezeError, match="written by a newer nidusbook"):
        read_freeze(freeze)


def test_a_freeze_of_other_content_is_never_replaced_silently(registry, freeze):
    before = read_freeze(freeze).manifest
    registry.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=2)))
    with pytest.raises(FreezeError, match="reports may rest on; nothing was written.*--replace"):
        make_freeze(registry, freeze)
    assert read_freeze(freeze).manifest == before


def test_a_freeze_of_the_same_content_takes_the_place_of_the_older_one(registry, freeze):
    before = read_freeze(freeze).manifest
    after = read_freeze(make_freeze(registry, freeze, date=dt.date(2031, 1, 1))).manifest
    assert after["freeze_hash"] == before["freeze_hash"] and after["date"] == "2031-01-01"


def test_an_older_freeze_is_replaced_when_asked_and_nothing_is_left_beside_it(registry, freeze):
    registry.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=2)))
    make_freeze(registry, freeze, replace=True)
    assert read_freeze(freeze).tables["patients"]["mrs_before"].tolist() == [2]
    assert {p.name for p in freeze.parent.iterdir()} == {"freeze", "registry.sqlite"}


def test_an_empty_folder_is_taken(registry, tmp_path):
    (tmp_path / "empty").mkdir()
    assert read_freeze(make_freeze(registry, tmp_path / "empty")).manifest["patients"] == 1


def test_a_folder_with_anything_else_is_refused_and_kept(registry, tmp_path):
    folder = tmp_path / "thesis"
    folder.mkdir()
    (folder / "chapter.txt").write_text("mine")
    with pytest.raises(FreezeError, match="not empty and not an unchanged freeze"):
        make_freeze(registry, folder)
    assert [p.name for p in folder.iterdir()] == ["chapter.txt"]


def test_an_older_freeze_with_a_note_in_it_is_not_thrown_away(registry, freeze):
    (freeze / "note.txt").write_text("mine")
    with pytest.raises(FreezeError, match="not an unchanged freeze"):
        make_freeze(registry, freeze)
    assert (freeze / "note.txt").read_text() == "mine"


def test_a_file_in_the_place_is_refused(registry, tmp_path):
    (tmp_path / "x").write_text("mine")
    with pytest.raises(FreezeError, match="is a file"):
        make_freeze(registry, tmp_path / "x")


def test_a_freeze_that_fails_leaves_the_older_one(registry, freeze, monkeypatch):
    def fail(*_):
        raise OSError(28, "No space left on device")

    before = read_freeze(freeze).manifest
    monkeypatch.setattr("registry.freeze.freeze_writing.write_table", fail)
    with pytest.raises(FreezeError, match="No space left on device"):
        make_freeze(registry, freeze)
    assert read_freeze(freeze).manifest == before
    assert {p.name for p in freeze.parent.iterdir()} == {"freeze", "registry.sqlite"}


def test_without_a_registry_there_is_no_freeze(tmp_path):
    with pytest.raises(FreezeError, match="no registry at"):
        make_freeze(open_registry(tmp_path / "none.sqlite"), tmp_path / "freeze")
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_purpose_is_refused(registry, tmp_path):
    with pytest.raises(FreezeError, match="research or quality"):
        make_freeze(registry, tmp_path / "freeze", purpose="teaching")


@pytest.mark.parametrize(("use", "enters"), [
    ("granted", True), ("waived", True), ("refused", False), ("withdrawn", False),
    ("pending", False),
])
def test_only_granted_and_waived_enter_a_freeze_for_research(registry, tmp_path, use, enters):
    registry.take_in(batch(second_patient(clean_tables(), research_use=use)))
    research = read_freeze(make_freeze(registry, tmp_path / "research"))
    for name, frame in research.tables.items():
        if "patient_id" in frame:
            assert ("N-0002" in set(frame["patient_id"].dropna())) is (
                enters and name in {"patients", "lesions", "sessions", "grades", "case_numbers",
                                    "entries"}
            )
    left_out = research.manifest["left_out"]["research_use"]
    assert left_out["patients"] == ({} if enters else {use: 1})
    quality = read_freeze(make_freeze(registry, tmp_path / "quality", purpose="quality"))
    assert quality.manifest["patients"] == 2
    assert quality.manifest["left_out"]["research_use"]["patients"] == {}
    assert "where local rules permit" in quality.manifest["purpose_in_words"]


def test_nobody_agreed_is_said_and_nothing_is_written(tmp_path):
    registry = open_registry(tmp_path / "registry.sqlite")
    registry.take_in(batch(with_cells(clean_tables(), "patients", research_use="refused")))
    with pytest.raises(FreezeError, match="No patient of the registry may enter"):
        make_freeze(registry, tmp_path / "freeze")
    assert not (tmp_path / "freeze").exists()


def test_those_left_out_with_a_death_or_complication_are_counted(registry, tmp_path):
    tables = second_patient(clean_tables(), research_use="refused", death_date="2022-01-01")
    tables = with_row(tables, "patients", like=0, patient_id="N-0003", research_use="pending")
    tables = with_row(tables, "lesions", like=0, patient_id="N-0003")
    held = [
        held_row(), held_row("lesions", "N-0050"), held_row("complications", "N-0051"),
        held_row("patients", "N-0052", death_date="3.5.2021"),
        held_row("follow_ups", "N-0053", mrs="6"), held_row("follow_ups", "N-0054", mrs="2"),
        held_row("patients", None, death_cause="lesion"), held_row("sessions", None),
        held_row("services", None), held_row("follow_ups", "N-0003"),
    ]
    registry.take_in(batch(tables, held=held))
    with pytest.raises(FreezeError, match="4 patients with a death or complication are held back"):
        make_freeze(registry, tmp_path / "freeze")
    left_out = read_freeze(make_freeze(
        registry, tmp_path / "freeze", although_harm_waits=True)).manifest["left_out"]
    assert left_out["research_use"] == {
        "patients": {"refused": 1, "pending": 1}, "with_death_or_complication": 1,
    }
    assert left_out["errors"] == {
        "patients": 6, "with_death_or_complication": 4, "updates_held": 1,
        "rows_without_code": 2,
    }


def test_a_correction_that_waits_with_harm_refuses_a_freeze(registry, tmp_path):
    """The patient is in the registry, the complication that was added is not: shares too low."""
    who = clean_tables()["patients"]["patient_id"].iloc[0]
    registry.take_in(batch(clean_tables(), held=[held_row("complications", who)]))
    with pytest.raises(FreezeError, match="1 patient with a death or complication is held back"):
        make_freeze(registry, tmp_path / "freeze")
    frozen = read_freeze(make_freeze(registry, tmp_path / "freeze", although_harm_waits=True))
    assert frozen.manifest["left_out"]["errors"]["updates_with_death_or_complication"] == 1
    # A freeze for quality takes all and is for the service's own eyes: it says so, and is made.
    assert read_freeze(make_freeze(registry, tmp_path / "quality", purpose="quality"))


def test_a_withdrawal_counts_even_while_its_row_is_held_for_another_error(registry, tmp_path):
    registry.take_in(batch(second_patient(clean_tables()), held=[
        held_row("patients", "N-0001", research_use="Withdrawn", age_y="forty"),
    ]))
    frozen = read_freeze(make_freeze(registry, tmp_path / "freeze"))
    assert frozen.tables["patients"]["patient_id"].tolist() == ["N-0002"]
    assert frozen.manifest["left_out"]["research_use"]["patients"] == {"withdrawn": 1}


def test_ages_leave_capped_at_90_and_scores_use_the_age_before(registry, tmp_path):
    aged = with_cells(clean_tables(), "patients", age_y=97.0)
    registry.take_in(batch(aged))
    tables = read_freeze(make_freeze(registry, tmp_path / "freeze")).tables
    assert tables["patients"]["age_y"].tolist() == [90.0]
    grades = tables["grades"].iloc[0]
    assert grades["age_at_treatment"] == 90.0
    # 0.1 · volume + 0.02 · age at treatment (ten days after presentation), frontal: nothing added.
    volume, age = 6.283185307179586, 97 + 10 / 365.25
    assert grades["rbas"] == pytest.approx(0.1 * volume + 0.02 * age, abs=1e-12)


def test_an_age_of_90_or_less_is_left_alone(freeze):
    assert read_freeze(freeze).tables["patients"]["age_y"].tolist() == [41.0]


def test_case_numbers_count_the_sessions_of_patients_left_out(registry, tmp_path):
    registry.take_in(batch(second_patient(clean_tables(), research_use="refused")))
    frozen = read_freeze(make_freeze(registry, tmp_path / "freeze"))
    # N-0002 was treated first by the same operator and is not in the freeze.
    assert frozen.tables["case_numbers"]["case_number"].tolist() == [1, 2]


def test_entries_say_when_each_row_came_in(registry, tmp_path):
    registry.take_in(batch(with_cells(clean_tables(), "patients", mrs_before=2)))
    entries = read_freeze(make_freeze(registry, tmp_path / "freeze")).tables["entries"]
    assert len(entries) == sum(len(frame) for frame in clean_tables().values())
    patient = entries[entries["table"] == "patients"].iloc[0]
    assert patient["key"] == '["N-0001"]' and patient["patient_id"] == "N-0001"
    assert patient["revision"] == 2
    today = pd.Timestamp(dt.datetime.now(dt.UTC).date())
    assert pd.Timedelta(0) <= today - patient["first_entered"] <= pd.Timedelta(days=1)


def test_the_descriptor_and_the_tables_satisfy_the_frictionless_library(registry, tmp_path):
    # The open standard's own library reads the Parquet files and checks every cell, key and
    # foreign key against the Table Schema.
    from frictionless import Package

    tables = second_patient(clean_tables())
    registry.take_in(batch(tables))
    freeze = make_freeze(registry, tmp_path / "freeze")
    report = Package(str(freeze / "datapackage.json")).validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    assert {task.name for task in report.tasks} >= set(TABLES)


@pytest.mark.parametrize(("table", "cells"), [
    ("lesions", {"nidus_length_mm": 0.0}), ("lesions", {"side": "north"}),
    ("patients", {"gcs": 2}), ("patients", {"sex": None}), ("sessions", {"lesion_no": 7}),
    ("sessions", {"operator_id": "A name"}), ("sessions", {"session_no": 2}),
])
def test_the_frictionless_library_finds_what_the_schema_forbids(registry, tmp_path, table, cells):
    # So that the check above can fail: limits, lists, patterns, keys and foreign keys bite.
    from frictionless import Package

    snapshot = registry.snapshot()
    spoiled = replace(snapshot, tables=with_cells(snapshot.tables, table, 0, **cells))
    freeze = write_freeze(spoiled, tmp_path / "freeze")
    assert not Package(str(freeze / "datapackage.json")).validate().valid


def test_the_descriptor_carries_the_schema(freeze):
    package = json.loads((freeze / "datapackage.json").read_text())
    lesions = next(r for r in package["resources"] if r["name"] == "lesions")["schema"]
    fields = {field["name"]: field for field in lesions["fields"]}
    assert fields["nidus_length_mm"]["constraints"] == {
        "exclusiveMinimum": 0.0, "maximum": 150.0, "required": True,
    }
    assert fields["nidus_length_mm"]["unit"] == "mm"
    assert fields["side"]["constraints"]["enum"] == ["left", "right", "midline"]
    assert lesions["primaryKey"] == ["patient_id", "lesion_no"]
    assert lesions["foreignKeys"] == [{
        "fields": ["patient_id"], "reference": {"resource": "patients", "fields": ["patient_id"]},
    }]
