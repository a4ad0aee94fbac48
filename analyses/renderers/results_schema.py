"""The JSON Schema (draft 2020-12) of `results.json`, drawn from what its entries are declared as.

Types come from `Estimate`, `Exclusion` and `AddedColumn`, ids, words and units from the measures.
It is written beside every `results.json`.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import fields
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints

from analyses.measures.declared import all_measures
from analyses.measures.measure import Measure, Worked
from analyses.measures.small_cells import SUPPRESSED
from analyses.population.exclusions import STUDY, AddedColumn, Exclusion
from analyses.statistics.estimate import RECORD_KEYS, Estimate
from analyses.words.flags import WORDS

RESULTS_VERSION = "2.1"
"""Of the form of `results.json`: the first number is raised where what there was changes its
meaning or goes, the second where something is added."""

DIGITS = 12
"""Significant digits of every number that is not a count."""

Schema = dict[str, Any]

ENTRY_WORDS = {
    "id": "What was counted or worked out: a measure, or a number drawn from one.",
    "kind": "What the value is, as \"proportion\" or \"median\".",
    "unit": "The unit of analysis: what each of n is one of.",
    "group": "The part of the units it is of, as column and level; null: all of them.",
    "events": "Units with the event.",
    "n": "Units whose outcome is known.",
    "denominator": "Person-time behind a rate, in years.",
    "per": "The person-time that a rate is per, in years.",
    "clusters": "Patients behind the units.",
    "value": "The number; null where it cannot be given, and then a flag says why.",
    "low": "Lower end of the interval; null where there is none, or it is not finite.",
    "high": "Upper end of the interval; null where there is none, or it is not finite.",
    "level": "Coverage of the interval.",
    "method": "How value and interval were worked out; blank for plain counts.",
    "flags": "What a reader must know of the number: a short name (see its list), or words.",
}
"""Key of an entry → what it holds."""

SHARE: Schema = {"type": ["number", "null"], "minimum": 0, "maximum": 1}
COUNT: Schema = {"type": "integer", "minimum": 0}
NOTHING: Schema = {"type": "null"}
BY_KIND: Mapping[str, Schema] = {
    "proportion": {"value": SHARE, "low": SHARE, "high": SHARE},
    "probability": {"value": SHARE, "low": SHARE, "high": SHARE},
    "bounds": {"value": NOTHING, "low": SHARE, "high": SHARE, "n": COUNT},
    "P value": {"value": SHARE},
    "rate": {"per": {"type": "number", "exclusiveMinimum": 0},
             "denominator": {"type": "number", "minimum": 0}},
    "count": {"value": {"type": ["number", "null"], "minimum": 0}},
    SUPPRESSED: {name: NOTHING for name in ("value", "low", "high", "events", "n")},
}
"""Kind → what holds of its numbers."""


def results_schema() -> Schema:
    """The schema as plain data."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:nidusbook:results:{RESULTS_VERSION}",
        "title": "Results of a report",
        "description": "Every number of a report, one entry each; id, unit and group together name "
                       f"one entry. Numbers have {DIGITS} significant digits. A number that cannot "
                       "be given is null, and the flags of its entry say why.",
        "type": "object",
        "properties": {
            "results_version": {"const": RESULTS_VERSION},
            "stays_inside": {"type": "string", "description": "There where the file must not leave "
                             "the service: why."},
            "freeze": {"$ref": "#/$defs/freeze"},
            STUDY: {"$ref": "#/$defs/study"},
            "small_cells": {"$ref": "#/$defs/small_cells"},
            "estimates": {"type": "array", "items": {"$ref": "#/$defs/estimate"}},
        },
        "required": ["results_version", "freeze", "estimates"],
        "additionalProperties": False,
        "$defs": {"freeze": _freeze(), "study": _study(), "small_cells": _small_cells(),
                  "estimate": _estimate(), "measure": _measures(), "flag": _flags()},
    }


def schema_text() -> str:
    """The schema as the text of its file."""
    return json.dumps(results_schema(), ensure_ascii=False, indent=1) + "\n"


def _freeze() -> Schema:
    text: Schema = {"type": "string"}
    return {
        "description": "The freeze that was counted, as its manifest says.",
        "type": "object",
        "properties": {
            "freeze_hash": {**text, "pattern": "^[0-9a-f]{64}$"}, "purpose": text,
            "date": {**text, "format": "date"}, "schema_version": {"type": ["integer", "string"]},
            "schema_hash": text,
            "software": {"type": "object", "additionalProperties": text},
        },
        "additionalProperties": False,
    }


def _study() -> Schema:
    return _object({
        "hash": {"type": "string"},
        "exclusions": {"type": "array", "items": _object(_typed(Exclusion))},
        "added": {"type": "array", "items": _object(_typed(AddedColumn))},
    }) | {"description": "What a study left out of the freeze, in order, and added to it."}


def _small_cells() -> Schema:
    names: Schema = {"type": "array", "items": {"type": "string"}}
    return _object({
        "smallest_shown": COUNT, "groupings": names, "characteristics": names,
    }) | {"description": "There where small cells are hidden: the smallest count shown, the "
                         "columns by which nothing is shown, and the characteristics left out."}


def _estimate() -> Schema:
    typed = _typed(Estimate, RECORD_KEYS)
    found = _object({name: {**typed[name], "description": ENTRY_WORDS[name]}
                     for name in RECORD_KEYS})
    held = found["properties"]
    # What is quick to check stands first: the lists are there for the reader.
    held["id"]["anyOf"] = [{"pattern": r"^[a-z_]+\..+$"}, {"$ref": "#/$defs/measure"}]
    for name in ("events", "n", "clusters", "denominator", "per"):
        held[name]["minimum"] = 0
    for name in ("value", "low", "high", "denominator", "per"):
        held[name]["$comment"] = f"{DIGITS} significant digits"
    held["level"] |= {"exclusiveMinimum": 0, "exclusiveMaximum": 1}
    held["flags"]["items"] = {"$ref": "#/$defs/flag"}
    return {**found, "allOf": [
        _if({"value": NOTHING}, {"flags": {"minItems": 1}}),
        _if({"kind": {"const": "proportion"}, "value": {"type": "number"}},
            {"events": COUNT, "n": {**COUNT, "minimum": 1}}),
        *(_if({"kind": {"const": kind}}, rule) for kind, rule in BY_KIND.items()),
        *(_if({"id": {"enum": ids}}, {"unit": {"enum": list(units)}})
          for units, ids in _by_units().items()),
    ]}


def _if(given: Schema, then: Schema) -> Schema:
    return {"if": {"properties": given}, "then": {"properties": then}}


def _by_units() -> dict[tuple[str, ...], list[str]]:
    """Units → the ids of the measures that are given in these."""
    found: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for one in _in_results():
        found[one.units] += [one.id, *(one.parts if isinstance(one, Worked) else ())]
    return found


def _in_results() -> Iterable[Measure]:
    return (one for one in all_measures().values() if one.in_results)


def _measures() -> Schema:
    return {"description": "The measures, each with what it counts.", "oneOf": [
        {"const": one.id, "title": one.label, "description": one.definition()}
        for one in _in_results()]}


def _flags() -> Schema:
    return {"anyOf": [
        {"type": "string", "minLength": 1, "description": "in words"},
        {"oneOf": [{"const": flag, "title": words} for flag, words in WORDS.items()]}]}


def _object(properties: Mapping[str, Schema]) -> Schema:
    return {"type": "object", "properties": dict(properties), "required": list(properties),
            "additionalProperties": False}


def _typed(declared: type, names: Iterable[str] = ()) -> dict[str, Schema]:
    """Field → the schema of its type, for these fields of a dataclass (all where none is named)."""
    hints = get_type_hints(declared)
    return {name: _of_type(hints[name]) for name in names or (f.name for f in fields(declared))}


def _of_type(hint: Any) -> Schema:
    """The schema of a type: text, numbers, yes or no, lists and mappings of them, or none."""
    plain = {str: "string", int: "integer", float: "number", bool: "boolean", NoneType: "null"}
    if hint in plain:
        return {"type": plain[hint]}
    if isinstance(hint, UnionType):
        parts = [_of_type(part) for part in get_args(hint)]
        return {key: value for part in parts for key, value in part.items() if key != "type"} | {
            "type": [part["type"] for part in parts]}
    origin, inside = get_origin(hint), get_args(hint)
    if origin is tuple:
        return {"type": "array", "items": _of_type(inside[0])}
    if origin is Mapping:
        return {"type": "object", "additionalProperties": _of_type(inside[1])}
    raise TypeError(f"No schema is known for {hint}.")
