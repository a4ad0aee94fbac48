"""Forty untidy patients through the front door: taken, asked about, or kept out and mended."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from untidy_workbook import UntidyWorkbook, mend_workbook, untidy_workbook

from registry import open_registry
from registry.old_sheets.front_door import take_in_file
from registry.schema import TABLES

Tables = dict[str, pd.DataFrame]


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory):
    """The untidy workbook taken in, then what came back mended and taken in again."""
    folder = tmp_path_factory.mktemp("untidy")
    book = untidy_workbook(folder / "entry.xlsx", 1)
    registry = open_registry(folder / "registry.sqlite")
    first = take_in_file(book.path, registry, by="QI1")
    between = registry.tables()
    mended = mend_workbook(first.returned, book.damages)
    again = take_in_file(first.returned, registry, by="QI1")
    return book, first, between, mended, again, registry.tables()


def test_at_least_25_patients_are_untidy_each_in_one_way(taken) -> None:
    book: UntidyWorkbook = taken[0]
    patients = [damage.patient_id for damage in book.damages]
    assert len(patients) == len(set(patients)) >= 40
    kinds = [damage.kind for damage in book.damages]
    assert len(kinds) == len(set(kinds))


def test_just_the_patients_with_an_error_stay_out(taken) -> None:
    book, first, between = taken[:3]
    everybody = set(book.clean["patients"]["patient_id"])
    inside = set(between["patients"]["patient_id"])
    assert inside == everybody - book.patients("kept out")
    assert first.exit_code == 1


def test_every_error_names_its_patient_and_its_table(taken) -> None:
    book, first = taken[:2]
    for damage in book.damages:
        about = [p for p in first.problems if p.patient_id == damage.patient_id]
        if damage.kind == "code of another form":
            # The row with the damaged code belongs to nobody; its children have no parent.
            assert {p.rule for p in about} == {"no parent row"}
            assert any(p.rule == "wrong-form" and p.table == "patients" for p in first.problems)
        elif damage.outcome == "kept out":
            assert any(p.severity == "error" for p in about), damage


def test_every_question_is_asked(taken) -> None:
    book, first = taken[:2]
    for damage in book.damages:
        if damage.outcome != "asked":
            continue
        asked = [p for p in first.problems if p.severity == "query"
                 and p.table == damage.table and p.patient_id in (damage.patient_id, None)]
        assert asked, damage


def test_what_is_taken_is_taken_as_meant(taken) -> None:
    book, _, between = taken[:3]
    for damage in book.damages:
        if damage.outcome == "taken":
            assert value_at(between, damage.table, damage.key, damage.field) == damage.clean, damage


def test_mended_patients_come_in_and_nothing_is_lost(taken) -> None:
    book, first, _, mended, again, after = taken
    assert mended == len(book.patients("kept out")) >= 20
    assert again.exit_code == 0
    asked = {(d.table, tuple(d.key.values()), d.field) for d in book.damages
             if d.outcome == "asked" and d.kind != "decimal comma"}
    for name, spec in TABLES.items():
        key = list(spec.key)
        found = after[name].set_index(key).sort_index()
        wanted = book.clean[name].set_index(key).sort_index()
        assert list(found.index) == list(wanted.index), name
        for field in found.columns:
            same = found[field].eq(wanted[field]) | (found[field].isna() & wanted[field].isna())
            for place in found.index[~same.fillna(False).astype(bool)]:
                place = place if isinstance(place, tuple) else (place,)
                assert (name, place, field) in asked


def value_at(tables: Tables, table: str, key: dict[str, object], field: str) -> object:
    rows = tables[table]
    for name, value in key.items():
        rows = rows[rows[name] == value]
    assert len(rows) == 1
    return rows[field].iloc[0]


def test_the_same_seed_damages_the_same_cells(tmp_path: Path) -> None:
    one = untidy_workbook(tmp_path / "one.xlsx", 3)
    two = untidy_workbook(tmp_path / "two.xlsx", 3)
    assert one.damages == two.damages


def test_too_few_patients_for_the_faults_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no patient is left"):
        untidy_workbook(tmp_path / "few.xlsx", 1, patients=20)
