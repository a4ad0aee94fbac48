"""What version 1 left (`tests/version_1`), and a third version made up, with every kind of step."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from registry import schema
from registry.schema import FieldSpec, TableSpec
from registry.schema.migrations import numbered
from registry.schema.migrations.change_steps import (
    AddField,
    AddTable,
    ChangeValues,
    DropField,
    NewColumn,
    RenameField,
    SplitField,
)
from registry.schema.migrations.numbered import Migration

FOLDER = Path(__file__).parent / "version_1"
FREEZE = FOLDER / "freeze"
KNOWN: dict[str, Any] = json.loads((FOLDER / "known.json").read_text(encoding="utf-8"))
HELD = ["L-0002", "L-0003", "L-0004"]


def registry_of_version_1(place: Path) -> Path:
    """The registry that version 1 wrote, at `place`."""
    place.write_bytes(gzip.decompress((FOLDER / "registry.sqlite.gz").read_bytes()))
    return place


def statements_of_version_1() -> str:
    """The same on PostgreSQL, as SQL."""
    return gzip.decompress((FOLDER / "registry.pgsql.gz").read_bytes()).decode("utf-8")


def modality(imaging: str) -> tuple[str | None, bool]:
    """`MR angiography` → MR, yes; `none` → nothing, no."""
    if imaging == "none":
        return None, False
    kind, what = imaging.split(" ")
    if what != "angiography":
        raise ValueError(f"{imaging!r} is no angiography")
    return kind, True


PLANS = TableSpec(
    "plans", "Plans", "A row a lesion.", "lesions", ("patient_id", "lesion_no"), (
        FieldSpec("patient_id", "text", "Study code", "", key=True, required=True),
        FieldSpec("lesion_no", "int", "Lesion number", "", key=True, required=True),
        FieldSpec("target", "choice", "Target", "As planned first.", values=("curative",)),
    ),
)


def plans_of(tables: Any) -> list[dict[str, Any]]:
    """The intent of each lesion's first session."""
    first: dict[tuple[str, int], dict[str, Any]] = {}
    for row in tables["sessions"]:
        key = (row["patient_id"], row["lesion_no"])
        first.setdefault(key, {
            "patient_id": key[0], "lesion_no": key[1], "target": row["intent"]})
    return list(first.values())


THIRD = Migration(3, "Everything is called otherwise.", (
    RenameField("complications", "complication_no", "event_no"),
    RenameField("lesions", "nidus_border", "border"),
    SplitField("follow_ups", "imaging", "choice",
               (NewColumn("modality", "choice"), NewColumn("angiography", "yes/no")), modality),
    ChangeValues("injections", "agent", {"EVOH 6 %": "EVOH, thin"}),
    AddField("patients", NewColumn("adult", "yes/no"), lambda row: row["age_y"] >= 18),
    AddField("lesions", NewColumn("remarks", "text"), lambda row: None),
    DropField("lesions", "venous_ectasia", "Venous ectasia", into="remarks"),
    DropField("sessions", "contrast_ml", "Contrast"),
    AddTable(PLANS, plans_of),
))


def _changed(spec: TableSpec, *gone: str, more: tuple[FieldSpec, ...] = (),
             **renamed: str) -> TableSpec:
    fields = [replace(f, name=renamed.get(f.name, f.name)) for f in spec.fields
              if f.name not in gone]
    return replace(spec, fields=(*fields, *more))


@contextmanager
def third_version(migration: Migration = THIRD) -> Iterator[None]:
    """The program as it would be in version 3."""
    t = schema.TABLES
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(numbered, "MIGRATIONS", (*numbered.MIGRATIONS, migration))
        for spec in (
            _changed(t["complications"], complication_no="event_no"),
            _changed(t["lesions"], "venous_ectasia", nidus_border="border",
                     more=(FieldSpec("remarks", "text", "Remarks", ""),)),
            _changed(t["follow_ups"], "imaging", more=(
                FieldSpec("modality", "choice", "Modality", ""),
                FieldSpec("angiography", "yes/no", "Angiography", ""))),
            _changed(t["patients"], more=(FieldSpec("adult", "yes/no", "Adult", ""),)),
            _changed(t["sessions"], "contrast_ml"),
            PLANS,
        ):
            patch.setitem(schema.TABLES, spec.name, spec)
        yield
