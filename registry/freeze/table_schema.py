"""The freeze described as a Frictionless Data Package with Table Schema.

Open standards: Data Package and Table Schema, version 2 (datapackage.org). Units are not part of
Table Schema; they are added as "unit".
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.schema import FieldSpec, TableSpec

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"

# A null of a Parquet file reaches some readers as "nan"; no field has that as a value.
MISSING_VALUES = ["", "nan"]

TYPES = {
    "text": "string", "choice": "string", "int": "integer", "number": "number",
    "yes/no": "boolean", "date": "date",
}


def table_schema(spec: TableSpec, resources: Mapping[str, TableSpec]) -> dict[str, Any]:
    """The Table Schema of a table; its foreign key leads to its parent among `resources`."""
    described: dict[str, Any] = {
        "fields": [field_descriptor(field) for field in spec.fields],
        "missingValues": MISSING_VALUES,
        "primaryKey": list(spec.key),
    }
    if spec.parent in resources:
        described["foreignKeys"] = [{
            "fields": list(spec.parent_key),
            "reference": {"resource": spec.parent, "fields": list(spec.parent_key)},
        }]
    return described


def field_descriptor(spec: FieldSpec) -> dict[str, Any]:
    """A field of the schema as a Table Schema field."""
    described: dict[str, Any] = {
        "name": spec.name, "type": TYPES[spec.type], "title": spec.label,
        "description": spec.definition,
    }
    if spec.unit:
        described["unit"] = spec.unit
    constraints = _constraints(spec)
    if constraints:
        described["constraints"] = constraints
    return described


def _constraints(spec: FieldSpec) -> dict[str, Any]:
    whole = int if spec.type == "int" else float
    limits = {"minimum": spec.minimum, "maximum": spec.maximum}
    constraints: dict[str, Any] = {k: whole(v) for k, v in limits.items() if v is not None}
    if spec.above is not None:
        constraints["exclusiveMinimum"] = whole(spec.above)
    if spec.required:
        constraints["required"] = True
    if spec.values:
        constraints["enum"] = list(spec.values)
    if spec.pattern:
        constraints["pattern"] = spec.pattern
    return constraints


def data_package(resources: Mapping[str, TableSpec], date: str, purpose: str) -> dict[str, Any]:
    """The descriptor of a freeze, one resource a table (the manifest has each file's SHA-256)."""
    return {
        "$schema": PROFILE,
        "name": "nidusbook-freeze",
        "title": "A freeze of an outcomes registry of brain AVM embolization",
        "description": f"Made {purpose}. It holds study codes and stays inside the service.",
        "created": f"{date}T00:00:00Z",
        "resources": [
            {
                "name": name, "title": spec.label,
                "description": spec.definition, "path": table_path(name), "format": "parquet",
                "mediatype": "application/vnd.apache.parquet",
                "schema": table_schema(spec, resources),
            }
            for name, spec in resources.items()
        ],
    }


def table_path(name: str) -> str:
    """Where a table's file is, relative to the freeze's folder."""
    return f"tables/{name}.parquet"
