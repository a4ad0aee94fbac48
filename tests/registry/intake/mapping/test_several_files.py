"""Several files into one registry: rows meet by key, and nothing is overwritten in silence."""

from __future__ import annotations

import shutil
from pathlib import Path

import openpyxl
import pytest
from old_sheets import FIRST, HEADINGS, MAPPING, SECOND, rows_of, write_mapping, write_sheet

from registry.old_sheets.front_door import take_in_file
from registry.schema import TABLES
from registry.store.registry import Registry, open_registry


@pytest.fixture
def registry(tmp_path: Path) -> Registry:
    """A registry that has taken the first old sheet in; the second patient waits."""
    found = open_registry(tmp_path / "r.sqlite")
    path = write_sheet(tmp_path / "old.xlsx", rows_of(FIRST, SECOND))
    take_in_file(path, found, mapping=write_mapping(tmp_path))
    return found


def fill(path: Path, table: str, field: str, value: object) -> None:
    """Write a value into the only row of a sheet of a returned workbook."""
    book = openpyxl.load_workbook(path)
    sheet = book[TABLES[table].label]
    heading = TABLES[table].by_name[field].heading
    column = next(c.column for c in sheet[1] if c.value == heading)
    sheet.cell(row=2, column=column).value = value
    book.save(path)


def test_filling_in_what_was_missing_brings_the_patient_in_whole(
    tmp_path: Path, registry: Registry
) -> None:
    assert len(registry.tables()["patients"]) == 1
    back = tmp_path / "old-to-correct.xlsx"
    fill(back, "lesions", "haemorrhage_before", "no")
    fill(back, "complications", "onset_date", "2016-02-21")
    outcome = take_in_file(back, registry)
    assert outcome.exit_code == 0, outcome.summary
    tables = registry.tables()
    assert len(tables["patients"]) == 2 and len(registry.held()) == 0
    second = tables["lesions"].iloc[
        tables["lesions"]["haemorrhage_before"].eq(False).to_numpy().argmax()]
    assert (second["nidus_length_mm"], second["location"]) == (25.0, "basal ganglia")
    assert tables["complications"]["kind"].tolist() == ["ischaemic stroke"]


def second_sheet(folder: Path, **changes: object) -> Path:
    """The first patient again, in another file, with the same key."""
    cells = list(FIRST)
    for name, value in changes.items():
        cells[HEADINGS.index(name)] = value
    (folder / "later").mkdir(exist_ok=True)
    shutil.copy(folder / "map.toml", folder / "later" / "map.toml")
    text = MAPPING.replace('"test.key"', '"../test.key"')
    (folder / "later" / "map.toml").write_text(text, encoding="utf-8")
    return write_sheet(folder / "later" / "new.xlsx", rows_of(cells))


def test_the_same_patient_meets_again_and_the_same_values_change_nothing(
    tmp_path: Path, registry: Registry
) -> None:
    outcome = take_in_file(second_sheet(tmp_path), registry,
                           mapping=tmp_path / "later" / "map.toml")
    assert outcome.exit_code == 0 and not outcome.result.changed_anything
    assert outcome.ledger.counts()["problem"] == 0 == outcome.ledger.counts()["holding"]


def test_another_value_is_a_clash_shown_before_and_after_and_not_an_overwrite(
    tmp_path: Path, registry: Registry
) -> None:
    outcome = take_in_file(second_sheet(tmp_path, Age=35), registry,
                           mapping=tmp_path / "later" / "map.toml")
    assert outcome.exit_code == 1
    assert [p.found for p in outcome.result.clashes] == [
        "35.0, where the registry has 34.0 from another source"]
    assert registry.tables()["patients"]["age_y"].tolist() == [34.0]
    ledger = outcome.ledger
    assert ledger.adds_up and ledger.counts()["registry"] == 0
    assert ledger.counts()["holding"] == 18


def test_replace_lets_the_later_file_win_and_the_trail_keeps_both(
    tmp_path: Path, registry: Registry
) -> None:
    outcome = take_in_file(second_sheet(tmp_path, Age=35), registry, replace=True,
                           mapping=tmp_path / "later" / "map.toml")
    assert outcome.exit_code == 0
    assert registry.tables()["patients"]["age_y"].tolist() == [35.0]
    trail = registry.audit()
    change = trail[(trail["field"] == "age_y") & (trail["action"] == "revised")]
    assert change[["before", "after"]].to_numpy().tolist() == [[34.0, 35.0]]


def test_an_old_sheet_of_follow_up_alone_meets_patients_already_registered(
    tmp_path: Path, registry: Registry
) -> None:
    text = """
[sheet]
headings_in_row = 1
one_row_is = "follow_ups"
[study_codes]
heading = "Hosp"
prefix = "T"
key_file = "test.key"
[numbers]
lesion_no = 1
follow_up_no = "counted by follow_up_date"
[[column]]
heading = "Seen"
field = "follow_ups.follow_up_date"
[[column]]
heading = "How"
field = "follow_ups.imaging"
[[column]]
heading = "mRS"
field = "follow_ups.mrs"
"""
    rows = [["Hosp", "Seen", "How", "mRS"], [101, "2017-02-01", "none", 1],
            [101, "2016-02-01", "catheter angiography", 1]]
    path = write_sheet(tmp_path / "visits.xlsx", rows)
    (tmp_path / "visits.toml").write_text(text, encoding="utf-8")
    outcome = take_in_file(path, registry, mapping=tmp_path / "visits.toml")
    assert outcome.exit_code == 0, outcome.summary
    visits = registry.tables()["follow_ups"]
    assert visits["follow_up_date"].dt.year.tolist() == [2016, 2017]
    assert visits["follow_up_no"].tolist() == [1, 2]
    assert outcome.ledger.counts()["registry"] == 8
