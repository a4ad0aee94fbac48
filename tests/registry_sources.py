"""Batches as the intake makes them, for the tests of the store and the freeze."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from registry_cases import Tables, clean_tables

from registry.problems.problem import Place
from registry.schema import TABLES
from registry.schema.canonical import sha256
from registry.store.batch import Batch, HeldRow
from registry.store.registry import Registry, open_registry


def batch(tables: Tables, source_id: str = "book-1", **more: Any) -> Batch:
    """A batch of these tables, as if read from a workbook."""
    full = {name: tables.get(name, spec.empty()) for name, spec in TABLES.items()}
    places = {
        name: [Place(TABLES[name].label, number) for number in range(2, len(frame) + 2)]
        for name, frame in full.items()
    }
    return Batch(
        source_id=source_id, source_kind="workbook", source_name=f"{source_id}.xlsx",
        source_sha256=sha256(source_id), tables=full, places=places, **more,
    )


def held_row(
    table: str = "patients", patient_id: str | None = "N-0050", row: int = 9, **values: str,
) -> HeldRow:
    """A row the intake kept out."""
    if patient_id is not None:
        values = {"patient_id": patient_id, **values}
    return HeldRow(table, patient_id, Place(TABLES[table].label, row), values, ("a reason",))


# Removed when the run ends.
_FOLDER = TemporaryDirectory(prefix="nidusbook-tests-")


@cache
def _clean_registry() -> Path:
    path = Path(_FOLDER.name) / "registry.sqlite"
    open_registry(path).take_in(batch(clean_tables()), by="QI1")
    return path


def clean_registry(path: Path) -> Registry:
    """A registry at `path` that holds the clean service (made once, then copied)."""
    shutil.copy(_clean_registry(), path)
    return open_registry(path)
