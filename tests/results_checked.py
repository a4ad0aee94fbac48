"""Checking a results.json by its JSON Schema, as whoever receives one would."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.validators import validator_for

from analyses.renderers.results_schema import results_schema


@cache
def validator() -> Draft202012Validator:
    """The validator of the schema, itself checked against its draft."""
    schema = results_schema()
    assert validator_for(schema) is Draft202012Validator
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def faults_of(record: Any) -> list[str]:
    """Everything that the schema finds wrong, each with its place."""
    return [f"{error.json_path}: {error.message[:200]}"
            for error in validator().iter_errors(record)]


def checked_file(path: Path) -> dict[str, Any]:
    """The content of a results.json, which must fit the schema written beside it."""
    assert json.loads(path.with_name("results.schema.json").read_text()) == results_schema()
    record = json.loads(path.read_text(encoding="utf-8"))
    assert faults_of(record) == []
    return record
