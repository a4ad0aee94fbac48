"""A freeze of an older version opens, says so once, and is read as this version would write it."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace

import pandas as pd
import pytest
from version_one import FREEZE, KNOWN, THIRD, registry_of_version_1, third_version

from registry.freeze.freeze_error import FreezeError
from registry.freeze.freeze_reading import manifest_hash, read_freeze
from registry.freeze.freeze_writing import make_freeze
from registry.freeze.worked_out import worked_out_tables
from registry.schema import TABLES
from registry.schema.canonical import records, row_json, sha256
from registry.schema.migrations.change_steps import NewColumn, SplitField
from registry.store.registry import open_registry


def test_every_row_of_version_1_is_there_and_says_the_same():
    tables = read_freeze(FREEZE).tables
    assert set(tables) == {*TABLES, *worked_out_tables()}
    for name, digest in KNOWN["rows"].items():
        lines = [row_json(row) for row in records(tables[name], TABLES[name].fields)]
        assert sha256("\n".join(lines)) == digest, name


def test_its_manifest_keeps_its_own_version_and_the_reading_says_so_once():
    frozen = read_freeze(FREEZE)
    assert frozen.manifest["schema_version"] == 1
    assert frozen.manifest["freeze_hash"] == KNOWN["freeze_hash"]
    first, second = frozen.opening
    assert "is of version 1 and was read as version 2 (every row is read as it stands)" in first
    assert second.startswith("Version 2: ")
    assert str(frozen).count(first) == 1 and frozen._repr_html_().count("Version 2: ") == 1


def test_a_freeze_of_this_version_says_nothing(tmp_path):
    registry = open_registry(registry_of_version_1(tmp_path / "registry.sqlite"))
    frozen = read_freeze(make_freeze(registry, tmp_path / "freeze", purpose="quality"))
    assert frozen.opening == () and frozen.manifest["schema_version"] == 2
    older = read_freeze(FREEZE).tables
    for name, frame in frozen.tables.items():
        pd.testing.assert_frame_equal(frame, older[name])


MEANT_TO_DIFFER = {
    # 8 injections were in a session with an event that names none of them: they may have had it.
    ("complication.any", "injection"): [1, 20],
}
"""Counts that version 2 gives otherwise, with the reason."""


def test_the_numbers_are_those_of_version_1():
    from analyses.study.one_study import open_study

    now = {(e.id, e.unit): [e.events, e.n] for e in open_study(FREEZE).results.estimates
           if not e.group and e.events is not None}
    wanted = {"complication.any", "complication.haemorrhagic", "complication.permanent_deficit",
              "complication.death_30d", "obliteration.final_confirmed", "function.worse"}
    headlines = [one for one in KNOWN["estimates"] if one[0] in wanted]
    assert {one[0] for one in headlines} == wanted
    for id, unit, *counts in headlines:
        assert now[id, unit] == MEANT_TO_DIFFER.get((id, unit), counts), (id, unit)


def test_the_methods_say_that_the_data_were_frozen_by_an_older_version():
    from analyses.documents.series.methods import _software

    said = " ".join(sentence.text for sentence in _software(read_freeze(FREEZE).manifest))
    assert "frozen in version 1 of the registry's tables and read as version 2" in said
    assert "read as version" not in " ".join(
        s.text for s in _software({**read_freeze(FREEZE).manifest, "schema_version": 2}))


def test_the_same_steps_bring_a_freeze_up_as_bring_a_registry_up(tmp_path):
    place = registry_of_version_1(tmp_path / "registry.sqlite")
    with third_version():
        frozen = read_freeze(FREEZE)
        registry = open_registry(place).tables()
    for name in TABLES:
        pd.testing.assert_frame_equal(frozen.tables[name], registry[name], obj=name)
    assert set(frozen.tables["follow_ups"]) >= {"modality", "angiography"}
    assert list(frozen.tables["plans"]["target"])
    assert "complications 5" in frozen.opening[0]
    assert any("have no place in the tables any more. The files of the freeze keep them." in line
               for line in frozen.opening)


def test_its_files_are_checked_before_anything_is_done_to_them(tmp_path):
    copy = tmp_path / "freeze"
    shutil.copytree(FREEZE, copy)
    file = copy / "tables" / "lesions.parquet"
    file.chmod(0o644)
    file.write_bytes(file.read_bytes() + b"x")
    with pytest.raises(FreezeError, match="was changed after it was written"):
        read_freeze(copy)


def test_one_of_a_newer_version_is_refused(tmp_path):
    copy = tmp_path / "freeze"
    shutil.copytree(FREEZE, copy)
    place = copy / "manifest.json"
    place.chmod(0o644)
    manifest = {**json.loads(place.read_text(encoding="utf-8")), "schema_version": 3}
    place.write_text(json.dumps({**manifest, "manifest_hash": manifest_hash(manifest)}))
    with pytest.raises(FreezeError, match=r"newer nidusbook \(schema 3, this program knows 2\)"):
        read_freeze(copy)


def test_a_value_that_cannot_be_carried_over_is_told_in_a_sentence():
    def refuse(value):
        raise ValueError(f"{value!r} has no second half")

    split = SplitField("resections", "result", "choice",
                       (NewColumn("a", "text"), NewColumn("b", "text")), refuse)
    with third_version(replace(THIRD, steps=(*THIRD.steps, split))), pytest.raises(
            FreezeError, match="of schema 1 and cannot be read as schema 3: resections.result of"):
        read_freeze(FREEZE)
