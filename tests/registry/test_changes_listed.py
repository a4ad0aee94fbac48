"""The audit trail is there to be read: who changed what, when, and from which source."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from registry_cases import clean_tables, with_cells
from registry_sources import batch, held_row

from registry import open_registry
from registry.quality.changes_listed import NoChangesError, changes_listed, write_changes
from registry.quality.table_file import TableFileError
from registry.store.registry import Registry


@pytest.fixture
def revised(tmp_path: Path) -> Registry:
    """A registry in which the side of a lesion was corrected, and a row of another waits."""
    registry = open_registry(tmp_path / "registry.sqlite")
    registry.take_in(batch(clean_tables(), held=[held_row()]), by="AB")
    registry.take_in(batch(with_cells(clean_tables(), "lesions", side="right", eloquent=True)),
                     by="CD")
    return registry


def test_a_change_says_who_what_where_before_and_after(revised: Registry):
    frame = changes_listed(revised.audit())
    last = frame[frame["what"] == "revised"].set_index("field")
    side = last.loc["Side"]
    assert side[["by", "table", "row"]].tolist() == ["CD", "Lesions", "N-0001, Lesion number 1"]
    assert side[["before", "after", "source"]].tolist() == ["left", "right", "book-1.xlsx"]
    assert frame["when (UTC)"].str.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ").all()
    assert not frame.isna().any().any()


def test_of_one_patient_only_that_patients_rows_are_listed(revised: Registry):
    held = changes_listed(revised.audit(), "N-0050")
    assert set(held["what"]) == {"held"} and set(held["row"]) == {"N-0050"}
    mine = changes_listed(revised.audit(), "N-0001")
    assert mine["row"].str.startswith("N-0001").all() and "Services" not in set(mine["table"])
    with pytest.raises(NoChangesError, match="N-9999"):
        changes_listed(revised.audit(), "N-9999")


@pytest.mark.parametrize("ending", [".xlsx", ".csv"])
def test_the_list_is_a_file_that_reads_back_and_replaces_none(
    revised: Registry, tmp_path: Path, ending: str,
):
    out = tmp_path / f"changes{ending}"
    count = write_changes(out, revised)
    read = pd.read_excel if ending == ".xlsx" else pd.read_csv
    found = read(out, dtype="string", keep_default_na=False)
    assert found.to_numpy().tolist() == changes_listed(revised.audit()).to_numpy().tolist()
    assert len(found) == count
    with pytest.raises(TableFileError, match="there already"):
        write_changes(out, revised)
