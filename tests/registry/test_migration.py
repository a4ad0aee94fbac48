"""A field added to the schema later is migrated in on opening, and old data stay."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from registry_cases import clean_tables
from registry_sources import batch, clean_registry

from registry import schema
from registry.schema import FieldSpec
from registry.store.registry import open_registry


@pytest.fixture
def place(tmp_path):
    place = tmp_path / "registry.sqlite"
    clean_registry(place)
    return place


@pytest.fixture
def later_schema(monkeypatch):
    """The schema of a later version, in which lesions have two more fields."""
    lesions = schema.TABLES["lesions"]
    more = (
        FieldSpec("flow_ml_min", "number", "Flow", "Flow through the nidus.", unit="mL/min"),
        FieldSpec("measured_on", "date", "Measured on", "Day the flow was measured."),
    )
    monkeypatch.setitem(
        schema.TABLES, "lesions", replace(lesions, fields=(*lesions.fields, *more))
    )
    monkeypatch.setattr("registry.store.decide._check_cells", lambda *_: None)


def test_old_data_are_kept_and_the_new_field_is_blank(place, later_schema):
    lesions = open_registry(place).tables()["lesions"]
    new = ["flow_ml_min", "measured_on"]
    pd.testing.assert_frame_equal(
        lesions.drop(columns=new), clean_tables()["lesions"].drop(columns=new)
    )
    assert lesions["flow_ml_min"].isna().all()
    assert lesions.dtypes[["flow_ml_min", "measured_on"]].astype(str).tolist() == [
        "float64", "datetime64[ns]",
    ]


def test_the_trail_says_so_once_and_still_holds(place, later_schema):
    for _ in range(2):
        registry = open_registry(place)
    trail = registry.audit()
    added = trail[(trail["action"] == "schema") & (trail["field"] == "fields added")]
    assert added["after"].tolist() == ["flow_ml_min, measured_on"]
    assert added["table"].tolist() == ["lesions"]
    assert registry.verify_audit() == []


def test_the_new_field_can_then_be_filled(place, later_schema):
    registry = open_registry(place)
    tables = registry.tables()
    tables["lesions"]["flow_ml_min"] = 310.0
    tables["lesions"]["measured_on"] = pd.Timestamp("2021-03-12")
    assert registry.take_in(batch(tables)).revised["lesions"] == 1
    again = open_registry(place).tables()["lesions"]
    assert again["flow_ml_min"].tolist() == [310.0]
    assert again["measured_on"].tolist() == [pd.Timestamp("2021-03-12")]
    assert registry.verify_audit() == []


def test_a_source_without_the_new_field_changes_nothing(place, later_schema):
    registry = open_registry(place)
    assert not registry.take_in(batch(clean_tables())).changed_anything


def test_a_table_added_later_is_made(place, monkeypatch):
    radio = schema.TABLES["radiosurgeries"]
    monkeypatch.setitem(schema.TABLES, "later", replace(radio, name="later"))
    registry = open_registry(place)
    assert registry.tables()["later"].empty
    assert registry.verify_audit() == []
